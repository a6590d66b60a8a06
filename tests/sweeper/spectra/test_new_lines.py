"""Lines on one side of a switch only, edge by edge: what speaks for one, and how often it must before it counts."""

import numpy as np
import pytest
from scipy import stats

from sweeper.spectra.new_lines import NewLines

BINS = 30
EVERYWHERE = np.ones(BINS, np.bool_)


def after(*bins: int, times: int, against: int = 0, possible: float = 1.0) -> NewLines:
    """So many edges at which lines stood in these bins with the stage in, and so many with it out."""
    lines = NewLines.of(BINS, possible)
    quiet, loud = np.zeros(BINS), np.zeros(BINS)
    loud[list(bins)] = 10.0
    for nth in range(times + against):
        lines.add(quiet, loud, 1.0) if nth < times else lines.add(loud, quiet, 1.0)
    return lines


@pytest.mark.parametrize(
    ("bypass", "stage", "for_it", "against"),
    [(0.0, 1.1, 1, 0), (0.0, 0.9, 0, 0), (1.1, 0.0, 0, 1), (0.9, 0.0, 0, 0), (-3.0, 1.1, 1, 0), (1.1, -3.0, 0, 1),
     (1.9, 8.0, 1, 0), (2.1, 8.0, 0, 0), (8.0, 1.9, 0, 1), (8.0, 2.1, 0, 0)],
)  # fmt: skip
def test_a_side_speaks_that_is_occupied_and_four_times_as_high_as_the_other(
    bypass: float, stage: float, for_it: int, against: int
) -> None:
    lines = NewLines.of(1, 1.0)
    said = lines.add(np.array([bypass]), np.array([stage]), 1.0)
    assert (said.tolist(), lines.speak_for[0], lines.speak_against[0]) == ([bool(for_it)], for_it, against)


@pytest.mark.parametrize(("possible", "bypass", "said"), [(1.0, 0.6, True), (2.0, 0.9, True), (2.0, 1.1, False),
                                                          (0.1, 2.1, False), (0.1, 1.9, True)])  # fmt: skip
def test_a_signal_that_the_stage_may_have_lifted_by_so_much_is_not_new(
    possible: float, bypass: float, said: bool
) -> None:
    """Against 8 with the stage in; a stage that can only lower signals is taken to leave them alone."""
    lines = NewLines.of(1, possible)
    assert lines.add(np.array([bypass]), np.array([8.0]), 1.0).tolist() == [said]
    lowered = NewLines.of(1, 4.0)
    lowered.add(np.array([0.3]), np.array([0.0]), 1.0)  # lifted it would be 1.2
    assert lowered.speak_against.tolist() == [1]


def test_the_chance_is_a_sign_tests() -> None:
    lines = after(3, times=9, against=2)
    assert lines.chance()[3] == pytest.approx(stats.binomtest(9, 11, 0.5, alternative="greater").pvalue)
    assert lines.chance()[0] == 1.0
    assert after(3, times=0, against=4).chance()[3] == 1.0
    assert after(3, times=1).chance()[3] == pytest.approx(0.5)  # of one edge


@pytest.mark.parametrize(
    ("bins", "times", "found"),
    [((5,), 15, []), ((5,), 16, [5]), ((5, 20), 9, []), ((5, 20), 10, [5, 20]), ((5,), 10, []),
     ((5, 6, 7), 16, [6]), ((5, 6), 16, [5]), ((5, 6, 7, 20), 10, [6, 20]), ((0, 29), 10, [0, 29])],
)  # fmt: skip
def test_one_line_is_a_sign_at_sixteen_edges_in_a_row_and_two_at_ten(
    bins: tuple[int, ...], times: int, found: list[int]
) -> None:
    """2⁻¹⁶ is 1.5 in 100 000, 2⁻¹⁰ a little under one in 1000."""
    assert after(*bins, times=times).runs(EVERYWHERE) == found


def test_bins_that_nobody_can_use_are_no_sign() -> None:
    usable = EVERYWHERE.copy()
    usable[20] = False
    assert after(5, 20, times=10).runs(usable) == []
    assert after(5, 20, times=16).runs(usable) == [5]
