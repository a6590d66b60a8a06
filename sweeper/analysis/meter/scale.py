"""From what the meter showed to levels on one scale: dBm as stored, or by the present curve; and the meter's step.

Arrays of single readings. What visits make of them does not belong here.
"""

from dataclasses import replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.analysis.arrays import Floats
from sweeper.analysis.facts import MeterFacts, StationFacts

ANOTHER_UNIT = 1000
"""A scale of which nothing is known but that it is not the present one."""
SAME_DB = 0.051
"""Stored dBm this close to what the present curve says are by the same curve: files round to a tenth."""
FINEST_STEP = 0.01
"""Steps below this are those of a number's digits, not of a meter."""
WIDEST = 2000.0
"""Readings further apart than this come from no meter in decibels."""
OFTEN = 8
"""Readings wanted for each value that occurs, before the values are taken for a meter's steps."""


def present_dbm(readings: Floats, meter: MeterFacts) -> Floats:
    """What the present station file makes of readings: along its curve, NaN off it; without a curve, as they are."""
    if not meter.curve:
        return readings
    shown, dbm = np.array(meter.curve).T
    along: Floats = np.interp(readings, shown, dbm, left=np.nan, right=np.nan)
    return along


def levels_of(shown: Floats, stored_dbm: Floats | None, meter: MeterFacts) -> Floats:
    """The level of each reading, dB: stored dBm, or where none was stored what the present curve says."""
    if not meter.calibrated:
        return shown
    if stored_dbm is None:
        return present_dbm(shown, meter)
    stored = np.isfinite(stored_dbm)
    return stored_dbm if stored.all() else np.where(stored, stored_dbm, present_dbm(shown, meter))


def scales_of(
    shown: Floats, stored_dbm: Floats | None, starts: NDArray[np.int64], meter: MeterFacts
) -> NDArray[np.int64]:
    """Which scale the levels of each visit are on, as far as its readings tell; visits begin at `starts`.

    0: that of the present station file. Else whole dB, away from zero, by which stored dBm lie off what the present
    curve says; or `ANOTHER_UNIT`. Levels of different scales must not be compared without a load on both.
    """
    plain_dbm = meter.calibrated and not meter.curve
    if stored_dbm is None:
        # a meter that reads in dBm has them stored, so these were read in another unit, or brought in from a file
        return np.full(len(starts), ANOTHER_UNIT if plain_dbm else 0, dtype=np.int64)
    stored = np.isfinite(stored_dbm)
    off = np.where(stored, stored_dbm - present_dbm(shown, meter), 0.0)
    lost = np.add.reduceat(~np.isfinite(off), starts, dtype=np.int64) > 0
    count = np.add.reduceat(stored, starts, dtype=np.int64)
    shift = np.add.reduceat(np.where(np.isfinite(off), off, 0.0), starts) / np.maximum(count, 1)
    if not meter.calibrated:  # stored dBm that equal the reading came from a meter that read in dBm
        other = (count > 0) & (np.abs(shift) < SAME_DB)
        return np.where(other, ANOTHER_UNIT, 0).astype(np.int64)
    whole = np.where(np.abs(shift) < SAME_DB, 0.0, np.copysign(np.ceil(np.abs(shift)), shift))
    unknown = lost | ((count == 0) & plain_dbm)
    return np.where(unknown, ANOTHER_UNIT, whole).astype(np.int64)


def step_of(readings: Floats, often: int = OFTEN) -> float | None:
    """The step of the meter that gave these readings, in its own unit; None where they lie on no lattice.

    The greatest step of which all differences are multiples, to a thousandth. Values must come back `often` times.
    """
    thousandths = np.rint(readings[np.isfinite(readings)] * 1000).astype(np.int64)
    if not len(thousandths) or np.ptp(thousandths) > WIDEST * 1000:
        return None
    thousandths = np.flatnonzero(np.bincount(thousandths - thousandths.min()))  # quicker than sorting
    if often * len(thousandths) > len(readings):
        return None
    step = int(np.gcd.reduce(np.diff(thousandths))) / 1000  # of one value: 0
    return step if step >= FINEST_STEP else None


def with_step(facts: StationFacts, readings: pl.DataFrame) -> StationFacts:
    """The facts with the meter's step in dB, seen in the readings, where the station file tells none."""
    if facts.meter.step_db is not None:
        return facts
    step = step_of(readings["reading"].cast(pl.Float64).fill_null(float("nan")).to_numpy())
    if step is None:
        return facts
    return replace(facts, meter=replace(facts.meter, step_db=step * db_a_count(facts.meter)))


def db_a_count(meter: MeterFacts) -> float:
    """Decibels for one of the meter's own unit, in the middle of its curve; 1 without one."""
    if not meter.curve:
        return 1.0
    shown, dbm = np.array(meter.curve).T
    return float(np.median(np.diff(dbm) / np.diff(shown)))
