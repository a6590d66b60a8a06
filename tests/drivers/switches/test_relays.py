"""What holds for the relays of any board on their way from one path to another."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from drivers.errors import Stuck
from drivers.switches.relays import RelayOptions, Relays

NAMES = [str(number) for number in range(5)]
settings = st.fixed_dictionaries(dict.fromkeys(NAMES, st.booleans()))


class Board:
    """Relays in memory that keep every state they passed through; some may be welded, some may not be readable."""

    def __init__(
        self, stands: dict[str, bool], welded: frozenset[str] = frozenset(), known: bool = True
    ) -> None:
        self.stands = dict(stands)
        self.welded = welded
        self.known = known
        self.states: list[frozenset[str]] = []
        self.written: list[tuple[str, bool]] = []

    def identify(self) -> str:
        return "board"

    def read(self) -> dict[str, bool]:
        written = {relay for relay, _ in self.written}
        return {relay: on for relay, on in self.stands.items() if self.known or relay in written}

    def write(self, relay: str, on: bool) -> None:
        self.written.append((relay, on))
        if relay not in self.welded:
            self.stands[relay] = on
        self.states.append(on_of(self.stands))

    def close(self) -> None:
        pass


def on_of(setting: dict[str, bool]) -> frozenset[str]:
    return frozenset(relay for relay, on in setting.items() if on)


def switch(board: Board, goal: dict[str, bool]) -> Relays:
    return Relays("board", board, RelayOptions(paths={"antenna-stage": goal}, break_s=0))


@given(start=settings, goal=settings)
def test_no_state_on_the_way_mixes_the_old_path_with_the_new(start, goal):
    board = Board(start)
    switch(board, goal).select("antenna-stage")
    assert all(state <= on_of(start) or state <= on_of(goal) for state in board.states)
    assert board.stands == goal


@given(start=settings, goal=settings)
def test_only_what_differs_moves_and_is_counted(start, goal):
    board = Board(start)
    moved = switch(board, goal).select("antenna-stage")
    differing = {(relay, goal[relay]) for relay in NAMES if start[relay] != goal[relay]}
    assert set(board.written) == differing
    assert moved == len(board.written) == len(differing)


@given(start=settings, goal=settings, welded=st.sets(st.sampled_from(NAMES)))
def test_nothing_pulls_in_beside_a_relay_that_does_not_let_go(start, goal, welded):
    board = Board(start, frozenset(welded))
    holds_on = [relay for relay in welded if start[relay] and not goal[relay]]
    stays_off = [relay for relay in welded if not start[relay] and goal[relay]]
    if holds_on or stays_off:
        with pytest.raises(Stuck):
            switch(board, goal).select("antenna-stage")
    else:
        switch(board, goal).select("antenna-stage")
    if holds_on:
        assert not any(on for _, on in board.written)


@given(start=settings, goal=settings)
def test_relays_whose_state_nobody_knows_are_all_set(start, goal):
    board = Board(start, known=False)
    relays = switch(board, goal)
    assert relays.selected() is None
    assert relays.select("antenna-stage") == len(NAMES)
    assert board.stands == goal
    assert relays.select("antenna-stage") == 0
    assert relays.selected() == "antenna-stage"


@given(start=settings, goal=settings)
def test_letting_go_alone_pulls_nothing_in(start, goal):
    board = Board(start)
    relays = switch(board, goal)
    released = relays.release("antenna-stage")
    assert board.states == [] or board.states[-1] == on_of(start) & on_of(goal)
    assert released + relays.select("antenna-stage") == sum(start[relay] != goal[relay] for relay in NAMES)


@pytest.mark.parametrize("word", ["on", "off", "true", "false", True, False])
def test_words_and_booleans_are_understood(word):
    options = RelayOptions.model_validate({"paths": {"antenna-bypass": {0: word}}})
    state = "on" if word in ("on", "true", True) else "off"
    assert options.relays_of("antenna-bypass") == {("0", state)}


@pytest.mark.parametrize("word", ["half", 2, None, [], "ein"])
def test_other_words_are_not(word):
    with pytest.raises(ValidationError):
        RelayOptions.model_validate({"paths": {"antenna-bypass": {0: word}}})
