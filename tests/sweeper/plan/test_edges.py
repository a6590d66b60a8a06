"""Edges: where the route changes while the dial stays, how many there are, and what they cost."""

from itertools import groupby, pairwise
from pathlib import Path
from statistics import mean

import pytest

from sweeper.plan import budget, edge_budget, one_pass, path_order, relay_moves
from sweeper.plan.edge_budget import nights_until_known
from sweeper.plan.edges import PASSES, edges_of, last_pass, stays_tuned
from sweeper.station import Station, load
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, Visit
from tests.sweeper.station.files import written

BANDS = """\
bands:
  - name: 40 m
    channels: [{hz: 7038500, for: noise}, {hz: 7186000, for: noise}, {hz: 7202000, for: carrier}]
  - name: 31 m
    channels: [{hz: 9396000, for: noise}, {hz: 9999000, for: carrier}]
  - name: 10 m
    channels: [{hz: 28070000, for: noise}, {hz: 28870000, for: noise}]
schedule:
"""
ONE_BAND = """\
bands:
  - name: 40 m
    channels:
      - {hz: 7038500, for: noise}
      - {hz: 7202000, for: carrier}
schedule:
"""
EARLY, LATE = 2, 100_002


def station(folder: Path, *changes: tuple[str, str]) -> Station:
    return load(written(folder, (ONE_BAND, BANDS), *changes))


def carriers(each: Station) -> list[Channel]:
    return [channel for channel in each.channels() if channel.purpose == "carrier"]


def moves(each: Station, number: int) -> int:
    return relay_moves(each, [visit.path for visit in one_pass(each, number)])


def test_every_change_of_route_between_antenna_paths_finds_the_dial_where_it_stays(tmp_path: Path) -> None:
    each = station(tmp_path)
    for number in range(1, 40):
        for before, after in pairwise(one_pass(each, number)):
            if before.path.source == after.path.source == "antenna" and before.path != after.path:
                assert before.channel == after.channel


def test_edges_that_cost_nothing_come_to_every_carrier_in_turn_and_to_a_band_without_one(
    tmp_path: Path,
) -> None:
    each = station(tmp_path)
    seen: dict[Channel, int] = {}
    for number in range(LATE, LATE + 12):
        assert moves(each, number) == relay_moves(each, path_order(each, number))
        for channel, count in edges_of(one_pass(each, number)).items():
            seen[channel] = seen.get(channel, 0) + count
    assert [channel.hz for channel in sorted(seen, key=lambda one: one.hz)] == [
        7_202_000,
        9_999_000,
        28_070_000,
    ]
    assert sum(seen.values()) == 12 * 2 - 3  # a pass with load goes from load to stage: one edge less
    assert min(seen.values()) >= 6


def test_both_ways_over_an_edge_come_as_often_in_a_pass_without_load(tmp_path: Path) -> None:
    each = station(tmp_path)
    for number in (2, 3, 4, LATE, LATE + 1):
        over = [
            after.path.route
            for before, after in pairwise(one_pass(each, number))
            if before.channel == after.channel and before.path != after.path
        ]
        assert over.count("stage") == over.count("bypass") > 0


def test_the_first_passes_have_edges_of_their_own_for_a_twentieth_of_the_rated_life(tmp_path: Path) -> None:
    each = station(tmp_path)
    more = [
        moves(each, number) - relay_moves(each, path_order(each, number)) for number in (2, 625, 626, LATE)
    ]
    assert more == [8, 8, 0, 0]  # both carriers, there and back in either half: 5000 of 100 000 operations
    worn = station(tmp_path, ("rated_operations: 100000", "rated_operations: 20000"))
    a_pass = moves(worn, 2) - relay_moves(worn, path_order(worn, 2))
    assert a_pass == 4  # one carrier, the other one in the next pass
    assert {edges_of(one_pass(worn, number)).get(carriers(worn)[0], 0) > 2 for number in (2, 3)} == {
        True,
        False,
    }


def test_a_longer_life_gives_every_carrier_its_edges(tmp_path: Path) -> None:
    """5 % of 400 000 lasts for two carriers in 2500 passes; the rule wants 400 at the least."""
    each = station(tmp_path, ("rated_operations: 100000", "rated_operations: 400000"))
    assert moves(each, 2_500) > relay_moves(each, path_order(each, 2_500))
    assert moves(each, 2_501) == relay_moves(each, path_order(each, 2_501))
    assert PASSES == 400


