"""What stands over the noise, and where that cannot be told."""

import numpy as np
import pytest

from sweeper.spectra.carriers import Signal, signals, told_apart, without_images_and_centre
from sweeper.spectra.noise_bins import NoiseBins


def tuning(kept: slice, bins: int = 80) -> NoiseBins:
    keep = np.zeros(bins, np.bool_)
    keep[kept] = True
    keep[39:42] = False
    return NoiseBins(keep, np.ones(bins, np.bool_), np.ones(bins), 1000.0)


def test_the_edge_of_a_filter_is_no_signal():
    """Below bin 16 there is no noise bin: what the pass band is there is a guess, and so is what stands over it."""
    over = np.zeros(80)
    over[5:15] = 6.3
    over[39:42] = (100.0, 400.0, 100.0)
    assert [signal.peak for signal in signals(over, tuning(slice(16, 80)))] == [40]


def test_between_noise_bins_every_line_is_told():
    over = np.zeros(80)
    over[39:42] = (100.0, 400.0, 100.0)
    (found,) = signals(over, tuning(slice(0, 80)))
    assert (found.first, found.last, found.peak, found.narrow) == (39, 41, 40, True)
    over[76:79] = 10.0
    noise = tuning(slice(0, 80))
    noise.keep[76:79] = False
    assert [(found.first, found.last) for found in signals(over, noise)] == [(39, 41), (76, 78)]


def where(over: np.ndarray, at: slice, level: float | tuple[float, ...]) -> np.ndarray:
    """`over` with so much there, and no noise bin where anything stands."""
    over[at] = level
    return over


def of(over: np.ndarray) -> list[Signal]:
    """The signals of a tuning in which every bin without one is noise."""
    return signals(over, NoiseBins(over == 0.0, np.ones(len(over), np.bool_), np.ones(len(over)), 1000.0))


def test_a_signal_is_read_in_the_bins_within_ten_decibels_of_its_strongest() -> None:
    """40 dB, and neighbours 9.9 and 10.1 dB below it: the mean of the core is that of two bins."""
    near, far = 1e4 / 10**0.99, 1e4 / 10**1.01
    (found,) = of(where(np.zeros(80), slice(38, 42), (3.0, near, 1e4, far)))
    assert (found.first, found.last, found.peak, found.core) == (38, 41, 40, (39, 40))
    assert found.strength == pytest.approx((near + 1e4) / 2)


def test_a_run_counts_from_a_signal_to_noise_ratio_of_one_on_and_reaches_down_to_a_quarter() -> None:
    assert of(where(np.zeros(80), slice(38, 41), (0.3, 0.99, 0.3))) == []
    (found,) = of(where(np.zeros(80), slice(36, 43), (0.24, 0.26, 0.5, 1.01, 0.5, 0.26, 0.24)))
    assert (found.first, found.last) == (37, 41)


@pytest.mark.parametrize("turned", [False, True])
def test_a_line_beside_the_outermost_noise_bin_is_told_and_one_beyond_it_is_not(turned: bool) -> None:
    """Bins 5 and 9 are noise, and so are those from 15 on: a line in between is one, and what lies below 5 is none."""
    over = np.zeros(80)
    over[:15] = (9.0, 9.0, 9.0, 9.0, 9.0, 0.0, 9.0, 9.0, 9.0, 0.0, 5.0, 5.0, 5.0, 5.0, 5.0)
    found = of(over[::-1] if turned else over)
    places = [(6, 8), (10, 14)]
    assert [(one.first, one.last) for one in found] == (
        [(79 - last, 79 - first) for first, last in places] if turned else places
    )


def test_the_strongest_comes_first_and_two_hundred_are_enough() -> None:
    over = np.zeros(1000)
    over[10:900:4] = np.arange(2.0, 225.0)
    found = of(over)
    assert [signal.peak for signal in found[:2]] == [898, 894] and len(found) == 200


def test_runs_outside_what_the_receiver_passes_are_none() -> None:
    over = where(np.zeros(80), slice(39, 42), 50.0)
    usable = np.ones(80, np.bool_)
    usable[40] = False
    found = signals(over, NoiseBins(over == 0.0, usable, np.ones(80), 1000.0))
    assert sorted((signal.first, signal.last) for signal in found) == [(39, 39), (41, 41)]
    assert signals(over, NoiseBins(np.zeros(80, np.bool_), np.ones(80, np.bool_), np.ones(80), 1000.0)) == []


