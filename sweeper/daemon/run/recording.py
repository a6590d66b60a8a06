"""Where a pass goes: the store first, then whoever looks on. A store that cannot take it is no reason to lose it."""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sweeper.daemon.rig.in_flight import clear_in_flight, mark_in_flight
from sweeper.daemon.run.observers import Observer
from sweeper.spectra.lines import KEPT_UNDER, known_of, with_pass
from sweeper.store import Store, StoreError, keep_noise
from sweeper.words import Labelled, PassRecord, Reading, Spectra, Visit

log = logging.getLogger(__name__)


class Recording:
    """The engine's sink for a whole run. What the store refuses (a full disk) is kept and offered again.

    `unwritten` holds passes that the store does not have yet, oldest first; at most one of them has readings,
    since no pass is measured while another waits.
    """

    def __init__(self, store: Store, observer: Observer) -> None:
        self._store = store
        self._observer = observer
        self.unwritten: list[tuple[PassRecord, tuple[Reading, ...], Spectra]] = []
        self._refused = False
        self.saved_tuning: Mapping[str, Any] | None = None

    def found(self, number: int, started: datetime, remembered: Mapping[str, Any]) -> None:
        """Kept before anything is touched. `StoreError` here ends the pass before it begins."""
        mark_in_flight(self._store, remembered, number, started)
        tuning = remembered.get("tuning")
        self.saved_tuning = tuning if isinstance(tuning, Mapping) else None

    def visited(self, visit: Visit, readings: Sequence[Reading], heard: Labelled | None = None) -> None:
        self._observer.alive()
        self._observer.visited(visit, readings, heard)

    def finished(self, record: PassRecord, readings: Sequence[Reading], spectra: Spectra = ()) -> None:
        noise, kept = _noise_of(record.number, spectra)
        self.unwritten.append((record, tuple(readings), kept))
        if self.write() is None and noise:
            try:
                keep_noise(self._store.folder, record.started, noise)
            except StoreError as full:
                self._observer.trouble(str(full), full.hand)

    def stood(self, lines_hz: Mapping[str, Sequence[int]]) -> None:
        """Kept beside the readings; what cannot be kept is learned from another pass."""
        try:
            known = known_of(self._store.recall(KEPT_UNDER))
            after = {band: with_pass(known.get(band, {}), stood) for band, stood in lines_hz.items()}
            self._store.remember(KEPT_UNDER, {**known, **after})
        except StoreError as full:
            self._observer.trouble(str(full), full.hand)

    def mark_restored(self) -> None:
        try:
            clear_in_flight(self._store)
        except StoreError as full:
            # It stays remembered, so it is put back once more than needed, with the dial left alone if turned.
            self._observer.trouble(str(full), full.hand)

    def write(self) -> StoreError | None:
        """Offer what is unwritten to the store; what it said if it still refuses."""
        while self.unwritten:
            record, readings, spectra = self.unwritten[0]
            try:
                if self._refused:
                    record = self._store.write_again(record, readings, spectra)
                else:
                    self._store.write_pass(record, readings, spectra)
            except StoreError as full:
                self._refused = True
                self._observer.trouble(
                    f"Pass {record.number} cannot be stored yet and is kept in memory; "
                    f"nothing is measured until it is. {full}",
                    full.hand,
                )
                return full
            del self.unwritten[0]
            self._observer.finished(record, readings)
        self._refused = False
        return None


def _noise_of(number: int, spectra: Spectra) -> tuple[str, Spectra]:
    """What made the noise of a pass, as a line for keeping, and its spectra as they are kept."""
    if not spectra:
        return "", ()
    from sweeper.noise.in_pass import in_pass  # arrays take long to load
    from sweeper.noise.written import line_of
    from sweeper.spectra.grouped import in_groups

    kept = tuple((band, replace(one, spectrum=in_groups(one.spectrum))) for band, one in spectra)
    try:
        return line_of(in_pass(number, spectra)), kept
    except Exception:  # a defect there costs a line beside the readings, and no pass
        log.exception("what made the noise could not be told")
        return "", kept
