"""Intervals against statsmodels and SciPy on the same data, and false discovery control against statsmodels."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.multitest import multipletests

from sweeper.analysis.band.gain import Gain
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.nightly import nightly
from sweeper.analysis.change.compare import compare
from sweeper.analysis.day import columns
from sweeper.analysis.statistics.estimates import summed
from sweeper.analysis.statistics.group_sequential import boundaries, look_level, spent_late
from sweeper.analysis.verdict.judge import allowed_level
from tests.sweeper.analysis.summaries import Place, cells_of_band, facts, made


def test_students_interval_is_scipys():
    values = np.random.default_rng(1).normal(3.0, 2.0, 9)
    found = summed(values.mean(), [(values.var(ddof=1) / 9, 8.0)]).interval(0.05)
    low, high = stats.ttest_1samp(values, 0.0).confidence_interval(0.95)
    assert (found.low, found.high) == (pytest.approx(low), pytest.approx(high))


def test_welchs_interval_is_scipys():
    rng = np.random.default_rng(2)
    one, other = rng.normal(0, 1, 6), rng.normal(1, 3, 9)
    parts = [(one.var(ddof=1) / 6, 5.0), (other.var(ddof=1) / 9, 8.0)]
    found = summed(other.mean() - one.mean(), parts).interval(0.05)
    reference = stats.ttest_ind(other, one, equal_var=False).confidence_interval(0.95)
    assert (found.low, found.high) == (pytest.approx(reference.low), pytest.approx(reference.high))


def test_clustering_by_night_is_statsmodels_cluster_robust_error():
    """The gain by a carrier over twelve nights of some hours each, which share their night: weighted least squares on
    a constant, clustered by night, with the usual small-sample correction (statsmodels).
    """
    rng = np.random.default_rng(3)
    hours = rng.integers(1, 8, 12)
    night = np.repeat(np.arange(12), hours)
    gain_db = 15.0 + np.repeat(rng.normal(0, 1, 12), hours) + 0.3 * rng.normal(0, 1, hours.sum())
    passes = rng.integers(1, 7, hours.sum())
    summaries = pl.DataFrame(
        {
            "night": [date(2026, 1, 10) + timedelta(days=int(nth)) for nth in night],
            "hz": 7_100_000,
            "for": "carrier",
            "carrier_gain_db": gain_db,
            "carrier_gain_se_db": 0.1,
            "resolution_db": 0.0,
            "carrier_passes": passes,
        }
    )
    unmeasured = [column for column in columns.schema() if column not in summaries.columns]
    of_edges = {name: columns.schema()[name] for name in unmeasured if name.startswith("edge_")}
    found = GainMethods(
        summaries.with_columns(pl.lit(None, kind).alias(name) for name, kind in of_edges.items())
    ).carriers
    fit = sm.WLS(gain_db, np.ones(len(gain_db)), weights=passes).fit(
        cov_type="cluster", cov_kwds={"groups": night}
    )
    assert found.gain_db == pytest.approx(fit.params[0])
    hundredth = 0.01  # of a decibel: no gain is called surer
    assert found.se_db == pytest.approx(np.hypot(fit.bse[0], hundredth), rel=1e-9)
    assert found.dof == fit.df_resid_inference == 11


def test_passes_as_if_independent_would_promise_far_too_much():
    """The same nights: HAC errors over passes, the usual lag, stay below those that know of the night."""
    rng = np.random.default_rng(4)
    ratios = []
    for _ in range(50):
        passes = rng.normal(0, 1, (12, 1)) + 0.3 * rng.normal(0, 1, (12, 6))
        fit = sm.OLS(passes.ravel(), np.ones(72)).fit(cov_type="HAC", cov_kwds={"maxlags": 3})
        ratios.append(fit.bse[0] / (passes.mean(axis=1).std(ddof=1) / np.sqrt(12)))
    assert np.median(ratios) < 0.9


def test_the_bootstrap_over_nights_agrees():
    """Bias-corrected and accelerated bootstrap of SciPy on thirty nights, against Student's interval."""
    values = np.random.default_rng(5).normal(2.0, 1.0, 30)
    ours = summed(values.mean(), [(values.var(ddof=1) / 30, 29.0)]).interval(0.05)
    theirs = stats.bootstrap((values,), np.mean, rng=np.random.default_rng(6)).confidence_interval
    assert ours.low == pytest.approx(theirs.low, abs=0.08)
    assert ours.high == pytest.approx(theirs.high, abs=0.08)


