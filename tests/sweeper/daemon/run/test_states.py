"""One row of the table of states fits whatever holds, and people come before passes."""

import itertools

import pytest

from sweeper.daemon.run.states import TABLE, state_of

EITHER = (True, False)


@pytest.mark.parametrize("facts", list(itertools.product(EITHER, repeat=4)))
def test_exactly_one_row_fits(facts: tuple[bool, bool, bool, bool]) -> None:
    fitting = [
        row for row in TABLE if all(want in (None, fact) for want, fact in zip(row[1:], facts, strict=True))
    ]
    assert len(fitting) == 1
    *asked, in_use = facts
    assert state_of(*asked, lambda: in_use) == fitting[0][0]


def test_a_stop_comes_before_a_pause_and_a_pause_before_a_pass() -> None:
    assert state_of(True, True, True, lambda: True) == "stopping"
    assert state_of(False, True, True, lambda: False) == "paused"
    assert state_of(False, False, True, lambda: True) == "yielding"
    assert state_of(False, False, True, lambda: False) == "measuring"
    assert state_of(False, False, False, lambda: True) == "waiting"


def test_the_receiver_is_asked_only_when_a_pass_is_due() -> None:
    def asked() -> bool:
        raise AssertionError("nobody had to know")

    for stopping, paused, due in itertools.product(EITHER, repeat=3):
        if stopping or paused or not due:
            state_of(stopping, paused, due, asked)


def test_a_hand_that_comes_to_the_dial_between_two_looks_leaves_no_state_out() -> None:
    looks = iter([False, True])
    assert state_of(False, False, True, lambda: next(looks)) == "measuring"
