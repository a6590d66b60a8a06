"""The S/N change by ratio beside the direct one: alike while the receiver's gain stands still."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import cache

import polars as pl
import pytest

from sweeper.analysis import Findings, findings_object, summarise_day
from sweeper.analysis.band.by_ratio import bands_by_ratio
from sweeper.analysis.band.ratio_agreement import MOVED, beside_levels, told_by_ratio
from sweeper.analysis.day.ratios import ratios_beside
from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.findings.build import findings_from
from sweeper.analysis.verdict.table import Table, table_of
from sweeper.report.hours import hours
from tests.sweeper.analysis.nights import Night, facts
from tests.sweeper.analysis.spectra_nights import BAND, BEGIN, STATION, TRUE_DB, night

pytestmark = pytest.mark.slow

HOURS = (18, 19, 20)


def still(hour: int, path: str) -> float:
    return 0.0


def later(hour: int, path: str) -> float:
    """A gain control that takes back 3 dB when both stage and antenna are in, in the last hour only."""
    return -3.0 if hour == 2 and path == "antenna-stage" else 0.0


def always(hour: int, path: str) -> float:
    return -3.0 if path == "antenna-stage" else 0.0


def by_route(hour: int, path: str) -> float:
    """A gain that is another with the stage in, whatever is connected: neither signals against noise nor S/N move."""
    return -3.0 if path.endswith("stage") else 0.0


@cache
def told(moved_db: Callable[[int, str], float], loads: bool = True) -> tuple[Table, Findings, pl.DataFrame]:
    days = [night(nth, moved_db, hours=len(HOURS)) for nth in range(2)]
    rows = [each if loads else each.filter(pl.col("source") == "antenna") for each in days]
    summaries = pl.concat([summarise_day(each, STATION) for each in rows])
    table = table_of(summaries, STATION)
    return table, findings_from(table, summaries, STATION), summaries


@pytest.mark.parametrize("moved_db", [still, by_route])
def test_while_levels_hold_both_ways_tell_the_same(moved_db: Callable[[int, str], float]) -> None:
    (band,) = told(moved_db)[1].bands
    assert band.flags == ()
    assert band.gain_from in ("carriers", "combined")
    assert tuple(period.hour_utc for period in band.periods) == HOURS
    for period in band.periods:
        assert period.by_ratio_db is not None
        assert period.measured_db is not None
        assert period.by_ratio_db.low < TRUE_DB < period.by_ratio_db.high
        assert period.by_ratio_db.value == pytest.approx(period.measured_db.value, abs=0.15)


def test_a_gain_that_moves_in_one_hour_is_told_and_holds_the_answer_back() -> None:
    """Without a load, where nothing else shows it."""
    table, found, _ = told(later, loads=False)
    (band,) = found.bands
    assert MOVED in band.flags
    assert all(period.withheld and period.snr_change_db is None for period in band.periods)
    assert " dB less S/N change than levels do (20 UTC)" in table.by_ratio[BAND].sentence
    assert "Switch its gain control off" in band.recommendation
    assert {judged.verdict for judged in table.judged} == {"undecided"}
    for period in band.periods:  # what the ratio says is true all the same
        assert period.by_ratio_db is not None
        assert period.by_ratio_db.low < TRUE_DB < period.by_ratio_db.high


@pytest.mark.parametrize("moved_db", [later, always])
def test_nor_is_there_an_answer_where_loads_show_that_levels_bend(
    moved_db: Callable[[int, str], float],
) -> None:
    (band,) = told(moved_db)[1].bands
    assert all(period.withheld for period in band.periods)


def test_a_direct_gain_that_no_carrier_bears_out_is_told_at_all_hours() -> None:
    """As where the load's levels bend, and outweigh the carriers'."""
    table, _, summaries = told(still)
    noise, gain = summaries.filter(pl.col("for") == "noise"), table.gains[BAND]
    assert gain is not None
    ratios = beside_levels(summaries)
    assert told_by_ratio(ratios, noise, gain).sentence == ""
    bent = replace(gain, gain_db=gain.gain_db + 1.2)
    assert (
        "1.2 dB less S/N change than levels do (18, 19, 20 UTC)"
        in told_by_ratio(ratios, noise, bent).sentence
    )
    single = ratios.filter(pl.col("hz") == ratios["hz"].min())
    assert told_by_ratio(single, noise, bent).sentence == "", "one carrier may gain otherwise by as much"
    alone = told_by_ratio(ratios, noise, None)
    assert (set(alone.changes), alone.sentence) == (set(HOURS), "")
    assert told_by_ratio(ratios.clear(), noise, gain).changes == {}


@pytest.mark.parametrize(("se_db", "apart"), [(0.2, True), (0.4, False)])
def test_a_gap_counts_beyond_four_standard_errors_of_the_gain(se_db: float, apart: bool) -> None:
    """Chance parts them by 4.26 standard errors once in 100 000: by 0.85 dB, or by 1.7 dB."""
    table, _, summaries = told(still)
    gain = table.gains[BAND]
    assert gain is not None
    moved = replace(gain, gain_db=gain.gain_db + 1.2, se_db=se_db, dof=1e6)
    noise = summaries.filter(pl.col("for") == "noise")
    assert bool(told_by_ratio(beside_levels(summaries), noise, moved).sentence) == apart


def test_ratios_are_of_one_instant_and_of_what_neither_clipped_nor_lies_on_a_floor() -> None:
    when, after = BEGIN, BEGIN + timedelta(seconds=1)
    rows = [
        (when, 1, "noise", "antenna", -100.0, ""),
        (when, 2, "noise", "antenna", -98.0, ""),
        (when, 3, "noise", "antenna", -60.0, ""),
        (when, 4, "noise", "antenna", 0.0, "clipped"),
        (when, 9, "carrier", "antenna", -78.0, ""),
        (when, 8, "carrier", "antenna", -70.0, "clipped"),
        (when, 9, "noise", "load", -120.0, ""),
        (when, 9, "carrier", "load", -110.0, ""),
        (after, 9, "carrier", "antenna", -88.0, ""),
    ]
    names = ["time", "hz", "for", "source", "reading", "flags"]
    frame = night(0, hours=1).clear()
    drawn = pl.DataFrame(rows, schema=names, orient="row").with_columns(
        pl.col("time").cast(pl.Datetime("ms", "UTC")),
        *(pl.lit(value).alias(name) for name, value in (("band", BAND), ("route", "stage"))),
        pl.lit(1).cast(frame.schema["pass"]).alias("pass"),
        pl.lit(None, pl.Float64).alias("dbm"),
        pl.lit(281).cast(pl.Int64).alias("bandwidth_hz"),
    )
    found = ratios_beside(drawn.select(frame.columns))
    assert found.columns == frame.columns
    assert found.select("hz", "for", "reading").rows() == [(9, "ratio", pytest.approx(20.0))]
    assert ratios_beside(frame).is_empty()


def test_ratios_beside_levels_neither_make_a_band_one_of_ratios_nor_come_from_a_meter() -> None:
    _, found, summaries = told(still)
    assert set(summaries["for"]) == {"noise", "carrier", "ratio"}
    assert bands_by_ratio(summaries) == frozenset()
    assert found.bands[0].gain_db is not None
    meter = facts(Night(), channels=STATION.channels, meter=MeterFacts("raw", False))
    assert set(summarise_day(night(0, hours=1), meter)["for"]) == {"noise", "carrier"}


def test_files_and_the_report_have_it_beside_the_direct_one() -> None:
    found = told(still)[1]
    (band,) = findings_object(found)["bands"]  # type: ignore[misc]
    assert all(
        set(period["snr_change_by_ratio_db"]) == {"value", "low", "high"} for period in band["periods"]
    )
    numbers = hours(found, "UTC").numbers
    at = numbers.headings.index("By ratio, dB")
    assert at == numbers.headings.index("On the nights measured, dB") + 1
    assert all(row[at].startswith("+1.") for row in numbers.rows)
