"""The sound system's own programs that are started, and no others: they list, read levels and capture, and none plays.

The one place in `drivers` that starts a program: by name from PATH, without a shell, with arguments of ours and the
name of an input that was looked at before.
"""

import os
import re
import shutil
import subprocess
from collections.abc import Sequence

from drivers.errors import LinkTimeout, Refused, Unsupported

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
NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.:,=@+/ -]{0,199}")


def installed(program: str) -> bool:
    """Whether one of `PACKAGES` is there."""
    return program in PACKAGES and shutil.which(program) is not None


def answer(program: str, *arguments: str, within_s: float = ANSWER_S) -> tuple[int, str, str] | None:
    """(exit code, standard output, standard error) of a program that ends by itself; None where it is missing."""
    if not installed(program):
        return None
    try:
        done = subprocess.run(
            _line(program, arguments),
            env=_environment(),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=within_s,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise LinkTimeout(PART, f"{program} does not answer.", "Restart the sound server.") from None
    except OSError as fault:
        raise Refused(PART, f"{program} cannot be started: {fault.strerror}.") from fault
    return done.returncode, done.stdout.decode("utf-8", "replace"), done.stderr.decode("utf-8", "replace")


def captured(program: str, arguments: Sequence[str]) -> "subprocess.Popen[bytes]":
    """A capture program that writes samples to its standard output until it is killed."""
    if not installed(program):
        raise Unsupported(
            PART, f"{program} is not installed.", f"On Debian: apt install {PACKAGES.get(program, '')}."
        )
    try:
        return subprocess.Popen(
            _line(program, arguments),
            env=_environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
            process_group=0,  # a Ctrl-C at the terminal is for us, who end this in our own time
        )
    except OSError as fault:
        raise Refused(PART, f"{program} cannot be started: {fault.strerror}.") from fault


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


def _line(program: str, arguments: Sequence[str]) -> list[str]:
    return [shutil.which(program) or program, *arguments]


def _environment() -> dict[str, str]:
    """Their words are read, so they are to be English."""
    return {**os.environ, "LC_ALL": "C"}
