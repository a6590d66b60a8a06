"""Relay life is counted relay by relay, for ever, and made to last."""

from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from drivers.errors import LinkLost
from sweeper.daemon.rig import relay_life
from sweeper.plan import budget, one_pass
from sweeper.station import Station, load
from tests.sweeper.engine.bench import Board
from tests.whole.unattended import STATION

pytestmark = pytest.mark.slow

NOW = datetime(2026, 11, 1, 16, tzinfo=UTC)


def station(folder: Path, switch: str = "", rated: int = 100_000) -> Station:
    text = STATION.format(
        receiver="tcp://127.0.0.1:4532", switch="tcp://127.0.0.1:5020",
        settle_s=0.1, readings=4, quiet_s=300, rated=rated, more="",
    )  # fmt: skip
    file = folder / "outpost.yaml"
    file.write_text(
        text.replace("  rest: antenna-bypass\n", f"  rest: antenna-bypass\n{switch}"), encoding="utf-8"
    )
    return load(file)


@pytest.fixture
def outpost(tmp_path: Path) -> Station:
    return station(tmp_path)


def test_each_relay_counts_its_own_moves(outpost: Station) -> None:
    switch = relay_life.CountedSwitch(Board(), outpost)
    for path in (
        "antenna-bypass",
        "antenna-stage",
        "antenna-bypass",
        "load-bypass",
        "load-stage",
        "antenna-bypass",
    ):
        switch.select(path)
    stage, load_relay = sorted(switch.moves)
    # Coil 0 is the stage: in, out, in, out. Coil 1 the load: in, out.
    assert (switch.moves[stage], switch.moves[load_relay]) == (4, 2)


def test_a_move_that_the_board_did_not_confirm_counts_all_the_same(outpost: Station) -> None:
    board = Board()
    switch = relay_life.CountedSwitch(board, outpost)
    board.unplugged = True
    with pytest.raises(LinkLost):
        switch.select("antenna-stage")
    assert switch.moves.total() == 1
    board.unplugged = False
    switch.select("antenna-bypass")  # nobody knows from where: every relay may have moved
    assert switch.moves.total() == 3


def test_the_count_of_a_pass_is_that_of_its_plan(outpost: Station) -> None:
    for number in range(1, 9):
        switch = relay_life.CountedSwitch(Board(), outpost)
        for path in dict.fromkeys(visit.path for visit in one_pass(outpost, number)):
            assert path in outpost.paths()
        standing = None
        for visit in one_pass(outpost, number):
            if visit.path != standing:
                switch.select(str(visit.path))
                standing = visit.path
        switch.select("antenna-bypass")
        assert switch.moves == relay_life.moves_of_a_pass(outpost, number)


def test_the_count_outlives_the_process_and_a_damaged_file_begins_anew(tmp_path: Path) -> None:
    life = relay_life.plus(relay_life.load(tmp_path, NOW), Counter({"0": 5, "1": 2}), NOW)
    relay_life.save(tmp_path, life)
    assert relay_life.load(tmp_path, NOW + timedelta(days=300)) == life
    assert life.busiest() == 5
    (tmp_path / relay_life.FILE).write_text('{"since": "yesterday"')
    assert relay_life.load(tmp_path, NOW).operations == {}


@pytest.mark.parametrize(
    ("operations", "word"),
    [(0, ""), (4_999, ""), (5_000, "half"), (9_000, "nine tenths"), (10_000, "past its rated")],
)
def test_warnings_at_half_and_nine_tenths(operations: int, word: str) -> None:
    life = relay_life.Life(NOW, {"0": operations, "1": 3}, {})
    told = relay_life.warning(life, 10_000)
    assert word in told and bool(told) == bool(word)


def test_without_a_planned_life_nothing_is_slowed(outpost: Station) -> None:
    worn = relay_life.Life(NOW, {"0": 99_999}, {})
    assert relay_life.every_nth(outpost, worn, NOW, 1000.0) == 1


@pytest.mark.parametrize("used", [0, 20_000, 80_000])
@pytest.mark.parametrize("after_days", [0, 200, 500])
def test_the_slowed_rhythm_lasts_as_long_as_planned(tmp_path: Path, used: int, after_days: int) -> None:
    """Checked by wearing the relays down, week by week, at the rhythm given, as the budget says a pass costs."""
    planned = station(tmp_path, "  planned_years: 2\n")
    passes_a_day = 144.0
    cost = (
        planned.switch.rated_operations / (budget(planned, passes_a_day).relay_years * 365.25) / passes_a_day
    )
    used_now, day = float(used), after_days
    while day < 2 * 365.25:
        life = relay_life.Life(NOW, {"0": int(used_now)}, {})
        every = relay_life.every_nth(planned, life, NOW + timedelta(days=day), passes_a_day)
        used_now += 7 * passes_a_day / every * cost
        day += 7
    assert used_now <= planned.switch.rated_operations * 1.01
    # And it is not slowed more than it must be: most of the life is used, or no pass was left out.
    assert used_now > 0.75 * planned.switch.rated_operations or every == 1


def test_worn_out_relays_slow_the_measuring_but_do_not_end_it(tmp_path: Path) -> None:
    planned = station(tmp_path, "  planned_years: 2\n")
    gone = relay_life.Life(NOW, {"0": 200_000}, {})
    assert relay_life.every_nth(planned, gone, NOW + timedelta(days=1), 144.0) == relay_life.MOST_THINNED


def test_contacts_idle_for_a_day_are_known_and_exercised(outpost: Station) -> None:
    switch = relay_life.CountedSwitch(Board(), outpost)
    fresh = relay_life.Life(NOW, {}, {})
    assert relay_life.idle_relays(outpost, fresh, NOW + timedelta(hours=23)) == frozenset()
    idle = relay_life.idle_relays(outpost, fresh, NOW + timedelta(hours=24))
    assert len(idle) == 2
    relay_life.exercise(outpost, switch)
    assert set(switch.moves) == idle and switch.selected() == "antenna-bypass"
    life = relay_life.plus(fresh, switch.moves, NOW + timedelta(hours=24))
    assert relay_life.idle_relays(outpost, life, NOW + timedelta(hours=47)) == frozenset()


def test_an_exercise_that_meets_a_stuck_relay_says_so_and_tries_to_rest(outpost: Station) -> None:
    board = Board(stuck=True)
    switch = relay_life.CountedSwitch(board, outpost)
    with pytest.raises(Exception, match="do not follow"):
        relay_life.exercise(outpost, switch)
    assert board.selected() == "antenna-bypass"
