"""Weak signals wider than a line: out where they stand, and noise alone loses hardly a bin."""

import numpy as np
import pytest

from sweeper.spectra.blocks import without_blocks
from sweeper.spectra.noise_bins import FALSE_ALARMS, noise_bins

BINS, SHAPE = 512, 24.0


def drawn(
    seed: int, occupied: tuple[tuple[int, int], ...] = (), excess: float = 0.25
) -> tuple[np.ndarray, ...]:
    """Both routes: noise, with signals of so much of its power in the stretches `occupied`."""
    dice = np.random.default_rng(seed)
    routes = []
    for level in (1.0, 20.0):
        mean = level * dice.gamma(SHAPE, 1.0 / SHAPE, BINS)
        for first, end in occupied:
            mean[first:end] *= 1.0 + excess
        routes.append(mean)
    return tuple(routes)


@pytest.mark.parametrize("wide", [24, 40, 90])
def test_signals_too_weak_for_a_bin_are_told_by_their_width(wide: int) -> None:
    stretches = tuple((first, first + wide) for first in (60, 300))
    inside = np.zeros(BINS, np.bool_)
    for first, end in stretches:
        inside[first:end] = True
    kept, alone = np.zeros(2), np.zeros(2)
    for seed in range(10):
        routes = drawn(seed, stretches)
        for counts, without in ((kept, without_blocks), (alone, None)):
            found = noise_bins(routes, (SHAPE, SHAPE), most_terms=3, without=without)
            counts += found.keep[inside].mean() / 10, found.keep[~inside].mean() / 10
    assert alone[0] > 2 * kept[0], "bin by bin they pass for noise"
    assert kept[0] < 0.35 and kept[1] > 0.85, (kept, alone)


def test_noise_alone_keeps_its_bins() -> None:
    lost = [
        1.0 - noise_bins(drawn(seed), (SHAPE, SHAPE), most_terms=3, without=without_blocks).keep.mean()
        for seed in range(30)
    ]
    # a bin's false alarms and their neighbours, and those of the windows, of which each takes half of its bins
    assert np.mean(lost) < 40 * FALSE_ALARMS


def test_what_is_chosen_by_the_sum_biases_no_difference() -> None:
    changes = []
    for seed in range(40):
        routes = drawn(seed, ((100, 350),), 0.15)
        keep = noise_bins(routes, (SHAPE, SHAPE), most_terms=3, without=without_blocks).keep
        changes.append(10 * np.log10(routes[1][keep].mean() / routes[0][keep].mean()) - 10 * np.log10(20.0))
    assert abs(np.mean(changes)) < 3 * np.std(changes) / np.sqrt(len(changes))


@pytest.mark.parametrize(("over", "out"), [(1.0, 0), (2.4, 4)])
def test_one_window_alone_that_no_noise_explains_loses_its_middle_half(over: float, out: int) -> None:
    """Of eight bins, those between two lines at its ends: no other window holds both, and one line lifts it by half as
    much. In thirty bins nothing wider is looked for. Four independent bins of shape 24 scatter by a tenth."""
    total = np.ones(30)
    total[[11, 18]] += over
    gone = np.flatnonzero(~without_blocks(total, np.ones(30, np.bool_), SHAPE))
    assert len(gone) == out and all(11 < each < 18 for each in gone)


@pytest.mark.parametrize(("every", "told"), [(2, True), (3, False)])
def test_windows_of_which_half_is_left_tell_and_emptier_ones_do_not(every: int, told: bool) -> None:
    total, left = np.ones(64), np.zeros(64, np.bool_)
    left[::every] = True
    total[24:40] = 3.0
    found = without_blocks(total, left, SHAPE)
    assert (found[26:38].sum() < left[26:38].sum()) == told
    assert (found[[*range(20), *range(44, 64)]] == left[[*range(20), *range(44, 64)]]).all()


def test_where_all_would_go_what_was_found_stays() -> None:
    total, keep = np.ones(64), np.ones(64, np.bool_)
    assert without_blocks(total, keep, 50.0).all()
    few = np.zeros(64, np.bool_)
    few[:10] = True
    assert (without_blocks(total, few, 50.0) == few).all()


@pytest.mark.parametrize(("bins", "out"), [(24, 0), (48, 20)])
def test_a_signal_that_leaves_fewer_bins_than_a_level_needs_is_left_whole(bins: int, out: int) -> None:
    """Eleven bins wide, twenty with what its windows take beside it: of 24 bins less than eight would be left."""
    total = np.ones(bins)
    total[4:15] += 2.0
    assert int((~without_blocks(total, np.ones(bins, np.bool_), SHAPE)).sum()) == out


@pytest.mark.parametrize(("bins", "out"), [(15, 0), (16, 8)])
def test_windows_of_eight_bins_are_the_narrowest_and_are_asked_of_two_of_them(bins: int, out: int) -> None:
    """A signal that fills one is taken out, and no more bins than its own; of fewer bins nothing is told."""
    total = np.ones(bins)
    total[4:12] += 1.5
    gone = np.flatnonzero(~without_blocks(total, np.ones(bins, np.bool_), SHAPE))
    assert len(gone) == out and all(3 <= each <= 12 for each in gone)


@pytest.mark.parametrize(("over", "told"), [(0.14, True), (0.1, False)])
def test_what_no_window_of_thirty_two_bins_tells_one_of_twice_as_many_may(over: float, told: bool) -> None:
    """Means of 32 bins of shape 24 scatter by 5 %, of 64 by 3.6."""
    total = np.ones(512)
    total[200:300] += over
    gone = np.flatnonzero(~without_blocks(total, np.ones(512, np.bool_), SHAPE))
    assert bool(len(gone)) == told and all(200 - 32 <= each < 300 + 32 for each in gone)
