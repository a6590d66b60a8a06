"""Waiting for a lost link: ever longer, never all at once, and not for ever."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from drivers.links.backoff import backoff_s


@given(st.floats(0, 100), st.floats(0, 0.999))
def test_the_waits_add_up_to_the_patience(patience_s: float, dice: float) -> None:
    assert abs(sum(backoff_s(patience_s, lambda: dice)) - patience_s) < 1e-9


@given(st.floats(0, 0.999))
def test_waits_grow_until_the_longest(dice: float) -> None:
    waits_s = list(backoff_s(30.0, lambda: dice))[:-1]
    assert all(a <= b <= 2.0 for a, b in pairwise(waits_s))


def test_two_programs_do_not_knock_together() -> None:
    assert list(backoff_s(5.0, lambda: 0.1)) != list(backoff_s(5.0, lambda: 0.7))


def test_no_patience_means_no_wait() -> None:
    assert list(backoff_s(0.0, lambda: 0.5)) == []
