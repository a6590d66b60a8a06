"""Change points on a published series, and the false-alarm rate that is stated."""

import numpy as np
import pytest
import ruptures
import statsmodels.api as sm

from sweeper.analysis.change.detect import FALSE_ALARM, best_break, breaks, explained


def test_the_nile_fell_in_1898():
    """Flow of the Nile at Aswan 1871–1970, carried by statsmodels: the level falls by about 248 after 1898
    (Cobb, Biometrika 65 (1978) 243; Durbin & Koopman, Time Series Analysis by State Space Methods, §2)."""
    flow = sm.datasets.nile.load_pandas().data
    years, volume = flow["year"].to_numpy(), flow["volume"].to_numpy(dtype=float)[:, None]
    ((place, chance),) = breaks(volume)
    assert years[place] == 1899
    assert chance <= 0.001
    assert volume[place:].mean() - volume[:place].mean() == pytest.approx(-248, abs=2)


def test_squares_explained_are_the_cost_that_ruptures_minimises():
    series = np.random.default_rng(1).normal(size=(40, 3))
    series[25:] += 1.5
    cost = ruptures.costs.CostL2().fit(series)
    place = best_break(series)
    saved = cost.error(0, 40) - cost.error(0, place) - cost.error(place, 40)
    assert explained(series).max() == pytest.approx(saved)


def test_nights_without_a_change_seldom_yield_a_date():
    rng = np.random.default_rng(2)
    alarms = sum(bool(breaks(rng.normal(size=(20, 3)))) for _ in range(100))
    assert alarms / 100 <= FALSE_ALARM + 2.6 * np.sqrt(FALSE_ALARM * (1 - FALSE_ALARM) / 100)


def test_two_changes_are_both_found():
    series = np.random.default_rng(3).normal(size=(60, 2))
    series[20:40] += 4.0
    assert [place for place, _ in breaks(series)] == [20, 40]


def test_spells_of_weather_are_no_change():
    """Autoregression of 0.6, forty nights, three bands: dates are told in at most one campaign in eight (5 % is meant;
    forty nights leave the dependence uncertain). Shuffled nights, which know no spells, told one in most.
    """
    rng = np.random.default_rng(7)
    alarms = 0
    for _ in range(40):
        nights = rng.normal(size=(40, 3))
        for night in range(1, 40):
            nights[night] = 0.6 * nights[night - 1] + 0.8 * nights[night]
        alarms += bool(breaks(nights))
    assert alarms <= 5
