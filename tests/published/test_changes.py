"""Change points on a published series, and the false-alarm rate that is stated."""

import numpy as np
import pytest

from sweeper.analysis.statistics.change_points import FALSE_ALARM, SHORTEST, best_break, breaks, explained


def test_the_nile_fell_in_1898():
    """Flow of the Nile at Aswan 1871–1970, carried by statsmodels: the level falls by about 248 after 1898
    (Cobb, Biometrika 65 (1978) 243; Durbin & Koopman, Time Series Analysis by State Space Methods, §2)."""
    import statsmodels.api as sm  # slow to load: in the one worker that needs it

    flow = sm.datasets.nile.load_pandas().data
    years, volume = flow["year"].to_numpy(), flow["volume"].to_numpy(dtype=float)[:, None]
    ((place, chance),) = breaks(volume)
    assert years[place] == 1899
    assert chance <= 0.001
    assert volume[place:].mean() - volume[:place].mean() == pytest.approx(-248, abs=2)


@pytest.mark.parametrize("channels", [1, 3])
def test_the_break_is_the_one_of_least_squares_among_all_that_there_are(channels):
    """By the definition, each place tried: the sum of squares about the means of both sides."""
    rng = np.random.default_rng(1)
    for count in (8, 9, 20, 41):
        for moved in (0.0, 0.5, 2.0):
            series = rng.normal(size=(count, channels))
            series[rng.integers(1, count) :] += moved
            left = {
                place: sum(((side - side.mean(axis=0)) ** 2).sum() for side in np.split(series, [place]))
                for place in range(SHORTEST, count - SHORTEST + 1)
            }
            place = best_break(series)
            assert place == min(left, key=left.get)
            whole = ((series - series.mean(axis=0)) ** 2).sum()
            assert explained(series)[place - SHORTEST] == pytest.approx(whole - left[place])


@pytest.mark.slow
def test_nights_without_a_change_seldom_yield_a_date():
    rng = np.random.default_rng(2)
    alarms = sum(bool(breaks(rng.normal(size=(20, 3)))) for _ in range(100))
    assert alarms / 100 <= FALSE_ALARM + 2.6 * np.sqrt(FALSE_ALARM * (1 - FALSE_ALARM) / 100)


def test_two_changes_are_both_found():
    series = np.random.default_rng(3).normal(size=(60, 2))
    series[20:40] += 4.0
    assert [place for place, _ in breaks(series)] == [20, 40]


@pytest.mark.slow
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
