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
from sweeper.analysis.wording import plain, s_units

CURVE_RISES_DB = np.linspace(0.05, 25.0, 500)


@dataclass(frozen=True, slots=True)
class SwitchingThreshold:
    """The curve of one band and where it crosses the worthwhile change.

    `noise_rise_db` and `snr_change_db` are the curve, shape (500,). `best_db`: the S/N change with no noise from
    outside. `crossing_db` is the noise rise of the crossing and `reading` the meter reading there, in the meter's own
    decibels, each with its interval; both are None where it is not sure that there is one, which `sentence` says.
    """

    noise_rise_db: Floats
    snr_change_db: Floats
    best_db: Interval
    crossing_db: Interval | None
    reading: Interval | None
    sentence: str


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
        return SwitchingThreshold(CURVE_RISES_DB, curve, best, None, None, _at_most(best, worthwhile))
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
    if ends is None:
        return SwitchingThreshold(CURVE_RISES_DB, curve, best, None, None, OFF_THE_CURVE)
    return SwitchingThreshold(
        CURVE_RISES_DB,
        curve,
        best,
        Interval(crossing, crossing - reach * error, crossing + reach * error),
        ends,
        f"Stage in while the noise in bypass reads below {_on_the_meter(ends, facts.meter.unit)}: "
        f"there it brings {worthwhile:g} dB or more.",
    )


def on_every_scale(
    threshold: SwitchingThreshold | None, others: Sequence[SwitchingThreshold | None], worthwhile_db: float
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
    return replace(
        threshold, best_db=best, crossing_db=None, reading=None, sentence=_at_most(best, worthwhile_db)
    )


_UNITS = {"dBm": "dBm", "raw": "on the meter"}


OFF_THE_CURVE = "No rule by eye: the reading that it would name lies off the meter's curve."


def _as_shown(level: Interval, meter: MeterFacts) -> Interval | None:
    """A level along the meter's curve back to what the meter shows; None where it lies off the curve."""
    if not meter.curve:
        return level
    shown, dbm = np.array(meter.curve).T
    if not dbm[0] <= level.value <= dbm[-1]:
        return None
    return Interval(*(float(np.interp(each, dbm, shown)) for each in (level.value, level.low, level.high)))


def _on_the_meter(at: Interval, unit: str) -> str:
    """A reading as the meter shows it, with its uncertainty; on an S-meter as the needle stands."""
    reading, reach = at.value, max(at.high - at.value, at.value - at.low)
    if unit == "dB-over-S9":
        return f"about {s_units(reading)} ({plain(reading)} dB over S9, give or take {reach:.1f} dB)"
    return f"{plain(reading)} {_UNITS[unit]} (give or take {reach:.1f})"


def _at_most(best: Interval, worthwhile_db: float) -> str:
    """What the S/N change without noise from outside, the most that there is, says of all meter readings."""
    if best.high < 0.0:
        return (
            "The stage never helps here: even with no noise from outside it costs "
            f"{-best.high:.1f} dB or more. Leave it out."
        )
    if best.high < worthwhile_db:
        return (
            f"Even with no noise from outside the stage would bring {best.high:.1f} dB at most, less than the "
            f"{worthwhile_db:g} dB that matter: no meter reading calls for it."
        )
    return (
        f"Not settled yet whether any meter reading calls for the stage: with no noise from outside it would bring "
        f"{best.low:+.1f} to {best.high:+.1f} dB."
    )
