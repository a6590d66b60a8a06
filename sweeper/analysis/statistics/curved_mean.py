"""The mean S/N change over all nights that could be, when nights scatter as external noise does.

S/N change bends over the noise rise: where noise is high a stage gives next to nothing, and a rare quiet night a
lot. A few nights then scatter askew, and a symmetric interval misses too often on one side. External noise itself, in
decibels, strays evenly about its median (ITU-R P.372 takes it as normal in dB), and the curve from one to the other is
physics. So mean and scatter of the noise are estimated and carried through the curve: a generalised confidence interval
(Weerahandi 1993; for the mean of a log-normal: Krishnamoorthy & Mathew, J. Stat. Plan. Inference 115 (2003) 103).
What was measured directly stays the anchor: the curve only adds the nights that were not there.

Where noise was high on every night, all of them lie where the curve is flat and tell nothing of a kind of night that
has not come yet: weekends, a neighbour away. Then the spread of noise is also believed to be what ITU-R P.372 lets
expect, and before a week is over the interval holds as many quiet nights as may hide behind so few measured ones.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import chdtri, ndtr, stdtrit

from sweeper.analysis.arrays import Floats
from sweeper.analysis.physics.friis import snr_change_db
from sweeper.analysis.statistics.estimates import Estimate, Scatter, summed
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.thresholds import (
    A_WEEK,
    FLAT_DB,
    QUIET_NIGHT_DB,
    STATIONS_WITH_QUIET_NIGHTS,
    USUAL_SPREAD_DB,
    USUAL_SPREAD_DOF,
)

LEVELS = np.geomspace(1e-9, 0.8, 48)
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_MEDIAN_DB = np.linspace(-45.0, 75.0, 161)
_SPREAD_DB = np.geomspace(0.02, 40.0, 36)
_LOGIT = np.linspace(-13.0, 13.0, 53)
_CHANCE = 1.0 / (1.0 + np.exp(-_LOGIT))
_CHANCE_WEIGHTS = _CHANCE * (1.0 - _CHANCE) / (_CHANCE * (1.0 - _CHANCE)).sum()


@dataclass(frozen=True)
class AsymmetricEstimate:
    """An estimate whose interval is not symmetric: ends at each of `LEVELS`, dB. `se`, `dof` as of a plain one."""

    value: float
    se: float
    dof: float
    lows: Floats
    highs: Floats

    def interval(self, level: float) -> Interval:
        """The interval that misses with probability `level` (two-sided, half on each side)."""
        at = np.log(min(max(level, LEVELS[0]), LEVELS[-1]))
        low, high = (float(np.interp(at, np.log(LEVELS), ends)) for ends in (self.lows, self.highs))
        return Interval(self.value, low, high)

    def negated(self) -> "AsymmetricEstimate":
        """The same of the opposite sign."""
        return AsymmetricEstimate(-self.value, self.se, self.dof, -self.highs, -self.lows)

    def level_beyond(self, edge: float) -> float:
        """Two-sided level of the widest interval that stays on the value's side of `edge`."""
        ends, sign = (self.lows, 1.0) if edge < self.value else (self.highs, -1.0)
        return float(np.exp(np.interp(sign * edge, sign * ends, np.log(LEVELS))))


@dataclass(frozen=True)
class Curve:
    """Expected S/N change over median and spread of external noise, for one stage on one band, dB."""

    gain_db: float
    load_difference_db: float
    expected: Floats
    """Shape (spreads, medians)."""

    def at(self, excess_db: Floats) -> Floats:
        """S/N change of a night whose external noise stands so far above the load's level in bypass."""
        return snr_change_db(10 ** (excess_db / 10), self.gain_db, self.load_difference_db)


@lru_cache(maxsize=1)
def ideal_curve() -> Curve:
    """The curve of a stage without noise of its own and gain without end: all that the chain's own noise takes."""
    return curve(80.0, -80.0)


def curve(gain_db: float, load_difference_db: float) -> Curve:
    """The curve of a stage of this gain and load difference (stage minus bypass), tabulated."""
    excess = _MEDIAN_DB[None, :, None] + _SPREAD_DB[:, None, None] * _NODES
    expected: Floats = snr_change_db(10 ** (excess / 10), gain_db, load_difference_db) @ _WEIGHTS
    return Curve(gain_db, load_difference_db, expected)