def test_pooled_scatter_follows_chi_squared():
    """The variance of n nights over its truth: n − 1 degrees of freedom (SciPy's χ² by Kolmogorov-Smirnov)."""
    rng = np.random.default_rng(7)
    ratios = rng.normal(0, 2, (2000, 6)).var(axis=1, ddof=1) * 5 / 4
    assert stats.kstest(ratios, stats.chi2(5).cdf).pvalue > 0.01


def test_a_cell_is_the_mean_of_its_nights_with_students_interval_of_scipy():
    place = Place(antenna_k=20_000.0, load=False, carrier=True)
    rows = made(place, nights=10, hours=(20,)).filter(pl.col("for") == "noise")
    nights = nightly(rows)
    gain = 15.0
    (cell,) = cells_of_band(nights, Gain(gain, 0.0, 1e6, "carriers", ()))
    assert cell.snr_change is not None
    difference = nights["difference_db"].to_numpy()
    level = look_level(10, 0.05)
    reference = stats.ttest_1samp(gain - difference, 0.0).confidence_interval(1 - level)
    found = cell.snr_change.interval(level)
    assert (found.low, found.high) == (
        pytest.approx(reference.low, abs=0.01),
        pytest.approx(reference.high, abs=0.01),
    )


def test_a_fix_is_about_the_difference_of_its_nights_and_surer_of_nothing_than_welchs_test():
    """SciPy's Welch test takes nights for independent; ten nights cannot know that, so the interval is wider."""
    station = facts(Place(load=False, carrier=False))
    summaries = made(Place(load=False, carrier=False), nights=10, hours=(20,), fix_at=5, fix_db=3.0)
    found = compare(summaries, station, datetime(2026, 1, 10, 9, 0, tzinfo=UTC)).bands[0]
    level = summaries.sort("night")["level_antenna_bypass"].to_numpy()
    reference = stats.ttest_ind(level[5:], level[:5], equal_var=False)
    assert found.change_db is not None
    assert (found.nights_before, found.nights_after) == (5, 5)
    assert found.change_db.value == pytest.approx(level[5:].mean() - level[:5].mean(), abs=0.25)
    due = reference.confidence_interval(1.0 - level_due(5, 5))
    assert 1.0 < (found.change_db.high - found.change_db.low) / (due.high - due.low) < 1.6


def level_due(before, after):
    """The level due after so many nights, its boundaries checked by SciPy's joint normal law of the looks."""
    information = np.array([1 / (1 / before + 1 / nights) for nights in range(3, after + 1)])
    edges = boundaries(information, [spent_late(nights, 0.05) for nights in range(3, after + 1)])
    covariance = np.sqrt(
        np.minimum.outer(information, information) / np.maximum.outer(information, information)
    )
    law = stats.multivariate_normal(np.zeros(len(edges)), covariance)
    inside = law.cdf(edges, lower_limit=-edges, rng=np.random.default_rng(1))
    assert 1 - inside == pytest.approx(spent_late(after, 0.05), abs=1e-4)
    return 2 * stats.norm.sf(edges[-1])


@pytest.mark.parametrize("seed", range(5))
def test_the_table_bears_what_benjamini_and_hochberg_reject(seed):
    levels = np.random.default_rng(seed).beta(0.4, 2.0, 40)
    rejected = multipletests(levels, alpha=0.05, method="fdr_bh")[0]
    assert (levels <= allowed_level(list(levels), 0.05)).tolist() == rejected.tolist()
