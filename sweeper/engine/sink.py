"""Where the engine hands what it learns. The store, the live messages and the tests each are one."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Protocol

from sweeper.words import Labelled, PassRecord, Reading, Spectra, Visit


class Sink(Protocol):
    """Receives a pass as it grows. Calls come from the measuring thread, in the order written here."""

    def found(self, number: int, started: datetime, remembered: Mapping[str, Any]) -> None:
        """Which pass is about to touch the receiver, since when it runs, and how the receiver stood.

        Must be kept where a crash cannot reach it.
        """
        ...

    def visited(self, visit: Visit, readings: Sequence[Reading], heard: Labelled | None = None) -> None:
        """One visit is over. Its readings may still get flags before the pass ends. `heard`: its latest spectrum."""
        ...

    def finished(self, record: PassRecord, readings: Sequence[Reading], spectra: Spectra = ()) -> None:
        """The pass is over; for one that is not done, `readings` is empty. Commit it now or raise.

        `spectra`: what was heard, each with the name of its band, where levels come from samples.
        """
        ...

    def stood(self, lines_hz: Mapping[str, Sequence[int]]) -> None:
        """By band, lines that stood through the pass that just `finished`, in hertz: what later passes may read."""
        ...

    def mark_restored(self) -> None:
        """The receiver stands again as `found` said; that need not be kept any longer."""
        ...
