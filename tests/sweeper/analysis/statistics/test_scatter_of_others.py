"""What other bands let expect of a band's scatter: by hand, and on bands that differ as they may."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import digamma, polygamma

from sweeper.analysis.statistics.estimates import Estimate, Scatter
from sweeper.analysis.statistics.scatter_of_others import (
    AMONG_BANDS,
    AMONG_STATIONS,
    scatters_of_others,
    together,
)

APART = np.sqrt(1.5) * np.array([[1.0, 1.0], [1.0, -1.0], [-1.0, 1.0], [-1.0, -1.0]])
"""Nights of two bands that know nothing of each other."""


def log_of(scatter: Scatter) -> tuple[float, float]:
    """Mean and variance of the logarithm of a variance of which ν·s²/σ² is χ² with ν degrees (SciPy)."""
    mean, variance = stats.loggamma.stats(scatter.dof / 2)
    return float(np.log(scatter.variance * scatter.dof / 2) - mean), float(variance)


def test_a_band_alone_is_expected_to_scatter_as_is_usual_anywhere() -> None:
    """Usual: 3 dB, give or take a factor of 2 among stations and 1.4 among the bands of one."""
    (expected,) = scatters_of_others([Scatter(4.0, 6.0)], np.zeros((7, 1)))
    mean, variance = log_of(expected)
    assert mean == pytest.approx(np.log(9.0))
    assert variance == pytest.approx((2 * np.log(2.0)) ** 2 + (2 * np.log(1.4)) ** 2)
    assert expected.dof < 2.0, "which is worth less than three nights"


def test_another_band_counts_by_how_well_it_is_known_and_is_not_told_of_itself() -> None:
    own = [Scatter(1.0, 8.0), Scatter(25.0, 8.0)]
    first, second = scatters_of_others(own, APART)
    told = 1.0 / (polygamma(1, 4.0) + AMONG_BANDS)
    weight = told + 1.0 / AMONG_STATIONS
    log = np.log(25.0) - digamma(4.0) + np.log(4.0)
    mean, variance = log_of(first)
    assert mean == pytest.approx((told * log + np.log(9.0) / AMONG_STATIONS) / weight)
    assert variance == pytest.approx(1.0 / weight + AMONG_BANDS)
    assert second.variance < 9.0 < first.variance


def test_a_band_that_rises_and_falls_with_this_one_tells_nothing_new() -> None:
    own = [Scatter(1.0, 8.0), Scatter(1.0, 8.0)]
    alone = scatters_of_others(own[:1], APART[:, :1])[0]
    twin = scatters_of_others(own, APART[:, [0, 0]])[0]
    stranger = scatters_of_others(own, APART)[0]
    assert (twin.variance, twin.dof) == pytest.approx((alone.variance, alone.dof))
    assert stranger.dof > alone.dof


def test_however_many_bands_agree_one_of_them_may_still_be_another_by_a_factor() -> None:
    rng = np.random.default_rng(1)
    many = scatters_of_others([Scatter(4.0, 60.0)] * 40, rng.standard_normal((60, 40)))[0]
    assert log_of(many)[1] == pytest.approx(AMONG_BANDS, rel=0.1)
    assert many.dof < 6.0


@pytest.mark.parametrize("unknown", [None, Scatter(float("nan"), 0.0), Scatter(0.0, 4.0)])
def test_bands_of_which_nothing_is_known_say_nothing_and_are_told_nothing_of_themselves(
    unknown: Scatter | None,
) -> None:
    expected = scatters_of_others([unknown, Scatter(4.0, 8.0)], APART)
    alone = scatters_of_others([Scatter(4.0, 8.0)], APART[:, 1:])[0]
    assert expected[1] == alone
    assert expected[0] == alone, "how far one band tells of another is not seen with one of them"
    if unknown is not None:
        assert together(unknown, expected[0]) is unknown


def test_own_and_expected_scatter_mix_by_their_freedom() -> None:
    """Smyth 2004, equation 1: (4·1 + 2·4)/(4 + 2)."""
    assert together(Scatter(1.0, 4.0), Scatter(4.0, 2.0)) == Scatter(2.0, 6.0)


@pytest.mark.slow
@pytest.mark.parametrize("nights", [4, 10])
@pytest.mark.parametrize("apart", [1.0, 1.4, 2.0])
def test_intervals_hold_as_often_as_they_say_where_bands_differ(nights: int, apart: float) -> None:
    """Stations of four bands that stray by 1.5 to 6 dB, bands by a factor beside: 99 % intervals of 2000 stations."""
    rng = np.random.default_rng(nights)
    held = []
    for _ in range(2000):
        station = 3.0 * 2.0 ** rng.uniform(-1.0, 1.0)
        spread = station * apart ** rng.standard_normal(4)
        shared = rng.uniform()
        noise = np.sqrt(shared) * rng.standard_normal((nights, 1))
        values = spread * (noise + np.sqrt(1.0 - shared) * rng.standard_normal((nights, 4)))
        own = Scatter(float(values[:, 0].var(ddof=1)), nights - 1.0)
        others = [Scatter(float(each.var(ddof=1)), nights - 1.0) for each in values.T[1:]]
        expected = scatters_of_others([own, *others], values - values.mean(axis=0))[0]
        both = together(own, expected)
        estimate = Estimate(float(values[:, 0].mean()), float(np.sqrt(both.variance / nights)), both.dof)
        held.append(estimate.interval(0.01).low <= 0.0 <= estimate.interval(0.01).high)
    assert np.mean(held) >= 0.985 if apart < 2.0 else np.mean(held) >= 0.98
