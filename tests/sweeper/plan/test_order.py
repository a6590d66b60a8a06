"""A pass: all channels through one path before a relay moves, in an order that cancels drift and spares relays."""

from collections.abc import Sequence
from itertools import groupby, pairwise, permutations
from pathlib import Path
from statistics import mean

import pytest

from sweeper.plan import budget, one_pass, path_order, relay_moves
from sweeper.plan.order import moved
from sweeper.station import Station, load
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE
from sweeper.words import SignalPath as RelayPath
from tests.sweeper.station.files import written
from tests.sweeper.station.test_audio_section import SOUND

NO_LOAD = (
    ("    load-bypass: {0: off, 1: on}\n", ""),
    ("    load-stage: {0: on, 1: on}\n", ""),
)
NOISE_TOO = (
    ("{0: off, 1: off}", "{0: off, 1: off, 2: off}"),
    ("{0: on, 1: off}", "{0: on, 1: off, 2: off}"),
    ("{0: off, 1: on}", "{0: off, 1: on, 2: off}"),
    (
        "    load-stage: {0: on, 1: on}",
        "    load-stage: {0: on, 1: on, 2: off}\n    noise-stage: {0: on, 1: on, 2: on}",
    ),
    ("bands:", "noise_source:\n  enr_db: 15\nplan:\n  load_every: 2\n  noise_every: 6\nbands:"),
)
NO_EDGES = ("bands:", "plan:\n  edges_a_pass: 0\nbands:")
ABBA = (ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS)


@pytest.fixture
def station(tmp_path: Path) -> Station:
    return load(written(tmp_path))


def test_a_pass_goes_bypass_stage_stage_bypass(station: Station) -> None:
    assert path_order(station, 2) == ABBA


def test_all_channels_are_visited_through_one_path_before_a_relay_moves(tmp_path: Path) -> None:
    station = load(written(tmp_path, NO_EDGES))
    visits = one_pass(station, 2)
    stays = [
        (path, [visit.channel for visit in group]) for path, group in groupby(visits, key=lambda v: v.path)
    ]
    assert [path for path, _ in stays] == [ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_BYPASS]
    back, channels = list(station.channels()), list(station.channels())[::-1]
    assert [seen for _, seen in stays] in (
        [channels, back + channels, back],
        [back, channels + back, channels],
    )


def test_linear_drift_cancels_on_every_channel_in_a_pass_without_load(tmp_path: Path) -> None:
    station = load(written(tmp_path, NO_EDGES))
    visits = one_pass(station, 2)
    for channel in station.channels():
        drift = {path: [n for n, v in enumerate(visits) if v == type(v)(channel, path)] for path in set(ABBA)}
        assert sum(drift[ANTENNA_BYPASS]) == sum(drift[ANTENNA_STAGE])


def test_load_comes_in_the_first_pass_and_then_at_its_own_rhythm(station: Station) -> None:
    with_load = [n for n in range(1, 14) if LOAD_BYPASS in path_order(station, n)]
    assert with_load == [1, 5, 9, 13]
    for number in with_load:
        assert sorted(map(str, path_order(station, number))) == sorted(
            map(str, (*ABBA, LOAD_BYPASS, LOAD_STAGE))
        )


def test_drift_cancels_over_two_passes_with_load(station: Station) -> None:
    bypass = stage = 0
    for number in (1, 5):
        order = path_order(station, number)
        bypass += sum(n for n, path in enumerate(order) if path == ANTENNA_BYPASS)
        stage += sum(n for n, path in enumerate(order) if path == ANTENNA_STAGE)
    assert bypass == stage


def test_no_order_of_the_same_visits_moves_relays_less(station: Station) -> None:
    order = path_order(station, 1)
    antenna = [path for path in order if path.source == "antenna"]
    assert tuple(antenna) == ABBA
    fewest = min(
        relay_moves(station, other)
        for other in set(permutations(order))
        if tuple(path for path in other if path.source == "antenna") == ABBA
    )
    assert relay_moves(station, order) == fewest == 4  # each of two relays on and off once


def test_a_pass_without_load_moves_one_relay_twice(station: Station) -> None:
    assert relay_moves(station, path_order(station, 2)) == 2


def test_a_station_without_load_is_measured_all_the_same(tmp_path: Path) -> None:
    station = load(written(tmp_path, *NO_LOAD))
    assert {path_order(station, number) for number in range(1, 10)} == {ABBA}


def test_a_noise_source_comes_at_a_slower_rhythm_still(tmp_path: Path) -> None:
    station = load(written(tmp_path, *NOISE_TOO))
    noise = RelayPath("noise", "stage")
    assert [n for n in range(1, 14) if noise in path_order(station, n)] == [1, 7, 13]
    assert [n for n in range(1, 8) if LOAD_STAGE in path_order(station, n)] == [1, 3, 5, 7]


