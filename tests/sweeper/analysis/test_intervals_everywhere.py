"""Every interval that is shown holds its value, and is wider for somebody who wants to be surer."""

from dataclasses import replace
from datetime import UTC, datetime

import polars as pl
import pytest
from scipy.special import stdtrit

from sweeper.analysis import compare, find
from sweeper.analysis.facts import MeterFacts
from tests.sweeper.analysis.summaries import Place, facts, made

pytestmark = pytest.mark.slow

PLACES = (Place("40 m", night_sd_db=1.0), Place("10 m", antenna_k=3_000.0, night_sd_db=1.0))
ENDS = {
    "levels": ("level", "low", "high"),
    "nights": ("snr_change_db", "low", "high"),
    "curve": ("snr_change_db", "low", "high"),
    "points": ("snr_change_db", "low", "high"),
    "crossings": ("noise_rise_db", "noise_rise_low", "noise_rise_high"),
    "gains": ("gain_db", "low", "high"),
    "months": ("snr_change_db", "snr_change_low", "snr_change_high"),
}


def at(confidence, nights):
    """Findings, evidence and a comparison of the same nights at this confidence."""
    meter = MeterFacts("dBm", True, 1.0, None, None, 0.02, "rms")
    told = replace(facts(*PLACES, meter=meter), confidence=confidence)
    summaries = made(*PLACES, nights=nights, fix_at=nights // 2, fix_db=2.0)
    return *find(summaries, told), compare(
        summaries, told, datetime(2026, 1, 5 + nights // 2, 9, 0, tzinfo=UTC)
    )


def intervals_of(findings, comparison):
    for band in findings.bands:
        yield from (
            band.gain_db,
            band.receiver_noise_figure_db,
            band.stage_noise_figure_db,
            band.chain_change_db,
        )
        for period in band.periods:
            yield from (period.snr_change_db, period.noise_rise_db, period.fa_db)
    for band in (*comparison.bands, comparison.all_bands):
        yield band.change_db
        yield from (period.change_db for period in band.periods)


@pytest.mark.parametrize("nights", [2, 14])
def test_whoever_wants_to_be_surer_sees_wider_intervals(nights):
    (loose, loose_tables, loose_change), (sure, sure_tables, sure_change) = at(0.8, nights), at(0.99, nights)
    pairs = list(zip(intervals_of(loose, loose_change), intervals_of(sure, sure_change), strict=True))
    known = [(narrow, wide) for narrow, wide in pairs if narrow is not None and wide is not None]
    assert len(known) >= 8
    for narrow, wide in known:
        assert wide.low <= narrow.low <= narrow.value <= narrow.high <= wide.high
        assert wide.high - wide.low > narrow.high - narrow.low
    for name, (value, low, high) in ENDS.items():
        narrow, wide = (getattr(each, name).drop_nulls([value, low]) for each in (loose_tables, sure_tables))
        assert len(narrow) == len(wide)
        assert len(narrow) or nights == 2, name
        assert (wide[low] <= narrow[low]).all() and (narrow[high] <= wide[high]).all(), name
        assert (narrow[low] <= narrow[value]).all() and (narrow[value] <= narrow[high]).all(), name
        assert ((wide[high] - wide[low]) >= (narrow[high] - narrow[low])).all(), name
        assert narrow.is_empty() or (wide[high] - wide[low]).sum() > (narrow[high] - narrow[low]).sum(), name


def test_a_gain_and_a_single_night_are_given_students_interval_at_the_stated_confidence():
    """Student's t by SciPy: two-sided 90 % of a gain, and of one hour's four passes together with it."""
    _, tables, _ = at(0.9, 14)
    gain = tables.gains.filter((pl.col("band") == "40 m") & (pl.col("method") == "load"))
    low, value, high = gain.select("low", "gain_db", "high").row(0)
    assert high - value == pytest.approx(value - low)
    _, surer, _ = at(0.98, 14)
    wide = surer.gains.filter((pl.col("band") == "40 m") & (pl.col("method") == "load"))
    ratio = (wide["high"] - wide["low"])[0] / (high - low)
    assert ratio == pytest.approx(stdtrit(13, 0.99) / stdtrit(13, 0.95), rel=0.01)
