"""Which two visits are the sides of an edge: one pass, one carrier, one bandwidth, the antenna, off the meter's end."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.facts import MeterFacts
from sweeper.words import Channel
from tests.sweeper.analysis.nights import Night, facts

NOISE, FIRST, SECOND = 7_038_500, 7_202_000, 7_250_000
BEGIN = datetime(2026, 11, 1, 18, tzinfo=UTC)
PASSES = 12
VISIT_S = 0.4
OVER_AND_BACK = ((FIRST, "bypass"), (FIRST, "stage"), (FIRST, "bypass"))
AROUND = ((NOISE, "bypass"), (NOISE, "stage"))


def edges(
    *visits: tuple[int, str],
    of: int = FIRST,
    gap_s: float = 0.3,
    every_s: float = 60.0,
    top: float | None = None,
    stage_hz: int = 2400,
) -> int:
    """How many passes of an hour have an edge on the channel `of`. Carriers read -60 dBm, what gets past the relay to
    the load -80, noise -100, and 15 dB more with the stage in, which may be read in another bandwidth; a pass begins
    every `every_s`.
    """
    rows = []
    for number in range(PASSES):
        for nth, (hz, path) in enumerate(visits):
            source, route = path.split("-") if "-" in path else ("antenna", path)
            level = -100.0 if hz == NOISE else -80.0 if source == "load" else -60.0
            level += 15.0 * (route == "stage")
            began_s = number * every_s + gap_s + nth * (VISIT_S + gap_s)
            width = stage_hz if route == "stage" else 2400
            rows += [
                (
                    BEGIN + timedelta(seconds=began_s + 0.05 * each),
                    number + 1,
                    hz,
                    source,
                    route,
                    level,
                    width,
                )
                for each in range(8)
            ]
    told = pl.DataFrame(
        rows, schema=["time", "pass", "hz", "source", "route", "reading", "bandwidth_hz"], orient="row"
    ).with_columns(
        pl.col("time").cast(pl.Datetime("ms", "UTC")),
        pl.when(pl.col("hz") == NOISE).then(pl.lit("noise")).otherwise(pl.lit("carrier")).alias("for"),
        pl.col("reading").alias("dbm"),
        pl.lit("40 m").alias("band"),
        pl.lit("").alias("flags"),
    )
    station = facts(
        Night(),
        channels=tuple(
            Channel("40 m", hz, "noise" if hz == NOISE else "carrier", 2400) for hz in (NOISE, FIRST, SECOND)
        ),
        meter=MeterFacts("dBm", True, top=top, averaging_s=0.02),
    )
    return int(summarise_day(told, station).filter(pl.col("hz") == of)["edge_passes"].item())


def test_a_carrier_over_and_back_has_edges_and_noise_has_none() -> None:
    assert edges(*AROUND, *OVER_AND_BACK) == PASSES
    assert edges(*AROUND, *OVER_AND_BACK, of=NOISE) == 0


@pytest.mark.parametrize(("top", "found"), [(-44.0, PASSES), (-45.0, 0)])
def test_a_meter_on_its_top_makes_no_edge(top: float, found: int) -> None:
    """With the stage in the carrier reads -45 dBm: on a meter that ends there, nobody knows how strong it is."""
    assert edges(*AROUND, *OVER_AND_BACK, top=top) == found


def test_from_the_load_to_the_antenna_and_from_one_carrier_to_the_next_there_is_no_edge() -> None:
    assert edges((FIRST, "load-stage"), (FIRST, "bypass"), *AROUND * 2, (FIRST, "stage")) == 0
    by_turns = ((FIRST, "stage"), (SECOND, "stage"), (FIRST, "bypass"), (SECOND, "bypass"))
    for of in (FIRST, SECOND):
        assert edges(*AROUND, *by_turns, of=of, gap_s=2.5) == 0


def test_from_one_pass_to_the_next_there_is_no_edge_however_soon_it_comes() -> None:
    """Four visits of 0.4 s with gaps of 0.9, and the next pass right after them."""
    assert edges((FIRST, "bypass"), *AROUND, (FIRST, "stage"), gap_s=0.9, every_s=5.2) == 0


@pytest.mark.parametrize(("stage_hz", "found"), [(2400, PASSES), (500, 0)])
def test_a_visit_of_another_bandwidth_is_no_other_side_of_an_edge(stage_hz: int, found: int) -> None:
    assert edges(*AROUND, *OVER_AND_BACK, stage_hz=stage_hz) == found
