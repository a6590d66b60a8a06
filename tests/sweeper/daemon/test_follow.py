"""Following the dial: bypass unless the findings say otherwise, no chatter, nothing while a transmitter is on."""

import itertools
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sweeper.analysis import BandFinding, Findings, PeriodFinding, Verdict
from sweeper.daemon.follow import Follower, Pace, advise, band_of
from sweeper.station import Station, load
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE
from tests.whole.unattended import STATION

DAY = date(2026, 11, 1)
AT_19 = datetime(2026, 11, 1, 19, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Station:
    file: Path = tmp_path_factory.mktemp("station") / "outpost.yaml"
    file.write_text(
        STATION.format(
            receiver="tcp://127.0.0.1:4532", switch="tcp://127.0.0.1:5020",
            settle_s=0.1, readings=4, quiet_s=300, rated=100_000, more="",
        ),
        encoding="utf-8",
    )  # fmt: skip
    return load(file)


def findings(**verdicts: Verdict) -> Findings:
    """40 m by hour: ``h19="stage"``."""
    periods = tuple(
        PeriodFinding(int(hour[1:]), 30, 5, None, None, None, verdict, (), "because")
        for hour, verdict in verdicts.items()
    )
    band = BandFinding("40 m", None, None, None, None, (), periods, "advice")
    return Findings("Outpost", AT_19, AT_19, 0.95, 1.0, (band,))


@pytest.mark.parametrize(
    ("hz", "band"),
    [
        (7_038_500, "40 m"),
        (7_100_000, "40 m"),
        (7_600_000, "40 m"),
        (14_300_000, "20 m"),
        (10_100_000, None),
        (3_573_000, None),
        (153_000, None),
    ],
)
def test_a_band_speaks_for_its_neighbourhood_and_no_further(
    station: Station, hz: int, band: str | None
) -> None:
    assert band_of(station, hz) == band


@pytest.mark.parametrize("verdict", ["bypass", "either", "undecided"])
def test_only_a_verdict_for_the_stage_puts_it_in(station: Station, verdict: Verdict) -> None:
    assert advise(findings(h19="stage"), station, 7_100_000, AT_19).path == ANTENNA_STAGE
    assert advise(findings(h19=verdict), station, 7_100_000, AT_19).path == ANTENNA_BYPASS


def test_why_is_told_in_the_words_of_the_report(station: Station) -> None:
    def why(**hours: Verdict) -> str:
        return advise(findings(**hours), station, 7_100_000, AT_19).because

    assert why(h19="stage") == "40 m at this hour: stage in"
    assert why(h19="either") == "40 m at this hour: no difference"
    assert why(h19="undecided") == "40 m at this hour: not settled yet"
    assert why(h18="stage") == "40 m was not measured at this hour"


def test_another_hour_another_band_or_no_band_is_bypass(station: Station) -> None:
    told = findings(h18="stage", h20="stage")
    assert advise(told, station, 7_100_000, AT_19).path == ANTENNA_BYPASS
    assert advise(told, station, 7_100_000, AT_19.replace(hour=18)).path == ANTENNA_STAGE
    assert advise(told, station, 14_112_000, AT_19.replace(hour=18)).path == ANTENNA_BYPASS
    assert advise(told, station, 5_000_000, AT_19.replace(hour=18)).path == ANTENNA_BYPASS


def followed(follower: Follower, advice: list[tuple[float, bool, bool]]) -> list[tuple[float, str]]:
    """Moves made for (time, stage advised, transmitting)."""
    moves = []
    for at_s, stage, transmitting in advice:
        path = follower.decide(ANTENNA_STAGE if stage else ANTENNA_BYPASS, transmitting, at_s, DAY)
        if path is not None:
            follower.moved(path, 1, at_s)
            moves.append((at_s, path.route))
    return moves


def seconds(pattern: str) -> list[tuple[float, bool, bool]]:
    """One letter a second: s stage advised, b bypass advised, T transmitting with stage advised."""
    return [(float(n), letter in "sT", letter == "T") for n, letter in enumerate(pattern)]


def test_the_dial_must_have_settled_before_a_relay_moves() -> None:
    assert followed(Follower(300, 200), seconds("s" * 20)) == [(Pace().still_s, "stage")]
    assert followed(Follower(300, 200), seconds("sbsbsbsbssbbssbb" * 4)) == []


def test_a_dial_on_the_edge_of_two_bands_does_not_chatter() -> None:
    moves = followed(Follower(300, 200), seconds(("s" * 6 + "b" * 6) * 20))
    back_in = [at for at, route in moves if route == "stage"]
    assert all(b - a >= Pace().hold_s for a, b in itertools.pairwise(back_in))


def test_nothing_moves_while_transmitting_and_then_the_stage_goes_out_and_stays_out() -> None:
    follower = Follower(60, 200)
    assert followed(follower, seconds("s" * 10)) == [(Pace().still_s, "stage")]
    later = [(at + 10, stage, on) for at, stage, on in seconds("T" * 30 + "s" * 200)]
    moves = followed(follower, later)
    assert moves[0] == (40.0, "bypass")
    assert moves[1][1] == "stage" and moves[1][0] >= 39.0 + 60.0


def test_the_days_share_of_relay_life_ends_in_bypass() -> None:
    follower = Follower(300, moves_a_day=6)
    moves = followed(follower, seconds(("s" * 50 + "b" * 50) * 20))
    assert len(moves) <= 6 and moves[-1][1] == "bypass"
    assert follower.decide(ANTENNA_STAGE, False, 1e6, DAY) is None
    tomorrow = date(2026, 11, 2)
    follower.decide(ANTENNA_STAGE, False, 1e6 + 10, tomorrow)
    assert follower.decide(ANTENNA_STAGE, False, 1e6 + 20, tomorrow) == ANTENNA_STAGE


@given(st.lists(st.sampled_from("sbT"), max_size=400), st.integers(0, 20))
def test_whatever_happens_no_relay_moves_while_transmitting_nor_beyond_the_budget(
    pattern: list[str], budget: int
) -> None:
    follower = Follower(30, budget)
    told = seconds("".join(pattern))
    moves = followed(follower, told)
    on_air = {at for at, _, transmitting in told if transmitting}
    assert not on_air & {at for at, _ in moves}
    assert len(moves) <= budget
    routes = [route for _, route in moves]
    assert routes == ["stage", "bypass"] * (len(routes) // 2) + ["stage"] * (len(routes) % 2)
