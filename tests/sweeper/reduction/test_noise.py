"""Sources of noise in stored spectra: in those of the pass in which each stood out most."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from drivers.config_files import station_file
from sweeper.noise.seen import Found, Heard
from sweeper.noise.shown import Shown
from sweeper.noise.written import line_of
from sweeper.reduction.noise import noise_of
from sweeper.reduction.spectra import spectra_seen
from sweeper.station import load
from sweeper.store import Store, keep_noise
from tests.sweeper.reduction.test_spectra import BINS, STEP_HZ, fill
from tests.sweeper.store.nights import EVENING, open_store

STATION = load(station_file("saltmarsh"))
END_HZ = 7e6 + BINS * STEP_HZ
PASSES = 12


def keep(store: Store, kind: str, numbers: range) -> None:
    """That kind of noise in the passes of these numbers, in the fifth the highest."""
    for number in numbers:
        at = EVENING + number * timedelta(minutes=5)
        found = Found("hump", 7.03e6, 7.07e6, 0.1, 0.01, -50.0, over_db=4.0 + (number == 5))
        if kind == "comb":
            lines = {"every_hz": 20_000.0 + number, "lines": 6, "first_hz": 7.005e6}
            found = replace(found, kind="comb", low_hz=7e6, high_hz=END_HZ, **lines)  # type: ignore[arg-type]
        heard = Heard(at.timestamp(), number, "40 m", 7e6, END_HZ, -40.0, 0.3, 0.01, True, (found,))
        keep_noise(store.folder, at, line_of([heard]))


def shown(store: Store) -> tuple[Shown, ...]:
    return noise_of(store, STATION, spectra_seen(store)).shown


def test_a_comb_is_shown_with_the_spectrum_of_its_pass(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, PASSES)
        keep(store, "comb", range(3, 8))
        (one,) = shown(store)
        assert one.time == (EVENING + timedelta(minutes=25)).timestamp()
        assert one.lines_hz == tuple(7.005e6 + nth * 20_005.0 for nth in range(6))
        assert len(one.levels_db) == BINS
        level = one.levels_db[BINS // 3]
        assert level is not None and level == pytest.approx(-50.0, abs=3.0)
        assert noise_of(store, STATION).shown == ()  # a station whose spectra are not stored


@pytest.mark.parametrize(("numbers", "drawn"), [(range(1, 13), False), (range(3, 7), True)])
def test_a_hump_needs_a_spectrum_of_its_own_only_where_the_median_does_not_show_it(
    tmp_path: Path, numbers: range, drawn: bool
) -> None:
    with open_store(tmp_path) as store:
        fill(store, PASSES)
        keep(store, "hump", numbers)
        for number in set(range(1, PASSES + 1)) - set(numbers):
            quiet(store, number)
        (one,) = shown(store)
    assert (one.low_hz, one.high_hz, bool(one.levels_db)) == (7.03e6, 7.07e6, drawn)


def quiet(store: Store, number: int) -> None:
    at = EVENING + number * timedelta(minutes=5)
    heard = Heard(at.timestamp(), number, "40 m", 7e6, END_HZ, -40.0, 0.3, 0.01, True, ())
    keep_noise(store.folder, at, line_of([heard]))


def test_where_spectra_were_thinned_the_marks_stay_and_no_spectrum_of_one_pass_is_drawn(
    tmp_path: Path,
) -> None:
    with open_store(tmp_path) as store:
        fill(store, PASSES)
        keep(store, "comb", range(3, 8))
        store.finish_days(EVENING + timedelta(days=40), keep_spectra_days=14)
        (one,) = shown(store)
    assert one.levels_db == () and len(one.lines_hz) == 6