def over_all_nights(
    curve: Curve,
    excess_db: Floats,
    direct_db: Floats,
    scatter: Scatter,
    rest: Estimate,
    nights: float | None = None,
) -> AsymmetricEstimate | None:
    """The mean S/N change over all nights from those measured.

    `excess_db`, `direct_db`: external noise and S/N change of each night, shape (nights,); `scatter`: of `excess_db`
    from night to night; `rest`: error of everything else, the gain above all (its value is ignored); `nights`: as how
    many independent ones they count, all by default. None with too few nights to know their scatter.
    """
    nights = float(len(excess_db)) if nights is None else nights
    if len(excess_db) < 2 or scatter.variance <= 0 or not np.isfinite(scatter.variance):
        return None
    flat = bool((np.abs(curve.at(excess_db) - curve.at(_MEDIAN_DB[-1:])) < FLAT_DB).all())
    if flat:
        scatter = _as_usual(scatter)
    beside = direct_db - curve.at(excess_db)
    offset, wobble = float(beside.mean()), float(beside.std(ddof=1) / np.sqrt(nights))
    median, spread = float(excess_db.mean()), float(np.sqrt(scatter.variance))
    value = float(_expected(curve, np.array([spread]))[0] @ _nearest(median)) + offset
    spreads = spread * np.sqrt(scatter.dof / chdtri(scatter.dof, _CHANCE))
    table = _expected(curve, spreads)
    rises = bool(table[0, -1] > table[0, 0])
    targets = np.linspace(float(table.min()), float(table.max()), 257)
    medians = _MEDIAN_DB if rises else _MEDIAN_DB[::-1]
    edge = np.array([np.interp(targets, row if rises else row[::-1], medians) for row in table])
    chance = _normal((median - edge) * np.sqrt(nights) / spreads[:, None], rises)
    below = np.maximum.accumulate((_CHANCE_WEIGHTS[:, None] * chance).sum(axis=0))
    ends = [np.interp(each, below, targets) + offset for each in (LEVELS / 2, 1 - LEVELS / 2)]
    slope = float(np.ptp(curve.at(np.array([median - 0.5, median + 0.5]))))
    beside_noise = [(rest.se**2, rest.dof), (wobble**2, len(excess_db) - 1.0)]
    of_all = summed(value, [(slope**2 * scatter.variance / nights, scatter.dof), *beside_noise])
    reach = -stdtrit(max(min(of_all.dof, 1e6), 1.0), LEVELS / 2.0) * float(np.hypot(rest.se, wobble))
    lows = value - np.hypot(np.maximum(value - ends[0], 0.0), reach)
    highs = value + np.hypot(np.maximum(ends[1] - value, 0.0), reach)
    if flat and len(excess_db) < A_WEEK:
        unseen = _quiet_nights(curve, excess_db, nights)
        lows, highs = np.minimum(lows, value + unseen), np.maximum(highs, value + unseen)
    return AsymmetricEstimate(value, max(of_all.se, 1e-3), scatter.dof, lows, highs)


def _as_usual(scatter: Scatter) -> Scatter:
    """The scatter with what is believed of it beforehand."""
    dof = scatter.dof + USUAL_SPREAD_DOF
    variance = scatter.dof * scatter.variance + USUAL_SPREAD_DOF * USUAL_SPREAD_DB**2
    return Scatter(variance / dof, dof)


def _quiet_nights(curve: Curve, excess_db: Floats, nights: float) -> Floats:
    """What quiet nights that have not come yet may add to the mean at each of `LEVELS`, dB.

    A share q of all nights stays away from n with the chance (1 − q)ⁿ.
    """
    chance = np.minimum(LEVELS / 2 / STATIONS_WITH_QUIET_NIGHTS, 1.0)
    share = 1.0 - chance ** (1.0 / max(nights, 1.0))
    there, loud = curve.at(np.array([float(excess_db.min()) - QUIET_NIGHT_DB, float(excess_db.mean())]))
    return np.asarray(share * (there - loud))


def _expected(curve: Curve, spreads: Floats) -> Floats:
    """Rows of the table at these spreads, straight between those tabulated."""
    at = np.interp(np.log(spreads), np.log(_SPREAD_DB), np.arange(len(_SPREAD_DB)))
    below = np.minimum(at.astype(int), len(_SPREAD_DB) - 2)
    share = (at - below)[:, None]
    rows: Floats = (1 - share) * curve.expected[below] + share * curve.expected[below + 1]
    return rows


def _nearest(median_db: float) -> Floats:
    """Weights on `_MEDIAN_DB` that interpolate at `median_db`."""
    weights = np.zeros(len(_MEDIAN_DB))
    above = int(np.clip(np.searchsorted(_MEDIAN_DB, median_db), 1, len(_MEDIAN_DB) - 1))
    share = float(np.interp(median_db, _MEDIAN_DB[above - 1 : above + 1], (0.0, 1.0)))
    weights[above - 1 : above + 1] = 1.0 - share, share
    return weights


def _normal(z: Floats, rises: bool) -> Floats:
    """Chance that the expected change lies below the target whose median is z standard errors below the estimate."""
    chance: Floats = ndtr(-z) if rises else ndtr(z)
    return chance
