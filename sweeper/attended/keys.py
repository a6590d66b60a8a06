"""Keys of somebody at the terminal: each with the instant at which it was pressed."""

import os
import select
import stat
import sys
import termios
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO, Any

from sweeper.attended.listening import Pressed
from sweeper.clock import Clock

KEYS: dict[str, Any] = {" ": "switched", "l": "load", "L": "load", "q": "stop", "Q": "stop"}
LOOK_S = 0.2


def can_press(file: IO[Any] | None) -> bool:
    """Whether keys may come from there: a terminal, or a pipe that somebody writes to."""
    try:
        kind = os.fstat(file.fileno()).st_mode if file is not None else 0
    except (OSError, ValueError):
        return False
    return file is not None and (file.isatty() or stat.S_ISFIFO(kind) or stat.S_ISSOCK(kind))


@contextmanager
def keys(pressed: Pressed, clock: Clock, file: IO[Any] | None = None) -> Iterator[bool]:
    """Put what is pressed into `pressed` meanwhile; whether anybody can press. The terminal is restored at the end."""
    file = sys.stdin if file is None else file
    if not can_press(file):
        yield False
        return
    handle, over = file.fileno(), threading.Event()
    before = termios.tcgetattr(handle) if file.isatty() else None
    if before is not None:
        tty.setcbreak(handle)
    reading = threading.Thread(target=_read, args=(handle, pressed, clock, over), name="keys", daemon=True)
    reading.start()
    try:
        yield True
    finally:
        over.set()
        reading.join(timeout=2.0 * LOOK_S)
        if before is not None:
            termios.tcsetattr(handle, termios.TCSADRAIN, before)


def _read(handle: int, pressed: Pressed, clock: Clock, over: threading.Event) -> None:
    while not over.is_set():
        if not select.select([handle], [], [], LOOK_S)[0]:
            continue
        try:
            piece = os.read(handle, 64)
        except OSError:
            return
        if not piece:
            return
        for letter in piece.decode("ascii", "ignore"):
            if letter in KEYS:
                pressed.put((KEYS[letter], clock.monotonic()))
