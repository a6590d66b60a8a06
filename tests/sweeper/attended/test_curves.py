"""Levels and curves of both routes for the eye, from spectra written down."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from sweeper.ab.result import Picture
from sweeper.attended.curves import NONE, Levels, drawn, routes
from sweeper.attended.heard import Shown
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE
from tests.sweeper.attended.test_advice import NOTHING

BINS, STEP_HZ = 60, 30.0
HZ = 300.0 + STEP_HZ * np.arange(BINS)
INSIDE = (np.arange(BINS) >= 10) & (np.arange(BINS) < 50)


def power(noise: float, line: float = 0.0, at: int = 30) -> np.ndarray:
    """Noise, a line in one bin, and something stronger outside the pass band."""
    told = np.full(BINS, noise)
    told[at] += line
    told[55] = 1e3
    return told


def heard(
    out: np.ndarray | None, within: np.ndarray | None, known: bool = True, whatever: np.ndarray | None = None
) -> SimpleNamespace:
    """What was heard through each path, or through whatever path."""
    of = {ANTENNA_BYPASS: out, ANTENNA_STAGE: within, None: whatever}

    def shown(stays: object, path: object, latest_s: float = 60.0) -> Shown | None:
        return None if (found := of[path]) is None else Shown(HZ, found)  # type: ignore[index]

    return SimpleNamespace(shown=shown, pass_band=INSIDE, knows_pass_band=known)


def levels_of(*of: object, result: object = None, **more: object) -> Levels:
    return routes(heard(*of, **more), (), result)  # type: ignore[arg-type]


def test_signal_and_noise_are_told_over_the_noise_with_the_stage_out() -> None:
    """A carrier of one bin reads its power over the window's bandwidth of two; 2.4 kHz hold 40 bandwidths of 60 Hz."""
    found = levels_of(power(1e-3, 10.0), power(5e-3, 100.0))
    assert found.unit == pytest.approx(1e-3)
    assert (found.out.noise_db, found.within.noise_db) == pytest.approx((0.0, 6.9897), abs=1e-3)
    out_db = 10 * np.log10(5.0 / (1e-3 * 40))
    assert found.out.signal_db == found.out.snr_db == pytest.approx(out_db, abs=0.01)
    assert found.within.signal_db == pytest.approx(out_db + 10.0, abs=0.01)
    assert found.within.snr_db == pytest.approx(out_db + 10.0 - 6.9897, abs=0.01)


@pytest.mark.parametrize(("line", "seen"), [(2.9e-3, False), (3.1e-3, True)])
def test_a_signal_is_told_from_six_decibels_over_the_noise_in_its_bin(line: float, seen: bool) -> None:
    """6 dB is a factor of 3.98, the noise itself being one of them."""
    found = levels_of(power(1e-3, line), None)
    assert (found.out.signal_db is not None) == (found.out.snr_db is not None) == seen
    assert found.out.noise_db == pytest.approx(0.0) and found.within == NONE


@pytest.mark.parametrize("at", [10, 12, 49])
def test_a_line_at_the_end_of_the_pass_band_is_read_without_what_lies_beyond(at: int) -> None:
    found = levels_of(power(1e-3, 10.0, at), None)
    assert found.out.signal_db == pytest.approx(10 * np.log10(5.0 / 0.04), abs=0.02)


@pytest.mark.parametrize("at", [0, 10, 12, 30, 49, 59])
def test_a_weak_line_is_read_without_the_noise_in_its_own_bins(at: int) -> None:
    """Five times the noise over it; bins beyond the pass band hold none of its noise."""
    everywhere = SimpleNamespace(
        **{**vars(heard(power(1e-3, 5e-3, at), None)), "pass_band": INSIDE | (at in (0, 59))}
    )
    if at in (0, 59):
        everywhere.shown([], ANTENNA_BYPASS).power[55] = 1e-3
    found = routes(everywhere, (), None)  # type: ignore[arg-type]
    assert found.out.signal_db == pytest.approx(10 * np.log10(2.5e-3 / 0.04), abs=0.02)


def test_with_one_route_heard_all_is_relative_to_its_noise_and_with_none_nothing_is_told() -> None:
    found = levels_of(None, power(5e-3, 10.0))
    assert (found.out, found.unit) == (NONE, pytest.approx(5e-3))
    assert found.within.noise_db == pytest.approx(0.0)
    silent = levels_of(None, None)
    assert (silent.out, silent.within, silent.unit) == (NONE, NONE, None)
    early = levels_of(power(1e-3), power(1e-3), known=False)
    assert (early.out, early.within, early.unit) == (NONE, NONE, None)


def test_the_noise_is_that_of_the_results_bins_once_there_is_one() -> None:
    """Before, it is the level that two fifths of the pass band stay below."""
    sloping = np.where(INSIDE, 1e-3 * (1.0 + np.arange(BINS)), 0.0)
    assert levels_of(sloping, None).unit == pytest.approx(float(np.quantile(sloping[INSIDE], 0.4)))
    noise = (np.arange(BINS) == 20) | (np.arange(BINS) == 22)
    picture = Picture(tuple(HZ), (), (), tuple(noise.tolist()))
    told = replace(NOTHING, picture=picture)
    assert levels_of(sloping, None, result=told).unit == pytest.approx(22e-3)
    other = replace(NOTHING, picture=replace(picture, noise=(True,) * 9))
    empty = replace(NOTHING, picture=replace(picture, noise=(False,) * BINS))
    for result in (other, empty, NOTHING):
        assert levels_of(sloping, None, result=result).unit == levels_of(sloping, None).unit


def test_curves_reach_four_bins_beyond_the_pass_band_and_forty_decibels_down() -> None:
    out, within = power(1e-3, 1.0), power(1e-2)
    within[12] = 0.0
    of = heard(out, within)
    found = drawn(of, (), routes(of, (), None))  # type: ignore[arg-type]
    assert (found.hz[0], found.hz[-1], len(found.hz)) == (HZ[6], HZ[53], 48)
    assert found.out.db[0] == 0.0 and found.out.db[24] == pytest.approx(30.0, abs=0.01)
    assert found.within.db[0] == 10.0 and found.within.db[6] == -40.0
    alone = heard(None, within)
    found = drawn(alone, (), routes(alone, (), None))  # type: ignore[arg-type]
    assert found.out.db == () and len(found.within.db) == len(found.hz) == 48


def test_before_the_first_switch_whatever_is_heard_is_drawn() -> None:
    sloping = 1e-3 * (1.0 + np.arange(BINS))
    found = drawn(heard(None, None, whatever=sloping), (), Levels(NONE, NONE, None))  # type: ignore[arg-type]
    unit = float(np.quantile(sloping, 0.65))
    assert found.within.db == () and found.out.db[0] == pytest.approx(
        10 * np.log10(sloping[6] / unit), abs=0.06
    )
    nothing = drawn(heard(None, None), (), Levels(NONE, NONE, None))  # type: ignore[arg-type]
    assert (nothing.hz, nothing.out.db, nothing.within.db) == ((), (), ())
    dark = SimpleNamespace(**{**vars(heard(sloping, None)), "pass_band": INSIDE & False})
    assert drawn(dark, (), Levels(NONE, NONE, 1.0)).hz == ()  # type: ignore[arg-type]
