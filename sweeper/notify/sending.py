"""Has messages sent, one after the other, while the measuring goes on: on a thread, each in a process of its own.

A service that fails, is slow or does not answer costs nothing but its message. None is sent again: after a time-out
nobody knows whether it arrived, and twice is worse than once.
"""

import contextlib
import os
import queue
import signal
import threading
from collections.abc import Callable
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path

from sweeper.notify.delivery import delivered
from sweeper.notify.watch import Message

LIMIT_S = 300.0
"""For reducing a season, drawing the picture and all the services together."""
MOST_WAITING = 20

Deliver = Callable[[Path, Path, Message], str]


class Sender:
    """Takes messages at any time and returns at once. `outcome` hears in one sentence what was not simply sent."""

    def __init__(
        self,
        station_file: Path,
        data: Path,
        outcome: Callable[[str], None],
        deliver: Deliver = delivered,
        limit_s: float = LIMIT_S,
    ) -> None:
        self._of = (station_file, data)
        self._outcome, self._deliver, self._limit_s = outcome, deliver, limit_s
        self._waiting: queue.Queue[Message | None] = queue.Queue(MOST_WAITING)
        self._thread = threading.Thread(target=self._work, name="messages", daemon=True)
        self._thread.start()

    def send(self, message: Message) -> None:
        """Have it sent; with too many waiting already it is dropped, and said so."""
        try:
            self._waiting.put_nowait(message)
        except queue.Full:
            self._outcome("A message was dropped: too many wait for a service that does not answer.")

    def close(self, within_s: float = 10.0) -> None:
        """Let what waits be sent, as far as that takes no longer."""
        try:
            self._waiting.put_nowait(None)
        except queue.Full:
            return
        self._thread.join(within_s)

    def _work(self) -> None:
        while (message := self._waiting.get()) is not None:
            if said := self._sent(message):
                self._outcome(said)

    def _sent(self, message: Message) -> str:
        spawn = get_context("spawn")  # threads and their locks do not come along
        ours, theirs = spawn.Pipe(duplex=False)
        child = spawn.Process(
            target=_apart, args=(theirs, self._deliver, *self._of, message), name="a message", daemon=True
        )
        try:
            child.start()
            theirs.close()
            if not ours.poll(self._limit_s):
                return f"A message was not sent within {self._limit_s:g} s; perhaps it arrived all the same."
            return str(ours.recv())
        except (OSError, EOFError) as fault:
            return f"A message was not sent: {str(fault) or 'its process ended early'}."
        finally:
            ours.close()
            if child.is_alive():
                child.join(1.0)
            if child.is_alive():
                child.kill()
                child.join()


def _apart(answer: Connection, deliver: Deliver, station_file: Path, data: Path, message: Message) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the program that waits for this one
    with contextlib.suppress(OSError):
        nowhere = os.open(os.devnull, os.O_WRONLY)  # what libraries print may hold an address
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
    try:
        said = deliver(station_file, data, message)
    except Exception as fault:
        said = f"A message was not sent: {type(fault).__name__}."  # its text might hold an address
    answer.send(said)
