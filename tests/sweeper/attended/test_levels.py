"""Levels over time, by hand: which lie between two instants, and what stands where nothing was heard."""

import numpy as np
import pytest

from sweeper.attended.levels import Levels, on_a_grid

TEN = Levels(100.0, 0.5, np.arange(10.0), 10.0 + np.arange(10.0))


@pytest.mark.parametrize(
    ("from_s", "until_s", "first", "count"),
    [(100.0, 105.0, 0, 10), (100.1, 104.9, 1, 8), (101.0, 102.0, 2, 2), (90.0, 101.4, 0, 2), (104.0, 999.0, 8, 2),
     (104.0, np.inf, 8, 2), (103.0, 102.0, 6, 0), (50.0, 60.0, 0, 0)],
)  # fmt: skip
def test_whole_levels_between_two_instants(from_s: float, until_s: float, first: int, count: int) -> None:
    part = TEN.between(from_s, until_s)
    assert part.floor_db.tolist() == list(range(first, first + count))
    assert part.total_db.tolist() == [10.0 + nth for nth in range(first, first + count)]
    assert (part.start_s, part.every_s) == (100.0 + 0.5 * first, 0.5)
    assert part.until_s == pytest.approx(part.start_s + 0.5 * count)


def test_levels_are_put_at_equal_distances_and_the_value_before_stands_in_a_gap() -> None:
    """Heard at 7.0, 7.5, 7.6 and 9.1 s: places 0, 1, 1 and 4 of half seconds; the latest of two counts."""
    found = on_a_grid(
        np.array([7.0, 7.5, 7.6, 9.1]),
        0.5,
        np.array([1.0, 2.0, 10.0, 0.0]),
        np.array([10.0, 1.0, 100.0, 0.0]),
    )
    assert (found.start_s, found.every_s) == (6.75, 0.5)
    assert found.floor_db == pytest.approx([0.0, 10.0, 10.0, 10.0, -200.0])
    assert found.total_db == pytest.approx([10.0, 20.0, 20.0, 20.0, -200.0])  # silence has a number
    nothing = on_a_grid(np.zeros(0), 0.5, np.zeros(0), np.zeros(0))
    assert (len(nothing.floor_db), nothing.start_s, nothing.until_s) == (0, 0.0, 0.0)
