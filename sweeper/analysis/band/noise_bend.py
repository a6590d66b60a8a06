"""Gain from how the difference bends over the antenna's noise: where no load tells it, the nights themselves do.

Noise from outside comes and goes. With x of it, b the chain's own in bypass and a with the stage in, both referred to
the antenna, the meter sees x + b in bypass and g·(x + a) with the stage in, so that over the level p = x + b

    difference = gain + 10·log₁₀(1 + c/p),   c = a − b:

one constant for all nights and hours, and the gain is what the difference tends to where noise is endless. Least
squares, errors clustered by night. A stage that takes back gain when noise is loud bends it too, by as many decibels as
`BEND_SE_DB` allows for; what is more, carriers contradict.
"""

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.nightly import measured_alike
from sweeper.analysis.statistics.estimates import Estimate, summed
from sweeper.analysis.thresholds import BEND_SE_DB, BEND_SPREAD_DB

FEWEST_NIGHTS = 4
NEPER_DB = 10 / np.log(10)
_FROM_BELOW = np.linspace(-0.95, 1.0, 160)
_ABOVE = np.geomspace(1.02, 100.0, 160)


def gain_by_bend(noise: pl.DataFrame) -> Estimate | None:
    """The gain from the rows of one band's noise channels, dB; None where noise stood too still to bend anything."""
    rows = _nights_and_hours(noise)
    if rows["night"].n_unique() < FEWEST_NIGHTS:
        return None
    level, difference = (rows[name].to_numpy() for name in ("level_antenna_bypass", "difference_db"))
    if float(np.std(level)) < BEND_SPREAD_DB:
        return None
    found = _fitted(difference, 10 ** ((level - level.mean()) / 10), rows["night"].to_physical().to_numpy())
    resolution = float(np.sqrt(np.mean(rows["resolution_db"].fill_null(0.0).to_numpy() ** 2)))
    return summed(found.value, [(found.se**2, found.dof), (BEND_SE_DB**2 + resolution**2, 1e6)])


def hours_by_bend(noise: pl.DataFrame) -> tuple[dict[int, tuple[float, float]], float]:
    """By hour what the difference at endless noise lies over the mean of the hours, and its error, dB; and the freedom.

    One c for all hours, as all have one chain. Empty with fewer than two hours or `FEWEST_NIGHTS` nights.
    """
    rows = _nights_and_hours(noise)
    hours, place = np.unique(rows["hour_utc"].to_numpy(), return_inverse=True)
    dof = float(len(rows) - len(hours) - 1)
    if len(hours) < 2 or rows["night"].n_unique() < FEWEST_NIGHTS or dof < FEWEST_NIGHTS:
        return {}, 0.0
    level, difference = (rows[name].to_numpy() for name in ("level_antenna_bypass", "difference_db"))
    power = 10 ** ((level - level.mean()) / 10)
    of_hour = (place[:, None] == np.arange(len(hours))).astype(np.float64)
    ends = of_hour / of_hour.sum(axis=0)
    tried = np.concatenate([_FROM_BELOW, _ABOVE]) * power.min()
    straight = difference - 10 * np.log10(1 + tried[:, None] / power)
    left = ((straight - straight @ ends @ of_hour.T) ** 2).sum(axis=1)
    best = int(left.argmin())
    design = np.column_stack([of_hour, NEPER_DB / (power + tried[best])])
    contrast = np.eye(len(hours), len(hours) + 1) - np.r_[np.full(len(hours), 1 / len(hours)), 0.0]
    covariance = contrast @ np.linalg.pinv(design.T @ design) @ contrast.T * left[best] / dof
    at = straight[best] @ ends
    errors = np.hypot(np.sqrt(np.diag(covariance)), rows["resolution_db"].fill_null(0.0).to_numpy().mean())
    return {
        int(hour): (float(value), float(se))
        for hour, value, se in zip(hours, at - at.mean(), errors, strict=True)
    }, dof


def _nights_and_hours(noise: pl.DataFrame) -> pl.DataFrame:
    """The channels together, by night and hour."""
    return (
        measured_alike(noise.filter((pl.col("passes") > 0) & (pl.col("difference_bound") == "")))
        .group_by("night", "hour_utc")
        .agg(pl.col("difference_db", "level_antenna_bypass").mean(), pl.col("resolution_db").mean())
        .drop_nulls(["difference_db", "level_antenna_bypass"])
        .sort("night", "hour_utc")
    )


def _fitted(difference: Floats, power: Floats, night: Floats) -> Estimate:
    """The gain of the best c, with its error from the scatter of nights; shapes (rows,)."""
    coarse = np.concatenate([_FROM_BELOW, _ABOVE]) * power.min()
    near, _, _ = _best(difference, power, coarse)
    about = int(np.searchsorted(coarse, near))
    fine = np.linspace(coarse[max(about - 1, 0)], coarse[min(about + 1, len(coarse) - 1)], 101)
    bend, gain, left = _best(difference, power, fine)
    slopes = np.column_stack([np.ones(len(power)), NEPER_DB / (power + bend)])
    inverse = np.linalg.pinv(slopes.T @ slopes)
    nights, which = np.unique(night, return_inverse=True)
    scores = np.zeros((len(nights), 2))
    np.add.at(scores, which, slopes * left[:, None])
    dof = len(nights) - 2.0
    variance = (inverse @ scores.T @ scores @ inverse)[0, 0] * len(nights) / dof
    return Estimate(gain, float(np.sqrt(variance)), dof)


def _best(difference: Floats, power: Floats, tried: Floats) -> tuple[float, float, Floats]:
    """The c of those tried that leaves least squares, with its gain and what is left, shape (rows,)."""
    bent = 10 * np.log10(1 + tried[:, None] / power)
    gain = (difference - bent).mean(axis=1)
    left = difference - bent - gain[:, None]
    best = int((left**2).sum(axis=1).argmin())
    return float(tried[best]), float(gain[best]), left[best]
