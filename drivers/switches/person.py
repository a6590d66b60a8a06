"""A person at the switch: the program rings the bell, says what to set, and waits for Enter, but not for ever.

What a person confirmed is believed until they are asked again; there is no read-back, and ``identify`` says so.
Anything but an Enter in time moves nothing: the pass fails and says why.
"""

import os
import stat
from pathlib import Path
from typing import IO, Annotated

from pydantic import BaseModel, ConfigDict, Field, field_validator

from drivers.contracts import Driver
from drivers.errors import LinkTimeout, Refused, Unsupported
from drivers.waiting import Deadline, ready

PART = "person at the switch"
_confirmed: dict[str, str] = {}
"""By terminal: what the person last confirmed. It outlives the passes, so nobody is asked twice for one setting."""


class PersonOptions(BaseModel):
    """The switch section of a station file with ``driver: person``; each path says in words what to set."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    paths: dict[
        str, Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]
    ] = Field(min_length=1)
    link: str = "/dev/tty"
    timeout_s: Annotated[float, Field(gt=0, le=86_400, allow_inf_nan=False)] = 300.0
    bell: bool = True

    @field_validator("link")
    @classmethod
    def _is_a_terminal(cls, link: str) -> str:
        if not link.startswith("/dev/") or "/../" in link or not link.isprintable():
            raise ValueError(f"{link[:60]!r} is no terminal; write /dev/tty, or leave it out")
        return link

    def relays_of(self, path: str) -> frozenset[tuple[str, str]]:
        """The switch has one part, the hand, and what it is told is its state."""
        return frozenset({("hand", self.paths[path])})


class Person:
    """Somebody at a terminal. The terminal is opened for each question, so that others may use it meanwhile."""

    def __init__(self, options: PersonOptions) -> None:
        self._options = options

    def identify(self) -> str:
        return f"a person at {self._options.link} (no read-back)"

    def select(self, path: str) -> int:
        options = self._options
        if path not in options.paths:
            raise Unsupported(
                PART, f"nobody knows how to set {path}.", f"The paths are {', '.join(options.paths)}."
            )
        setting = options.paths[path]
        if _confirmed.get(options.link) == setting:
            return 0
        _confirmed.pop(options.link, None)
        self._ask(path, setting)
        _confirmed[options.link] = setting
        return 1

    def selected(self) -> str | None:
        stands = _confirmed.get(self._options.link)
        return next((path for path, setting in self._options.paths.items() if setting == stands), None)

    def close(self) -> None:
        pass

    def _ask(self, path: str, setting: str) -> None:
        link = self._options.link
        try:
            # Looked at before it is opened: opening a serial port raises lines that may key a transmitter.
            device = Path(link)
            terminal = device.open("r+b", buffering=0) if _is_terminal(device.stat()) else None
        except OSError as fault:
            raise Unsupported(
                PART, f"nobody can be asked at {link}: {fault.strerror}.", "Run it in a terminal."
            ) from None
        if terminal is None:
            raise Unsupported(
                PART,
                f"{link} is no terminal that a person sits at.",
                "Leave link out, or write /dev/tty.",
            )
        with terminal:
            self._wait_for_enter(terminal, path, setting)

    def _wait_for_enter(self, terminal: IO[bytes], path: str, setting: str) -> None:
        options = self._options
        bell = "\a" if options.bell else ""
        while ready(terminal, Deadline(0.0, PART)):
            terminal.read(1024)  # an Enter from before the question is no answer to it
        terminal.write(
            f"{bell}\r\n{path}: {setting}. Press Enter when it is done, or q and Enter to stop.\r\n".encode()
        )
        deadline = Deadline(options.timeout_s, PART)
        answer = b""
        while b"\n" not in answer and b"\r" not in answer:
            if not ready(terminal, deadline):
                raise LinkTimeout(
                    PART,
                    f"nobody confirmed {path} within {options.timeout_s:g} s.",
                    "Nobody knows how the switch stands; set it by hand to antenna-bypass.",
                )
            piece = terminal.read(1024)
            if not piece:
                raise Unsupported(PART, "the terminal was closed.", "Run it in a terminal.")
            answer += piece
        if answer.strip().lower() in (b"q", b"quit"):
            raise Refused(
                PART, f"asked for {path}, they stopped.", "Set the switch by hand to antenna-bypass."
            )


CONTROLLING, CONSOLES, PSEUDO = (5, 0), 4, range(136, 144)
"""Device numbers of /dev/tty, of the consoles (below 64 of their kind; serial ports come above) and of /dev/pts."""


def _is_terminal(found: os.stat_result) -> bool:
    """Whether a person can be there. Serial ports are left out: a receiver would take the question for a command."""
    kind, number = os.major(found.st_rdev), os.minor(found.st_rdev)
    return stat.S_ISCHR(found.st_mode) and (
        (kind, number) == CONTROLLING or (kind == CONSOLES and number < 64) or kind in PSEUDO
    )


DRIVER = Driver(kind="switch", name="person", options=PersonOptions, open=Person)
