"""Which lines of a band are read: those that stood before, a passer-by never, and old ones no longer."""

from typing import Any

import pytest

from sweeper.spectra.lines import MOST_KEPT, MOST_READ, SAME_HZ, known_of, to_read, with_pass

EDGES = (7_000_000, 7_200_000)


def after(*passes: tuple[int, ...]) -> dict[int, float]:
    known: dict[int, float] = {}
    for stood in passes:
        known = with_pass(known, stood)
    return known


def test_a_line_is_read_from_the_pass_after_the_second_in_which_it_stood() -> None:
    assert to_read(after((7_100_000,)), EDGES) == ()
    assert to_read(after((7_100_000,), (7_100_000, 7_050_000)), EDGES) == (7_100_000,)
    assert to_read(after((7_300_000,), (7_300_000,)), EDGES) == (), "another tuning's"


def test_a_line_that_wanders_is_one_line() -> None:
    known = after((7_100_000,), (7_100_000 + SAME_HZ,), (7_100_000 - SAME_HZ,), (7_101_000,))
    assert to_read(known, EDGES) == (7_100_000,)


def test_a_line_that_is_silent_by_day_is_still_known_at_night_and_one_that_left_is_forgotten() -> None:
    steady = after(*[(7_100_000,)] * 40)
    by_night = after(*[(7_100_000,)] * 40, *[()] * 84)
    assert to_read(steady, EDGES) == to_read(by_night, EDGES) == (7_100_000,)
    assert after(*[(7_100_000,)] * 40, *[()] * 3000) == {}


def test_a_new_antenna_brings_new_lines_before_the_old_ones_in_the_end() -> None:
    old, new = range(7_000_500, 7_080_500, 10_000), range(7_100_000, 7_180_000, 10_000)
    known = after(*[tuple(old)] * 500)
    assert to_read(known, EDGES) == tuple(old)
    for _ in range(350):
        known = with_pass(known, new)
    assert to_read(known, EDGES) == tuple(new)


def test_neither_what_is_read_nor_what_is_kept_grows_without_end() -> None:
    known = after(*[tuple(range(7_000_500, 7_190_000, 1_000))] * 3)
    assert len(known) == MOST_KEPT
    assert len(to_read(known, EDGES)) == MOST_READ


@pytest.mark.parametrize("kept", [None, 3, [], {"40 m": 2}, {"40 m": {"x": 1.0, "7100000": "a", "1": -1.0}}])
def test_what_was_kept_badly_is_nothing(kept: Any) -> None:
    assert not any(known_of(kept).values())


def test_what_was_kept_as_json_comes_back() -> None:
    assert known_of({"40 m": {"7100000": 2.5}}) == {"40 m": {7_100_000: 2.5}}
