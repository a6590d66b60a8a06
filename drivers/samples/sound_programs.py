"""The sound system's own programs that are started, and no others: they list, read levels and capture, and none plays.

The one place in `drivers` that starts a program: by name from PATH, without a shell, with arguments of ours and the
name of an input that was looked at before. What they say is other people's text: names of devices, of streams. It is
waited for only so long, only so much of it is read, and nothing of it that could steer a terminal goes further.
"""

import contextlib
import os
import re
import shutil
import signal
import subprocess
from collections.abc import Sequence

from drivers.errors import BadReply, LinkTimeout, Refused, Unsupported
from drivers.waiting import Deadline, pause, ready

PART = "sound input"
ANSWER_S = 5.0
"""Within which a sound server or ALSA tells what there is."""
PACKAGES = {
    "pactl": "pulseaudio-utils",
    "parec": "pulseaudio-utils",
    "arecord": "alsa-utils",
    "amixer": "alsa-utils",
}
"""What may be started, and Debian's package of each."""
MOST_BYTES = 1_000_000
"""A program that lists what there is says some kilobytes."""
END_S = 3.0
"""How long a program that was killed may take to be gone; one that hangs in the kernel is left behind."""
MOST_LETTERS = 200
NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.:,=@+/ -]{0,199}")


def installed(program: str) -> bool:
    """Whether one of `PACKAGES` is there."""
    return program in PACKAGES and shutil.which(program) is not None


def answer(
    program: str, *arguments: str, faults: bool = False, within_s: float = ANSWER_S
) -> tuple[int, str] | None:
    """(exit code, what it said) of a program that ends by itself; None where it is missing.

    `faults`: what it said on standard error, in place of standard output. `LinkTimeout` when it is not over in time,
    `BadReply` when it says more than any of these has to say.
    """
    if not installed(program):
        return None
    deadline = Deadline(within_s, PART)
    child = _started(program, arguments, output=not faults, errors=faults)
    try:
        said = _said(child, program, deadline)
        while child.poll() is None:
            if deadline.remaining() <= 0.0:
                raise LinkTimeout(PART, f"{program} does not answer.", "Restart the sound server.")
            pause(0.005, PART)
    finally:
        end(child)
        for pipe in (child.stdout, child.stderr):
            if pipe is not None:
                pipe.close()
    return child.returncode, said.decode("utf-8", "replace")


def _said(child: "subprocess.Popen[bytes]", program: str, deadline: Deadline) -> bytes:
    pipe = child.stdout or child.stderr
    said = bytearray()
    while pipe is not None and ready(pipe, deadline) and (piece := os.read(pipe.fileno(), 65_536)):
        said += piece
        if len(said) > MOST_BYTES:
            raise BadReply(PART, f"what {program} says has no end.", "Restart the sound server.")
    return bytes(said)


def captured(program: str, arguments: Sequence[str]) -> "subprocess.Popen[bytes]":
    """A capture program that writes samples to its standard output until it is killed."""
    if not installed(program):
        raise Unsupported(
            PART, f"{program} is not installed.", f"On Debian: apt install {PACKAGES.get(program, '')}."
        )
    return _started(program, arguments, output=True, errors=True)


def end(child: "subprocess.Popen[bytes]") -> None:
    """Kill it, unless it is over, and whatever it started; never raises, and never waits for long."""
    if child.returncode is None:
        with contextlib.suppress(OSError):
            os.killpg(child.pid, signal.SIGKILL)
        wait(child, END_S)


def checked(name: str) -> str:
    """The name of an input or a card as an argument; `Refused` for one that could be taken for something else."""
    if not NAME.fullmatch(name):
        raise Refused(PART, f"{name[:60]!r} is no name of an input.", "See `pactl list short sources`.")
    return name


def wait(child: "subprocess.Popen[bytes]", within_s: float) -> None:
    """Until it has ended, or so long."""
    try:
        child.wait(within_s)
    except subprocess.TimeoutExpired:
        return


def _started(
    program: str, arguments: Sequence[str], *, output: bool, errors: bool
) -> "subprocess.Popen[bytes]":
    try:
        return subprocess.Popen(
            _line(program, arguments),
            env=_environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE if output else subprocess.DEVNULL,
            stderr=subprocess.PIPE if errors else subprocess.DEVNULL,
            bufsize=0,
            process_group=0,  # a Ctrl-C at the terminal is for us, who end this in our own time
        )
    except OSError as fault:
        raise Refused(PART, f"{program} cannot be started: {fault.strerror}.") from fault


def plain(text: str) -> str:
    """What a program told, so short and without signs that a terminal would obey."""
    shown = "".join(sign if sign.isprintable() else " " for sign in text[: 2 * MOST_LETTERS])
    return " ".join(shown.split())[:MOST_LETTERS]


def _line(program: str, arguments: Sequence[str]) -> list[str]:
    return [shutil.which(program) or program, *arguments]


def _environment() -> dict[str, str]:
    """Their words are read, so they are to be English."""
    return {**os.environ, "LC_ALL": "C"}
