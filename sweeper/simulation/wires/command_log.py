"""What was sent to a simulated instrument: the last commands, and every one outside its family's allow-list.

No program of ours may ever send a command that could key a transmitter or change what it has no business
changing. A simulated instrument therefore knows more than it likes to hear, and writes down what it heard.
"""

from collections import deque
from collections.abc import Callable
from typing import IO, Literal

Kind = Literal["tune", "mode", "dial", "meter", "transmit", "setting", "write", "read", "other"]
"""What a command is about: set the frequency, set the mode, read either back, read the meter, ask whether it transmits,
another setting; write relays, read relays; anything else."""

_forbidden_anywhere: list[tuple[str, bytes]] = []


def forbidden_anywhere() -> tuple[tuple[str, bytes], ...]:
    """(instrument, command) for all that was sent outside an allow-list to any instrument of this process."""
    return tuple(_forbidden_anywhere)


class CommandLog:
    """The commands of one instrument. Memory stays bounded; `stream`, if given, gets every command as a line.

    `ours` says that only our own drivers talk here, so that what is forbidden counts for the whole process.
    """

    def __init__(
        self,
        instrument: str,
        allowed: Callable[[bytes], bool],
        kind_of: Callable[[bytes], Kind],
        *,
        ours: bool = True,
        stream: IO[str] | None = None,
        keep: int = 10_000,
    ) -> None:
        self.instrument = instrument
        self.count = 0
        self.forbidden: list[bytes] = []
        self._allowed = allowed
        self._kind_of = kind_of
        self._waiting: list[tuple[Kind, int, Callable[[], None]]] = []
        self._ours = ours
        self._stream = stream
        self._last: deque[bytes] = deque(maxlen=keep)
        self._known_good: set[bytes] = set()

    def note(self, command: bytes) -> None:
        """Write down one command as it came."""
        self.count += 1
        self._last.append(command)
        if self._stream is not None:
            self._stream.write(f"{self.instrument} {command!r}\n")
        if self._waiting:
            self._happen(self._kind_of(command))
        if command in self._known_good:
            return
        if self._allowed(command):
            if len(self._known_good) < 10_000:
                self._known_good.add(command)
            return
        self.forbidden.append(command)
        if self._ours:
            _forbidden_anywhere.append((self.instrument, command))

    def when(self, kind: Kind, action: Callable[[], None], nth: int = 1) -> None:
        """Do `action` when the `nth` command of a kind from now arrives, before it is answered.

        So a fault hits at its moment: ``log.when("meter", faults.drop, nth=3)``.
        """
        self._waiting.append((kind, nth, action))

    def _happen(self, kind: Kind) -> None:
        due = [action for awaited, left, action in self._waiting if awaited == kind and left == 1]
        self._waiting = [
            (awaited, left - (awaited == kind), action)
            for awaited, left, action in self._waiting
            if not (awaited == kind and left == 1)
        ]
        for action in due:
            action()

    @property
    def waiting(self) -> int:
        """How many awaited moments have not come yet."""
        return len(self._waiting)

    def last(self, n: int) -> tuple[bytes, ...]:
        """The last `n` commands, oldest first."""
        return tuple(self._last)[-n:]