def test_every_other_pass_with_load_runs_backwards(station: Station) -> None:
    first, second, third, fourth = (path_order(station, number) for number in (1, 5, 9, 13))
    assert first == third == second[::-1] == fourth[::-1] != second


def test_a_load_is_read_back_from_where_the_dial_stands(station: Station) -> None:
    """And the antenna's paths forth and back by turns: all begin at one end of the channels."""
    for number in (1, 5):
        stays = [
            (path, [visit.channel for visit in group])
            for path, group in groupby(one_pass(station, number), key=lambda visit: visit.path)
        ]
        for (_, before), (path, after) in pairwise(stays):
            assert path.source != "load" or before[-1] == after[0]


def test_with_a_noise_source_passes_turn_about_by_the_quicker_of_its_rhythms(tmp_path: Path) -> None:
    station = load(written(tmp_path, *NOISE_TOO))
    orders = [path_order(station, number) for number in (1, 3, 5, 7, 9, 13)]
    assert orders[0] == orders[3][::-1] == orders[5] != orders[3]
    assert orders[1] == orders[2][::-1] == orders[4][::-1] != orders[2]


def by_hand(station: Station) -> Station:
    """The station with a person at the switch."""
    return station.model_copy(update={"switch": station.switch.model_copy(update={"driver": "person"})})


def test_among_orders_that_spare_the_hand_alike_the_best_balanced_is_taken(tmp_path: Path) -> None:
    station = by_hand(load(written(tmp_path, *NOISE_TOO)))

    def off_balance(paths: Sequence[RelayPath]) -> float:
        return abs(
            mean(n for n, p in enumerate(paths) if p == ANTENNA_STAGE)
            - mean(n for n, p in enumerate(paths) if p == ANTENNA_BYPASS)
        )

    order = path_order(station, 1)
    alike = [
        other
        for other in set(permutations(order))
        if tuple(path for path in other if path.source == "antenna") == ABBA
        and relay_moves(station, other) == relay_moves(station, order)
    ]
    assert off_balance(order) == min(map(off_balance, alike)) < max(map(off_balance, alike))


def test_relays_are_told_by_name_and_a_hand_is_one_switch(station: Station) -> None:
    assert len(moved(station, ANTENNA_BYPASS, LOAD_STAGE)) == 2
    assert len(moved(station, ANTENNA_STAGE, LOAD_STAGE)) == 1
    assert moved(station, LOAD_STAGE, LOAD_STAGE) == frozenset()
    mute = station.model_copy(update={"switch": station.switch.model_copy(update={"options": None})})
    for each in (by_hand(station), mute):
        assert moved(each, ANTENNA_BYPASS, LOAD_STAGE) == {"switch"}
        assert relay_moves(each, ABBA) == 2


def test_the_plan_of_a_pass_is_always_the_same(station: Station) -> None:
    assert one_pass(station, 7) == one_pass(station, 7)


def test_passes_count_from_one(station: Station) -> None:
    with pytest.raises(ValueError, match="count from 1"):
        one_pass(station, 0)


@pytest.mark.parametrize(
    ("bands", "seen"), [(["41 m"], [7_300_000]), (["40 m", "10 m"], [7_038_500, 7_202_000]),
                        (["10 m"], [7_038_500, 7_202_000, 7_300_000]), (None, [7_038_500, 7_202_000, 7_300_000])],
)  # fmt: skip
def test_a_pass_of_some_bands_visits_those_and_of_none_that_the_station_has_all(
    tmp_path: Path, bands: list[str] | None, seen: list[int]
) -> None:
    more = "schedule:", "  - name: 41 m\n    channels:\n      - {hz: 7300000, for: noise}\nschedule:"
    visits = one_pass(load(written(tmp_path, more)), 2, bands)
    assert sorted({visit.channel.hz for visit in visits}) == seen


BY_HAND = (
    SOUND,
    ("driver: hamlib\n  link: tcp://127.0.0.1:4532", "driver: dial-by-hand\n  receive_only: true"),
)


def test_where_a_person_sets_the_dial_every_path_comes_before_it_moves(tmp_path: Path) -> None:
    station = load(written(tmp_path, *BY_HAND))
    visits, order = one_pass(station, 1), path_order(station, 1)
    assert [channel.hz for channel, _ in groupby(visit.channel for visit in visits)] == [7_038_500, 7_202_000]
    assert [visit.path for visit in visits[: len(order)]] == list(order)


def test_relays_are_counted_along_a_pass_by_hand(tmp_path: Path) -> None:
    """Twice the channels, twice the moves: the budget knows it."""
    by_hand = budget(load(written(tmp_path, *BY_HAND)), 1.0)
    by_wire = budget(load(written(tmp_path)), 1.0)
    assert by_hand.relay_operations_a_day == pytest.approx(2 * by_wire.relay_operations_a_day)
