"""From stored spectra, of the running day, of finished days and thinned, to what is seen of a tuning."""

from datetime import timedelta
from pathlib import Path

import numpy as np

from sweeper.reduction.spectra import MOST_BINS, MOST_PASSES, spectra_seen
from sweeper.words import Labelled, PassRecord, SignalPath, Spectrum
from tests.sweeper.store.nights import EVENING, open_store, pass_of

BINS, STEP_HZ = 600, 200.0
LEVELS = {"antenna-bypass": 1e-7, "antenna-stage": 1e-6, "load-bypass": 4e-8, "load-stage": 3e-7}


def heard(
    number: int, at_s: float, band: str = "40 m", start_hz: float = 7e6, bins: int = BINS
) -> list[tuple[str, Labelled]]:
    dice = np.random.default_rng(number)
    found = []
    for nth, (path, level) in enumerate(LEVELS.items()):
        mean = (level * dice.gamma(40, 1 / 40, bins)).astype(np.float32)
        mean[bins // 3] *= 100.0
        one = Spectrum(start_hz, STEP_HZ, mean, None, 40, 400.0)
        found.append((band, Labelled(at_s + nth, at_s + nth + 0.5, SignalPath.parse(path), start_hz, one)))
    return found


def fill(store, count: int, **kinds: object) -> None:  # type: ignore[no-untyped-def]
    for _ in range(count):
        number = store.next_pass_number()
        at = EVENING + number * timedelta(minutes=5)
        record, readings = pass_of(number, at)
        assert isinstance(record, PassRecord)
        store.write_pass(record, readings, heard(number, at.timestamp(), **kinds))


def test_the_same_is_seen_of_the_running_day_and_of_its_file_and_thinned_it_is_coarser(
    tmp_path: Path,
) -> None:
    with open_store(tmp_path) as store:
        fill(store, 12)
        (before,) = spectra_seen(store)
        assert (before.band, before.passes, before.step_hz) == ("40 m", 12, STEP_HZ)
        assert abs((before.noise_change_db or 0.0) - 10.0) < 0.1
        assert [round((line.hz - 7e6) / STEP_HZ) for line in before.lines] == [BINS // 3]
        store.finish_days(EVENING + timedelta(days=2))
        assert spectra_seen(store) == (before,)
        store.finish_days(EVENING + timedelta(days=40), keep_spectra_days=14)
        (thinned,) = spectra_seen(store)
        assert len(thinned.levels_db["antenna-bypass"]) == 200
        assert abs((thinned.noise_change_db or 0.0) - 10.0) < 0.2
        assert spectra_seen(store, end=EVENING - timedelta(days=1)) == ()


def test_of_many_passes_an_even_choice_is_looked_at(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, MOST_PASSES + 3, bins=64)
        (seen,) = spectra_seen(store)
    assert MOST_PASSES // 2 <= seen.passes <= MOST_PASSES


def test_parts_of_a_wide_band_are_seen_by_themselves_and_what_has_no_place_is_not(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, 3)
        fill(store, 3, start_hz=7e6 + 0.9 * BINS * STEP_HZ)
        fill(store, 1, band="80 m", bins=MOST_BINS + 1)
        seen = spectra_seen(store)
    assert [(each.band, each.start_hz) for each in seen] == [("40 m", 7e6), ("40 m", 7_108_000.0)]