def test_a_switch_that_does_not_wear_stays_on_each_channel_for_all_paths(tmp_path: Path) -> None:
    each = station(tmp_path, ("rated_operations: 100000", "rated_operations: 1000000000"))
    visits = one_pass(each, LATE)
    order = path_order(each, LATE)
    assert visits == tuple(Visit(channel, path) for channel in each.channels() for path in order)
    assert set(edges_of(visits).values()) == {2} and set(edges_of(visits)) == set(each.channels())
    assert last_pass(each, 2) == 0


def test_the_station_file_may_ask_for_more_for_ever_or_for_none(tmp_path: Path) -> None:
    none = station(tmp_path, ("schedule:", "plan:\n  edges_a_pass: 0\nschedule:"))
    one = station(tmp_path, ("schedule:", "plan:\n  edges_a_pass: 1\nschedule:"))
    for number in (EARLY, LATE):
        assert moves(none, number) == 2 and moves(one, number) == 6
    assert budget(one, 100).relay_operations_a_day == budget(none, 100).relay_operations_a_day + 400


def test_drift_cancels_on_every_channel_but_for_the_half_second_of_an_edge(tmp_path: Path) -> None:
    each = station(tmp_path)
    for number in (2, 3, 4, LATE):
        visits = one_pass(each, number)
        for channel in each.channels():
            middle = {
                path: mean(n for n, visit in enumerate(visits) if visit == Visit(channel, path))
                for path in (ANTENNA_BYPASS, ANTENNA_STAGE)
            }
            assert abs(middle[ANTENNA_BYPASS] - middle[ANTENNA_STAGE]) <= 1


def test_bands_that_are_due_share_the_edges_of_all(tmp_path: Path) -> None:
    each = station(tmp_path)
    visits = one_pass(each, EARLY, {"31 m"})
    assert {visit.channel.band for visit in visits} == {"31 m"}
    assert edges_of(visits)[carriers(each)[1]] == 6  # with those at the ends of the paths
    assert one_pass(each, EARLY, {"no band"}) == one_pass(each, EARLY)


def test_a_hand_at_the_switch_is_not_asked_for_more(tmp_path: Path) -> None:
    each = station(tmp_path)
    by_hand = each.model_copy(update={"switch": each.switch.model_copy(update={"driver": "person"})})
    assert moves(by_hand, 2) == relay_moves(by_hand, path_order(by_hand, 2)) == 2
    assert edge_budget(by_hand, 48) is None
    lasting = by_hand.switch.model_copy(update={"rated_operations": 10**12})
    assert not stays_tuned(by_hand.model_copy(update={"switch": lasting}))
    assert last_pass(by_hand, 2) == 0


def test_a_hand_at_the_dial_finds_all_paths_of_a_channel_before_it_turns_on(tmp_path: Path) -> None:
    each = station(tmp_path)
    by_hand = each.model_copy(
        update={"receiver": each.receiver.model_copy(update={"driver": "dial-by-hand"})}
    )
    assert not stays_tuned(each) and stays_tuned(by_hand)
    dialled = [visit.channel for visit in one_pass(by_hand, EARLY)]
    assert [channel for channel, _ in groupby(dialled)] == list(each.channels())


@pytest.mark.parametrize(("rated", "tuned"), [(14_000_000, True), (13_999_999, False)])
def test_a_switch_that_outlives_a_million_passes_lets_the_dial_stay(
    tmp_path: Path, rated: int, tuned: bool
) -> None:
    """Seven channels, there and back in each pass: fourteen million operations."""
    each = station(tmp_path)
    switch = each.switch.model_copy(update={"rated_operations": rated})
    assert stays_tuned(each.model_copy(update={"switch": switch})) == tuned


def test_what_edges_buy(tmp_path: Path) -> None:
    told = edge_budget(station(tmp_path), 48)
    assert told is not None
    assert (told.operations_a_pass, told.passes) == (8, 625)
    assert told.seconds_a_pass == pytest.approx(8 * (0.15 + 8 * 0.05 + 0.03))
    assert told.edges_a_night > 48 * 4
    assert told.nights == 1 and told.nights_without > told.later_nights > 1


def test_nights_by_hand() -> None:
    """(1.96 × 4 ÷ 0.5)² = 245.9 passes without edges; (1.96 × 2.5 ÷ 0.5)² = 96.04 edges are enough by themselves."""
    assert [nights_until_known(passes, 0) for passes in (48, 245, 246)] == [6, 2, 1]
    assert [nights_until_known(0, edges) for edges in (96, 97)] == [2, 1]
