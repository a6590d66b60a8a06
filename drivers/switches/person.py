"""A person at the switch: the program rings the bell, says what to set, and waits for Enter, but not for ever.

What a person confirmed is believed until they are asked again; there is no read-back, and ``identify`` says so.
Anything but an Enter in time moves nothing: the pass fails and says why.
"""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, field_validator

from drivers.contracts import Driver
from drivers.errors import Unsupported
from drivers.terminal import confirm, is_a_terminals_name

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
        return is_a_terminals_name(link)

    def links(self) -> tuple[str, ...]:
        """The program's own terminal is nobody's instrument: whoever tunes there may switch there, too."""
        return () if self.link == "/dev/tty" else (self.link,)

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
        confirm(
            self._options.link,
            PART,
            f"{path}: {setting}",
            self._options.timeout_s,
            self._options.bell,
            unanswered=(
                f"nobody confirmed {path}",
                "Nobody knows how the switch stands; set it by hand to antenna-bypass.",
            ),
            refused=(f"asked for {path}, they stopped.", "Set the switch by hand to antenna-bypass."),
        )


DRIVER = Driver(kind="switch", name="person", options=PersonOptions, open=Person)
