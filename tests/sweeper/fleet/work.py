"""Work for executors to do, importable in their worker processes."""

import os
import signal
from pathlib import Path


def square(number: int) -> int:
    return number * number


def refuse_seven(number: int) -> int:
    if number == 7:
        raise ValueError("seven is no good")
    return number


def die_on_seven(number: int) -> int:
    """Takes its worker down, as the kernel does when memory runs out."""
    if number == 7:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def die_once(file: str) -> str:
    """Takes its worker down the first time only."""
    marker = Path(file)
    if not marker.exists():
        marker.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return file
