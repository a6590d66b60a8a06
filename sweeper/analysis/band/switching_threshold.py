"""A rule somebody can use by eye: stage in while the noise in bypass reads below this.

With load readings the S/N change is a curve over the noise rise in bypass. Where it crosses the worthwhile change,
the meter stands at the load's level plus that noise rise. Closed formulas and one band at a time; no verdicts.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy.special import stdtrit

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.gain import Gain
from sweeper.analysis.band.nightly import measured_alike
from sweeper.analysis.band.noise_figure import load_difference_of
from sweeper.analysis.facts import MeterFacts, StationFacts
from sweeper.analysis.physics.friis import outside_at_change_lin, snr_change_db, to_db
from sweeper.analysis.statistics.group_sequential import look_level
from sweeper.analysis.statistics.interval import Interval

CURVE_RISES_DB = np.linspace(0.05, 25.0, 500)


@dataclass(frozen=True, slots=True)
class SwitchingThreshold:
    """The curve of one band and where it crosses the worthwhile change.

    `noise_rise_db` and `snr_change_db` are the curve, shape (500,). `best_db`: the S/N change with no noise from
    outside. `crossing_db` is the noise rise of the crossing and `reading` the meter reading there, in the meter's own
    decibels, each with its interval; both are None where it is not sure that there is one, `reading` also where it lies
    off the meter's curve.
    """

    noise_rise_db: Floats
    snr_change_db: Floats
    best_db: Interval
    crossing_db: Interval | None
    reading: Interval | None


def predicted_snr_change_db(noise_rise_db: Floats, gain_db: float, load_difference_db: float) -> Floats:
    """S/N change in dB at each noise rise in bypass, from gain and load difference alone (`friis.snr_change_db`)."""
    outside_lin = 10 ** (np.asarray(noise_rise_db, dtype=np.float64) / 10) - 1
    return snr_change_db(outside_lin, gain_db, load_difference_db)


def crossing_rise_db(worthwhile_db: float, gain_db: float, load_difference_db: float) -> float:
    """The noise rise in bypass at which the S/N change is `worthwhile_db` (> 0), dB; NaN where it never is."""
    return to_db(1 + outside_at_change_lin(worthwhile_db, gain_db, load_difference_db))


def switching_threshold(
    summaries: pl.DataFrame, gain: Gain | None, facts: StationFacts, alike: float = 0.0
) -> SwitchingThreshold | None:
    """The rule of one band from its `summaries`; None without load readings or without a measured gain.

    `alike`: correlation of neighbouring nights.
    """
    rows = summaries.filter(
        (pl.col("for") == "noise")
        & pl.col("load_difference_db").is_not_null()
        & pl.col("noise_rise_db").is_not_null()
        & (pl.col("noise_rise_bound") == "")
    )
    rows = measured_alike(rows)  # a reading of another unit or bandwidth is no reading for the eye of today
    of_load = load_difference_of(rows, alike)
    if of_load is None or gain is None:
        return None
    difference, difference_se = of_load.value, of_load.se
    curve = predicted_snr_change_db(CURVE_RISES_DB, gain.gain_db, difference)
    worthwhile = facts.worthwhile_db
    # as sure as a verdict after as many nights, for somebody who looks every morning
    level = look_level(rows["night"].n_unique(), 1.0 - facts.confidence)
    reach = -float(stdtrit(gain.dof, level / 2.0))
    middle = gain.gain_db - difference
    half = reach * float(np.hypot(gain.se_db, difference_se))
    best = Interval(middle, middle - half, middle + half)
    crossing = crossing_rise_db(worthwhile, gain.gain_db, difference)
    if not np.isfinite(crossing) or best.low <= worthwhile:
        return SwitchingThreshold(CURVE_RISES_DB, curve, best, None, None)
    slopes = (
        crossing_rise_db(worthwhile, gain.gain_db + 0.01, difference) - crossing,
        crossing_rise_db(worthwhile, gain.gain_db, difference + 0.01) - crossing,
    )
    error = float(np.hypot(slopes[0] * gain.se_db, slopes[1] * difference_se) / 0.01)
    column = "level_antenna_bypass" if facts.meter.curve else "meter_reading_bypass"
    load = rows[column].to_numpy() - rows["noise_rise_db"].to_numpy()
    load_se = float(np.std(load) + 0.1)
    reading = float(np.mean(load)) + crossing
    reading_reach = reach * float(np.hypot(error, load_se))
    ends = _as_shown(Interval(reading, reading - reading_reach, reading + reading_reach), facts.meter)
    return SwitchingThreshold(
        CURVE_RISES_DB,
        curve,
        best,
        Interval(crossing, crossing - reach * error, crossing + reach * error),
        ends,
    )


def on_every_scale(
    threshold: SwitchingThreshold | None, others: Sequence[SwitchingThreshold | None]
) -> SwitchingThreshold | None:
    """What holds whichever of several scales is the meter's: no reading for the eye, and the widest of intervals."""
    known = [other for other in others if other is not None]
    if threshold is None or not others or len(known) < len(others):
        return threshold if not others else None
    best = Interval(
        threshold.best_db.value,
        min(each.best_db.low for each in (threshold, *known)),
        max(each.best_db.high for each in (threshold, *known)),
    )
    return replace(threshold, best_db=best, crossing_db=None, reading=None)


def _as_shown(level: Interval, meter: MeterFacts) -> Interval | None:
    """A level along the meter's curve back to what the meter shows; None where it lies off the curve."""
    if not meter.curve:
        return level
    shown, dbm = np.array(meter.curve).T
    if not dbm[0] <= level.value <= dbm[-1]:
        return None
    return Interval(*(float(np.interp(each, dbm, shown)) for each in (level.value, level.low, level.high)))
