"""The hours of a band side by side: nightly values as arrays, and what the hours know together of how nights stray.

From nightly rows to arrays (nights, hours). What a single hour comes to is for `cells`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.gain import QUIETER, Gain
from sweeper.analysis.physics.radiometer import resolution_over_nights_db
from sweeper.analysis.statistics.curved_mean import Curve, curve
from sweeper.analysis.statistics.effective_nights import Worth, worth
from sweeper.analysis.statistics.estimates import Scatter, scatters
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK, last_look
from sweeper.analysis.statistics.scatter_of_others import scatters_of_others, together
from sweeper.analysis.thresholds import CLEAR_RISE_DB, RISE_OF_ANY_USE_DB, USUAL_SPREAD_DB

LEVELS = ("level_antenna_bypass", "level_antenna_stage")


@dataclass(frozen=True, slots=True)
class HoursTogether:
    """What the hours of a band know together. Grids have shape (nights, hours); the rest goes by hour.

    `grids` hold the nights until the last look, as all that follows; `measured` all of them.

    `scatter` and `rise_scatter`: of these nights, of the difference and of the noise rise. `outside_scatter`: of all
    nights, of `outside_db`, noise from outside over the load's level in bypass. `shape`: how far an hour strays against
    others.
    """

    hours: tuple[int, ...]
    grids: dict[str, Floats]
    measured: dict[str, Floats]
    shape: Floats
    scatter: list[Scatter]
    rise_scatter: list[Scatter]
    bend: Curve | None
    outside_db: Floats
    outside_scatter: list[Scatter]
    day: Floats
    """The day of each night, counted, shape (nights,)."""
    alike: float
    over_chain: dict[str, tuple[Floats, list[Scatter]]]
    """By noise rise, noise from outside over the chain's own, dB, (nights, hours), and its scatter by hour."""

    @property
    def both(self) -> tuple[dict[str, Floats], dict[str, Floats]]:
        """The grids until the last look, and those of all nights."""
        return self.grids, self.measured

    @property
    def outside_strays_db(self) -> Floats:
        """How far outside noise of each night lay from its mean, the hours of the night together, dB, (nights,)."""
        there = np.isfinite(self.outside_db)
        count = np.maximum(there.sum(axis=0), 1)
        strays = self.outside_db - np.where(there, self.outside_db, 0.0).sum(axis=0) / count
        hours = there.sum(axis=1)
        total = np.where(there, strays, 0.0).sum(axis=1)
        return np.where(hours > 0, total / np.maximum(hours, 1), np.nan)

    @property
    def outside_of_band(self) -> Scatter | None:
        """The scatter of its usual hour; None where no hour has one."""
        known = [each for each in self.outside_scatter if each.variance > 0.0]
        if not known:
            return None
        logs = np.log([each.variance for each in known])
        return Scatter(float(np.exp(logs.mean())), float(np.mean([each.dof for each in known])))

    def worth(self, there: NDArray[np.bool_]) -> Worth:
        """What the nights chosen are worth."""
        return worth(self.day[there], self.alike)


def hours_together(rows: pl.DataFrame, gain: Gain | None, alike: float = 0.0) -> HoursTogether:
    """From the nightly rows of one band, those with a pass. `alike`: correlation of neighbouring nights."""
    used = rows.filter(pl.col("passes") > 0)
    measured = _grids(used)
    grids = _at_last_look(measured)
    slope = np.abs(_own_share(grids["noise_rise_db"]) - _own_share(grids["stage_noise_rise_db"]))
    shape = _shape(slope, grids["difference_se_db"])
    rise_shape = _shape(1.0 - _own_share(grids["noise_rise_db"]), grids["noise_rise_se_db"])
    bend, outside_db = _bend(used, grids, gain)
    day = used["night"].unique().sort().to_physical().to_numpy().astype(float)
    return HoursTogether(
        tuple(sorted(used["hour_utc"].unique().to_list())),
        grids,
        measured,
        shape,
        scatters(grids["difference_db"], shape),
        scatters(grids["noise_rise_db"], rise_shape),
        bend,
        outside_db,
        _of_all_nights(outside_db, day, alike),
        day,
        alike,
        {name: _over_chain(grids[name]) for name in ("noise_rise_db", "stage_noise_rise_db")},
    )


def left_by_step_db(nights: Mapping[str, Floats], step_db: float) -> float:
    """What the meter's step leaves in the mean of an hour over its nights, from what it leaves in each, dB.

    `nights`: columns of grids, by name, shape (nights,).
    """
    there, of_nights = np.isfinite(nights["difference_db"]), nights["resolution_db"]
    known = of_nights[np.isfinite(of_nights)]
    each = float(np.sqrt((known**2).mean())) if len(known) else 0.0
    levels = [nights[name][there] for name in LEVELS]
    return max(resolution_over_nights_db(each, step_db, level[np.isfinite(level)]) for level in levels)