@pytest.mark.parametrize(("valley", "parts"), [(9.0, 1), (11.0, 2)])
def test_a_run_is_two_signals_where_it_falls_ten_decibels_under_the_lower_of_both(
    valley: float, parts: int
) -> None:
    run = np.full(12, 100.0)
    run[6] = 100.0 / valley
    run[7:] = 3000.0  # the lower peak counts
    found = of(where(np.zeros(80), slice(30, 42), tuple(run)))
    assert len(found) == parts
    if parts == 2:
        assert sorted((each.first, each.last) for each in found) == [(30, 35), (37, 41)]


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(("valley", "parts"), [(9.0, 1), (11.0, 2)])
def test_the_lower_of_both_counts_wherever_in_the_run_the_higher_stands(
    valley: float, parts: int, turned: bool
) -> None:
    """The higher peak in the middle of the run, the valley and the lower one near its end."""
    run = np.full(20, 300.0)
    run[8], run[15], run[17] = 3000.0, 300.0 / valley, 300.0
    assert len(of(where(np.zeros(80), slice(30, 50), tuple(run[::-1] if turned else run)))) == parts


@pytest.mark.parametrize(("at", "parts"), [(1, 1), (2, 2), (9, 2), (10, 1)])
def test_what_is_cut_off_a_run_has_two_bins_at_least(at: int, parts: int) -> None:
    run = np.full(12, 100.0)
    run[at] = 1.0
    assert len(of(where(np.zeros(80), slice(30, 42), tuple(run)))) == parts


def test_a_run_as_narrow_as_a_line_is_never_cut_and_three_signals_side_by_side_are_three() -> None:
    narrow = (100.0, 100.0, 100.0, 100.0, 1.0, 100.0, 100.0, 100.0)
    assert [each.narrow for each in of(where(np.zeros(80), slice(30, 38), narrow))] == [True]
    wide = of(where(np.zeros(80), slice(30, 39), (*narrow, 100.0)))
    assert sorted((each.first, each.last) for each in wide) == [(30, 33), (35, 38)]
    three = (*[100.0] * 4, 1.0, *[100.0] * 4, 1.0, *[100.0] * 4)
    assert len(of(where(np.zeros(80), slice(30, 44), three))) == 3
    assert not of(where(np.zeros(80), slice(30, 39), 100.0))[0].narrow


def test_a_weak_run_hides_no_other_and_a_skirt_that_only_falls_is_one_signal() -> None:
    over = where(where(np.zeros(80), slice(10, 13), 0.5), slice(30, 42), tuple(1000.0 / 2.0 ** np.arange(12)))
    (found,) = of(over)
    assert (found.first, found.last, found.peak, found.core) == (30, 41, 30, (30, 31, 32, 33))
    (mirrored,) = of(over[::-1])
    assert (mirrored.first, mirrored.last, mirrored.peak) == (38, 49, 49)
    (tie,) = of(where(np.zeros(80), slice(40, 42), (100.0, 10.0)))
    assert tie.core == (40, 41)


LINE = Signal(38, 42, 40, (39, 40, 41), 100.0)
BINS = np.arange(100)
FLAT = NoiseBins((BINS > 4) & (BINS < 95) & (np.abs(BINS - 50) > 20), BINS >= 0, np.ones(100), 400.0)


def spectrum(*lines: tuple[int, float], noise: float = 1.0) -> np.ndarray:
    """Noise in a hundred bins, and lines of one bin on it."""
    power = np.full(100, noise)
    for at, level in lines:
        power[at] += level
    return power


@pytest.mark.parametrize(
    ("on_load", "kind"),
    [(0.0, "signal"), (0.3, "signal"), (0.4, "leakage"), (99.0, "leakage"), (101.0, "birdie"), (2000.0, "birdie")],
)  # fmt: skip
def test_what_the_load_hears_too_is_leakage_or_the_receivers_own(on_load: float, kind: str) -> None:
    """1000 on the antenna, less ten decibels 100. Three bins of noise scatter by √(3/400), four times that is 0.35."""
    (found,) = told_apart([LINE], FLAT, spectrum((40, 1000.0)), spectrum((40, on_load)), None)
    assert found.kind == kind
    (without,) = told_apart([LINE], FLAT, spectrum((40, 1000.0)), None, None)
    assert without.kind == "signal" and without.core == LINE.core


