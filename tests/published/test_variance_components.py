"""How nights, hours, passes and channels stray, each by itself: against statsmodels on five data sets each."""

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from statsmodels.stats.meta_analysis import combine_effects

from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.these_nights import mean_on_these
from sweeper.analysis.statistics.estimates import scatters
from tests.sweeper.analysis.band.test_gain_methods import of_channels

pytestmark = pytest.mark.slow

SETS = range(5)
"""Seeds of the data sets."""


def mixed(values, night, cell):
    """Restricted maximum likelihood of statsmodels: a value for each cell, strays of nights and a rest, variances."""
    means = (np.unique(cell)[None, :] == cell[:, None]).astype(float)
    fit = sm.MixedLM(values, means, groups=night).fit(reml=True, method="lbfgs")
    assert fit.converged
    return float(fit.cov_re[0, 0]), float(fit.scale)


@pytest.mark.parametrize("seed", SETS)
def test_hours_that_share_their_nights_stray_by_what_nights_and_hours_stray_together(seed):
    """Variance of one night's value about an hour's mean: that of nights and that of hours within them, by REML."""
    rng = np.random.default_rng(seed)
    nights, hours = 14, 5
    of_night, of_hour = rng.uniform(1.0, 3.0), rng.uniform(0.5, 1.5)
    strays = rng.normal(0.0, of_night, (nights, 1)) + rng.normal(0.0, of_hour, (nights, hours))
    values = rng.uniform(-3.0, 12.0, hours) + strays
    night, hour = (each.ravel() for each in np.indices(values.shape))
    between, rest = mixed(values.ravel(), night, hour)
    assert between > 0.1
    found = scatters(values, np.ones(hours))
    assert np.mean([each.variance for each in found]) == pytest.approx(between + rest, rel=1e-3)


@pytest.mark.parametrize("seed", SETS)
def test_hours_lend_each_other_as_much_as_their_own_share_is_worth(seed):
    """Hours of which REML finds that they share a part r of their variance are worth H / (1 + (H − 1) r²) of
    independent ones (the spread of a sum of squares of correlated normal values); each brings its degrees of freedom.
    """
    rng = np.random.default_rng(100 + seed)
    nights, hours = 40, 3
    share = (0.9, 0.93, 0.95, 0.97, 0.98)[seed]
    strays = np.sqrt(share) * rng.normal(0.0, 2.0, (nights, 1))
    values = strays + np.sqrt(1.0 - share) * rng.normal(0.0, 2.0, (nights, hours))
    night, hour = (each.ravel() for each in np.indices(values.shape))
    between, rest = mixed(values.ravel(), night, hour)
    alike = between / (between + rest)
    worth = hours / (1.0 + (hours - 1) * alike**2)
    lent = scatters(values, np.ones(hours))[0].dof - (nights - 1)
    assert lent == pytest.approx((nights - 1) * (worth - 1.0), rel=0.1)


@pytest.mark.parametrize("seed", SETS)
def test_the_nights_measured_are_known_by_the_scatter_of_passes_and_not_by_that_of_nights(seed):
    """REML's rest, the variance of a pass about its night, over all passes; what nights stray by is no part of it."""
    rng = np.random.default_rng(200 + seed)
    nights, passes = 9, 6
    values = rng.normal(0.0, 3.0, (nights, 1)) + rng.normal(0.0, rng.uniform(0.3, 1.0), (nights, passes))
    night = np.repeat(np.arange(nights), passes)
    between, rest = mixed(values.ravel(), night, np.zeros(nights * passes))
    assert between > 5 * rest
    errors = values.std(axis=1, ddof=1) / np.sqrt(passes)
    found = mean_on_these(values.mean(axis=1), errors, np.full(nights, float(passes)), 0.0)
    assert found is not None
    assert found.se**2 - 1e-4 == pytest.approx(rest / (nights * passes), rel=1e-3)
    assert found.dof == pytest.approx(nights * (passes - 1), rel=0.1)


def carriers(channels):
    """The gain by ten nights of carriers with these (gain, error of a night), dB."""
    each = [
        of_channels(gain_db, error_db=error_db).summaries.with_columns(pl.col("hz") + 1000 * channel)
        for channel, (gain_db, error_db) in enumerate(channels)
    ]
    return GainMethods(pl.concat(each)).carriers


@pytest.mark.parametrize("seed", SETS)
def test_channels_that_differ_are_weighed_by_what_lies_between_them(seed):
    """statsmodels' random effects by DerSimonian and Laird, from each channel's gain and error by itself."""
    rng = np.random.default_rng(300 + seed)
    channels = [(15.0 + float(rng.normal(0.0, 2.0)), float(rng.uniform(0.1, 1.5))) for _ in range(5)]
    each = [carriers([channel]) for channel in channels]
    values, variances = [one.gain_db for one in each], [one.se_db**2 for one in each]
    reference = combine_effects(np.array(values), np.array(variances), method_re="chi2")
    assert reference.tau2 > 0.1
    assert carriers(channels).gain_db == pytest.approx(float(reference.mean_effect_re), abs=0.01)
    assert abs(reference.mean_effect_re - reference.mean_effect_fe) > 0.02