def telling_each_other(bands: Sequence[HoursTogether]) -> list[HoursTogether]:
    """The bands of a station, the scatter of noise from outside of each with what the others let expect of it."""
    days = np.unique(np.concatenate([each.day for each in bands])) if bands else np.zeros(0)
    strays = np.full((len(days), len(bands)), np.nan)
    for column, each in enumerate(bands):
        strays[np.searchsorted(days, each.day), column] = each.outside_strays_db
    expected = scatters_of_others([each.outside_of_band for each in bands], strays)
    return [
        replace(each, outside_scatter=[together(hour, others) for hour in each.outside_scatter])
        for each, others in zip(bands, expected, strict=True)
    ]


def _of_all_nights(values_db: Floats, day: Floats, alike: float) -> list[Scatter]:
    """The scatter of each hour, (nights, hours), as nights far apart would show it."""
    there = np.isfinite(values_db)
    return [
        worth(day[seen], alike).all_nights(scatter)
        for seen, scatter in zip(there.T, scatters(values_db, np.ones(values_db.shape[1])), strict=True)
    ]


def _over_chain(rise_db: Floats) -> tuple[Floats, list[Scatter]]:
    excess_db = 10 * np.log10(10 ** (np.maximum(rise_db, RISE_OF_ANY_USE_DB) / 10) - 1)
    return excess_db, scatters(excess_db, np.ones(excess_db.shape[1]))


def _at_last_look(grids: dict[str, Floats]) -> dict[str, Floats]:
    """The grids without the nights since the band's last look; of an hour too new for that, since its own."""
    there = np.isfinite(grids["difference_db"])
    seen = there.any(axis=1).cumsum()[:, None]
    until = seen <= last_look(int(seen.max(initial=0)))
    own = there.cumsum(axis=0) <= [last_look(nights) for nights in there.sum(axis=0).tolist()]
    kept = np.where((there & until).sum(axis=0) >= FIRST_LOOK, until, own)
    return {name: np.where(kept, grid, np.nan) for name, grid in grids.items()}


def _grids(used: pl.DataFrame) -> dict[str, Floats]:
    """Each nightly column as an array (nights, hours), NaN where there is none."""
    nights = {night: place for place, night in enumerate(sorted(used["night"].unique().to_list()))}
    hours = {hour: place for place, hour in enumerate(sorted(used["hour_utc"].unique().to_list()))}
    row = np.array([nights[night] for night in used["night"].to_list()], dtype=int)
    column = np.array([hours[hour] for hour in used["hour_utc"].to_list()], dtype=int)
    grids: dict[str, Floats] = {}
    for name in (
        *LEVELS,
        "difference_db",
        "difference_se_db",
        "noise_rise_db",
        "noise_rise_se_db",
        "stage_noise_rise_db",
        "stage_noise_rise_se_db",
        "resolution_db",
        "passes",
    ):
        grid = np.full((len(nights), len(hours)), np.nan)
        grid[row, column] = used[name].cast(float).fill_null(float("nan")).to_numpy()
        grids[name] = grid
    return grids


def _own_share(rise_db: Floats) -> Floats:
    """The chain's own share of the noise, linear: 10^(−Y/10)."""
    share: Floats = 10 ** (-np.maximum(rise_db, 0.0) / 10)
    return share


def _shape(slope: Floats, error: Floats) -> Floats:
    """Expected standard deviation of each hour per dB of external noise: root mean square over nights."""
    measured = np.where(np.isfinite(error), error, 0.0) / USUAL_SPREAD_DB
    square = np.where(np.isfinite(slope), slope**2 + measured**2, np.nan)
    count = np.isfinite(square).sum(axis=0)
    total = np.where(np.isfinite(square), square, 0.0).sum(axis=0)
    shape: Floats = np.sqrt(np.where(count > 0, total / np.maximum(count, 1), np.nan))
    return shape


def _bend(used: pl.DataFrame, grids: dict[str, Floats], gain: Gain | None) -> tuple[Curve | None, Floats]:
    """The curve of the stage on this band and external noise over the load's level in bypass, dB, (nights, hours).

    Noise is taken from the route in which it stands higher above the load; NaN where it stands too low to tell.
    """
    difference = used["load_difference_db"].drop_nulls().to_numpy()
    nothing = np.full(grids["noise_rise_db"].shape, np.nan)
    if gain is None or QUIETER in gain.flags or not len(difference):
        return None, nothing
    load_difference = float(np.median(difference))
    bypass, stage = grids["noise_rise_db"], grids["stage_noise_rise_db"]
    if not np.isfinite(stage).any() or not np.isfinite(bypass).any():
        return None, nothing
    staged = np.nanmedian(stage) > np.nanmedian(bypass)
    rise = stage if staged else bypass
    clear = np.where(rise >= CLEAR_RISE_DB, rise, np.nan)
    excess = 10 * np.log10(10 ** (clear / 10) - 1) - (gain.gain_db - load_difference if staged else 0.0)
    return curve(gain.gain_db, load_difference), excess
