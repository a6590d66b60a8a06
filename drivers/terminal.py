"""A person at a terminal, asked to set something by hand: the bell, a question, and an Enter, but not for ever."""

import os
import stat
from pathlib import Path
from typing import IO

from drivers.errors import LinkTimeout, Refused, Unsupported
from drivers.waiting import Deadline, ready

Words = tuple[str, str]
"""What happened, and what to do."""


def is_a_terminals_name(link: str) -> str:
    """The name itself; ValueError for one that can be no terminal's."""
    if not link.startswith("/dev/") or "/../" in link or not link.isprintable():
        raise ValueError(f"{link[:60]!r} is no terminal; write /dev/tty, or leave it out")
    return link


def confirm(
    link: str, part: str, question: str, timeout_s: float, bell: bool, unanswered: Words, refused: Words
) -> None:
    """Ask, and wait for an Enter with nothing before it.

    The terminal is opened for each question, so that others may use it meanwhile.

    `LinkTimeout` with the words `unanswered`, `Refused` with `refused` for a q, `Unsupported` where nobody sits.
    """
    try:
        # Looked at before it is opened: opening a serial port raises lines that may key a transmitter.
        device = Path(link)
        terminal = device.open("r+b", buffering=0) if _is_terminal(device.stat()) else None
    except OSError as fault:
        raise Unsupported(
            part, f"nobody can be asked at {link}: {fault.strerror}.", "Run it in a terminal."
        ) from None
    if terminal is None:
        raise Unsupported(
            part, f"{link} is no terminal that a person sits at.", "Leave link out, or write /dev/tty."
        )
    with terminal:
        answer = _answer(terminal, part, question, timeout_s, bell, unanswered)
    if answer in (b"q", b"quit"):
        raise Refused(part, *refused)


def _answer(
    terminal: IO[bytes], part: str, question: str, timeout_s: float, bell: bool, unanswered: Words
) -> bytes:
    while ready(terminal, Deadline(0.0, part)):
        terminal.read(1024)  # an Enter from before the question is no answer to it
    ring = "\a" if bell else ""
    asked = f"{ring}\r\n{question}. Press Enter when it is done, or q and Enter to stop.\r\n"
    terminal.write(asked.encode())
    deadline = Deadline(timeout_s, part)
    while answer := _line(terminal, part, deadline, timeout_s, unanswered):
        if answer in (b"q", b"quit"):
            return answer
        terminal.write(b"Only Enter says that it is done, and q and Enter that you stop.\r\n")
    return answer


def _line(terminal: IO[bytes], part: str, deadline: Deadline, timeout_s: float, unanswered: Words) -> bytes:
    """What was typed before an Enter, in small letters; its end alone where it is long."""
    answer = b""
    while b"\n" not in answer and b"\r" not in answer:
        if deadline.remaining() <= 0.0 or not ready(terminal, deadline):
            what, mend = unanswered
            raise LinkTimeout(part, f"{what} within {timeout_s:g} s.", mend)
        piece = terminal.read(1024)
        if not piece:
            raise Unsupported(part, "the terminal was closed.", "Run it in a terminal.")
        answer = answer[-MOST_TYPED:] + piece
    return answer.strip().lower()


MOST_TYPED = 1024
CONTROLLING, CONSOLES, PSEUDO = (5, 0), 4, range(136, 144)
"""Device numbers of /dev/tty, of the consoles (below 64 of their kind; serial ports come above) and of /dev/pts."""


def _is_terminal(found: os.stat_result) -> bool:
    """Whether a person can be there. Serial ports are left out: a receiver would take the question for a command."""
    kind, number = os.major(found.st_rdev), os.minor(found.st_rdev)
    return stat.S_ISCHR(found.st_mode) and (
        (kind, number) == CONTROLLING or (kind == CONSOLES and number < 64) or kind in PSEUDO
    )