@pytest.mark.parametrize(("on_load", "kind"), [(0.6, "signal"), (0.8, "leakage")])
def test_what_counts_as_heard_on_the_load_grows_with_the_loads_own_noise(on_load: float, kind: str) -> None:
    """Of noise twice as high the limit of 0.35 is 0.69."""
    load = spectrum((40, on_load), noise=2.0)
    assert told_apart([LINE], FLAT, spectrum((40, 1000.0)), load, None)[0].kind == kind


def test_noise_is_taken_off_both_by_the_pass_band() -> None:
    """A filter that lets through three times as much there makes no signal, neither on the antenna nor on the load."""
    pass_band = np.ones(100)
    pass_band[39:42] = 3.0
    tilted = NoiseBins(FLAT.keep, FLAT.usable, pass_band, 400.0)
    antenna, load = pass_band * 5.0, pass_band * 2.0
    antenna[40] += 100.0
    (found,) = told_apart([LINE], tilted, antenna, load, None)
    assert found.kind == "signal"
    load[40] += 12.0
    (found,) = told_apart([LINE], tilted, antenna, load, None)
    assert found.kind == "birdie"
    load[40] -= 4.0
    (found,) = told_apart([LINE], tilted, antenna, load, None)
    assert found.kind == "leakage"


def test_a_line_that_only_the_load_hears_is_the_receivers_own() -> None:
    (found,) = told_apart([LINE], FLAT, spectrum((40, -0.5)), spectrum((40, 1.0)), None)
    assert found.kind == "birdie"


@pytest.mark.parametrize(("opposite", "kind"), [(990.0, "signal"), (1010.0, "image")])
def test_a_line_thirty_decibels_under_the_one_across_the_centre_is_its_image(
    opposite: float, kind: str
) -> None:
    """A receiver that rejects images by 40 dB, less 10: across bin 49.5 from 40 lies 59."""
    antenna = spectrum((40, 1.0))
    antenna[59] = opposite
    assert [each.kind for each in told_apart([LINE], FLAT, antenna, None, 49.5)] == [kind]
    assert [each.kind for each in told_apart([LINE], FLAT, antenna, None, None)] == ["signal"]
    assert [each.kind for each in told_apart([LINE], FLAT, antenna, spectrum((40, 5.0)), 49.5)] == (
        ["image"] if kind == "image" else ["birdie"]
    )


@pytest.mark.parametrize(
    ("strong", "kind"), [(57, "signal"), (58, "image"), (60, "image"), (61, "signal")]
)  # fmt: skip
def test_an_image_may_lie_a_bin_beside_its_place(strong: int, kind: str) -> None:
    antenna = spectrum((40, 1.0), (strong, 5000.0))
    assert told_apart([LINE], FLAT, antenna, None, 49.5)[0].kind == kind


@pytest.mark.parametrize(
    ("centre", "kind"),
    [
        (44.0, "signal"),
        (44.5, "image"),
        (19.0, "signal"),
        (20.0, "signal"),
        (20.5, "image"),
        (69.0, "image"),
        (69.5, "signal"),
        (70.0, "signal"),
    ],
)
def test_what_lies_at_the_centre_or_opposite_to_nothing_is_no_image(centre: float, kind: str) -> None:
    """Eight bins from its own place opposite it is itself; beyond the spectrum's ends nothing is seen whole."""
    antenna = spectrum((40, 1.0))
    antenna[[0, 47, 48, 49, 99, 97, 98]] = 5000.0
    antenna[40] = 2.0
    assert told_apart([LINE], FLAT, antenna, None, centre)[0].kind == kind


def test_bins_beside_the_centre_and_those_their_mirror_drowns_are_not_used() -> None:
    """The mirror of bin b about 49 is 98 − b; what has none is kept."""
    mean = np.ones(100)
    mean[[20, 90]] = 1010.0, 990.0
    usable = np.ones(100, np.bool_)
    usable[5] = False
    kept = without_images_and_centre(usable, mean, 49.0)
    assert np.flatnonzero(~kept).tolist() == [5, *range(45, 54), 78]
    assert np.flatnonzero(~without_images_and_centre(usable, mean, 49.0, guard=1)).tolist() == [
        5,
        48,
        49,
        50,
        78,
    ]
    shifted = without_images_and_centre(usable, mean, 60.0)  # mirrors run from 20 to 119
    assert np.flatnonzero(~shifted).tolist() == [5, *range(56, 65)]
