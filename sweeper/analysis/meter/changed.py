"""A night from which on the meter is another: another receiver, other firmware, another setting of its scale.

Its step and how far noise scatters within a visit stand still from night to night, whatever the noise does. Where they
do not, levels of before and since are not on one scale and are not averaged. What moved in the noise is for `change`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.meter.slope import PATHS, VISIT_VARIANCE, measured_noise
from sweeper.analysis.thresholds import METER_CHANGE_SE, METER_CHANGE_SHARE

CHANGED = "meter-changed"
"""The flag of bands whose figures are of the nights with the present meter only."""
FEWEST_NIGHTS = 2
"""Wanted on either side."""


@dataclass(frozen=True, slots=True)
class MeterChange:
    """The first night with the present meter, and what tells it from the one before, a clause."""

    night: date
    what: str

    @property
    def sentence(self) -> str:
        """What a person should know and do."""
        return (
            f"Since the night of {self.night.isoformat()} the meter is another ({self.what}): another receiver, other "
            "firmware or another setting. Figures are of the nights since; what was measured before is not mixed in."
        )

    @property
    def parting(self) -> str:
        """The same where nights before are compared with nights after."""
        return (
            f"From the night of {self.night.isoformat()} on the meter is another ({self.what}): nights are compared "
            "only with nights of the same meter."
        )


def meter_change(summaries: pl.DataFrame) -> MeterChange | None:
    """The latest change of the meter in summaries of all bands; None where it stayed what it is."""
    noise = measured_noise(summaries, "night", "step_db", "^scatter_.*$")
    if noise["night"].n_unique() < 2 * FEWEST_NIGHTS:
        return None
    found = [each for each in (_of_step(noise), _of_scatter(noise)) if each is not None]
    return max(found, key=lambda each: each.night, default=None)


def _of_step(noise: pl.DataFrame) -> MeterChange | None:
    nights = noise.group_by("night").agg(pl.col("step_db").mode().min()).sort("night").drop_nulls()
    night, step = nights["night"].to_list(), np.round(nights["step_db"].to_numpy(), 3)
    if len(step) < 2 * FEWEST_NIGHTS:
        return None
    other = np.flatnonzero(step != step[-1])
    if not len(other):
        return None
    at = int(other[-1]) + 1
    before = step[max(at - FEWEST_NIGHTS, 0) : at]
    if len(step) - at < FEWEST_NIGHTS or len(before) < FEWEST_NIGHTS or (before != before[0]).any():
        return None
    return MeterChange(night[at], f"its step was {before[0]:g} dB and is {step[-1]:g} dB")


def _of_scatter(noise: pl.DataFrame) -> MeterChange | None:
    """The latest split of the nights at which the scatter differs clearly: of loads, or of all paths."""
    found = None
    for paths in (PATHS[2:], PATHS):
        nights, squared, visits = _scatter_of_nights(noise, paths)
        begin = 0
        while (at := _split(squared[begin:], visits[begin:])) is not None:
            before, since = slice(begin, begin + at), slice(begin + at, None)
            was, now = (float(np.average(squared[part], weights=visits[part])) for part in (before, since))
            ratio = float(np.sqrt(max(now, 0.0) / max(was, 1e-6)))
            begin += at
            if found is None or nights[begin] > found.night:
                found = MeterChange(nights[begin], f"noise scatters {ratio:.2f} times as far on it as before")
    return found


def _scatter_of_nights(noise: pl.DataFrame, paths: Sequence[str]) -> tuple[list[date], Floats, Floats]:
    """Nights, their scatter over that of noise, squared, and the visits that told it, shapes (nights,)."""
    weights = [pl.col(f"scatter_visits_{path}").fill_null(0) for path in paths]
    told = [
        pl.col(f"scatter_{path}").fill_null(0.0) * weight for path, weight in zip(paths, weights, strict=True)
    ]
    nights = (
        noise.group_by("night")
        .agg(pl.sum_horizontal(told).sum().alias("sum"), pl.sum_horizontal(weights).sum().alias("visits"))
        .filter(pl.col("visits") > 0)
        .sort("night")
    )
    visits = nights["visits"].to_numpy().astype(np.float64)
    return nights["night"].to_list(), nights["sum"].to_numpy() / visits, visits


def _split(squared: Floats, visits: Floats) -> int | None:
    """The night before which the scatter is another, by most standard errors; None where chance may have made it."""
    best, most = None, METER_CHANGE_SE
    for at in range(FEWEST_NIGHTS, len(squared) - FEWEST_NIGHTS + 1):
        parts = (slice(at), slice(at, None))
        means = [float(np.average(squared[part], weights=visits[part])) for part in parts]
        variances = []
        for part, mean in zip(parts, means, strict=True):
            chance = 1.5 * VISIT_VARIANCE * max(mean, 0.05) ** 2 / visits[part].sum()
            strayed = float(np.var(squared[part], ddof=1)) / len(squared[part])
            variances.append(max(chance, strayed))
        clear = abs(means[1] - means[0]) / float(np.sqrt(sum(variances)))
        apart = abs(np.sqrt(max(means[1], 0.0)) - np.sqrt(max(means[0], 0.0)))
        if clear > most and apart > METER_CHANGE_SHARE * np.sqrt(max(*means, 0.01)):
            best, most = at, clear
    return best
