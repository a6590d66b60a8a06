"""A meter's scale from one known step at several levels: a pad that is switched in and out, or a stage of known gain.

Differences only: where the scale stands on the dBm axis nobody learns from a pad. Each step says that the scale rises
by so many decibels between two readings; the scale through all of them is the one whose slope changes least (least
squares, no falling). Uncertainty after JCGM 100:2008 (GUM): contributions by 4.2 and 4.3, combined by 5.1.2.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sweeper.analysis.arrays import Floats
from sweeper.analysis.meter.calibration import STILL_DB, BudgetLine, Curve, Implausible

LEAST_STEPS = 3
ANCHOR_LINE = BudgetLine("S9 of a receiver, ±10 dB (common practice)", 10.0 / 3**0.5, "B")
"""Where the scale stands on the dBm axis, which a pad does not tell; differences do not have it."""
_SMOOTH = 0.03
"""Weight of a change of slope against a step that is missed: enough to fill gaps, too little to bend what is told."""
_UNEVEN = 0.02
"""Of the pad itself from frequency to frequency, as part of it (common practice)."""


@dataclass(frozen=True, slots=True)
class PadStep:
    """What the meter read at one level with and without the step: `high` is the louder side."""

    high: tuple[float, ...]
    low: tuple[float, ...]


def scale_of(
    steps: Sequence[PadStep],
    pad_db: float,
    anchor: tuple[float, float],
    known: Sequence[BudgetLine] = (),
    step_db: float | None = None,
) -> Curve:
    """The scale through `steps` of `pad_db` decibels each, standing at `anchor`, (reading, dBm).

    `known`: type-B contributions, of the pad and its surroundings. `uncertainty_db` of the result is that of a
    difference of about one step. `Implausible` says what is wrong, and how to mend it.
    """
    if not pad_db > 0:
        raise Implausible((f"A pad of {pad_db:g} dB is none: give its attenuation, above 0, such as 10.",))
    if any(not side or not np.isfinite(side).all() for step in steps for side in (step.high, step.low)):
        raise Implausible(("A level lacks readings with or without the pad: read that level again.",))
    high = np.array([float(np.mean(step.high)) for step in steps])
    low = np.array([float(np.mean(step.low)) for step in steps])
    scatter = _scatter(steps)
    noise = max(2.0 * scatter, (step_db or 0.0) / 2, 0.05)
    exchanged = high < low - max(noise, STILL_DB)
    if exchanged.any():
        at = int(np.flatnonzero(exchanged)[0])
        raise Implausible(
            (
                f"With the pad in the meter rose from {high[at]:g} to {low[at]:g}: in and out were exchanged, or the "
                "step has the other sign. Read that level again.",
            )
        )
    floor, top, kept, remarks = _between_ends(high, low, max(noise, STILL_DB))
    if kept.sum() < LEAST_STEPS:
        raise Implausible(
            (
                f"{int(kept.sum())} levels at which the meter moves are too few: give at least {LEAST_STEPS}, between "
                "its lowest and its highest value, better one every 5 dB.",
            )
        )
    high, low = high[kept], low[kept]
    knots, rises = _fit(high, low, pad_db)
    left = _missed(knots, rises, high, low) - pad_db
    slope = float((high - low).mean() / pad_db)
    readings = float(np.mean([len(side) for step in steps for side in (step.high, step.low)]))
    budget = [
        *known,
        BudgetLine("repeatability of the readings", scatter * float(np.sqrt(2 / readings)) / slope, "A"),
        BudgetLine("scale between the levels", _foretold(high, low, pad_db), "B"),
    ]
    if step_db:
        budget.append(BudgetLine("step of the meter", step_db / float(np.sqrt(6)) / slope, "B"))
    dbm = np.concatenate([[0.0], np.cumsum(rises)])
    dbm += anchor[1] - _read_off(anchor[0], knots, dbm)
    pairs = tuple((round(float(x), 3), round(float(y), 3)) for x, y in zip(knots, dbm, strict=True))
    residual = float(np.sqrt(np.mean(left**2)))
    return Curve(pairs, (residual,) * len(pairs), floor, top, tuple(budget), tuple(remarks))


def pad_lines(pad_db: float, tolerance_db: float) -> tuple[BudgetLine, ...]:
    """What is known of the pad: its tolerance, any value in ±`tolerance_db` as likely, so divided by √3 (GUM 4.3.7)."""
    return (
        BudgetLine("the pad's tolerance", tolerance_db / float(np.sqrt(3)), "B"),
        BudgetLine("the pad from frequency to frequency", _UNEVEN * pad_db / float(np.sqrt(3)), "B"),
    )


def _scatter(steps: Sequence[PadStep]) -> float:
    """Standard deviation of one reading, pooled over all sides."""
    sides = [np.array(side) for step in steps for side in (step.high, step.low) if len(side) > 1]
    dof = sum(len(side) - 1 for side in sides)
    return float(np.sqrt(sum(((side - side.mean()) ** 2).sum() for side in sides) / dof)) if dof else 0.5


def _between_ends(
    high: Floats, low: Floats, noise: float
) -> tuple[float | None, float | None, np.ndarray, list[str]]:
    """Floor and top that the steps show, and which steps stand on neither."""
    floor = top = None
    remarks = []
    still = high - low < noise
    on_floor = low <= low.min() + noise
    if (still & on_floor).any() or (on_floor.sum() > 1 and np.ptp(high[on_floor]) > 2 * noise):
        floor = float(low.min())
        remarks.append(f"Around {floor:g} the meter does not follow: that is its floor, and was cut off.")
    on_top = high >= high.max() - noise
    if (still & on_top & ~on_floor).any() or (on_top.sum() > 1 and np.ptp(low[on_top]) > 2 * noise):
        top = float(high.max())
        remarks.append(f"Around {top:g} the meter does not follow: that is its top, and was cut off.")
    kept = ~still
    if floor is not None:
        kept &= ~on_floor
    if top is not None:
        kept &= ~on_top
    return floor, top, kept, remarks


def _fit(high: Floats, low: Floats, pad_db: float) -> tuple[Floats, Floats]:
    """Readings at which the scale is told, rising, and the decibels between neighbours."""
    from scipy.optimize import nnls  # takes long to load, and only a calibration needs it

    knots = _apart(np.sort(np.concatenate([high, low])))
    widths = np.diff(knots)
    share = _shares(knots, high, low)
    bend = np.zeros((max(len(widths) - 1, 0), len(widths)))
    for at in range(len(bend)):
        bend[at, at], bend[at, at + 1] = 1 / widths[at], -1 / widths[at + 1]
    middle = float(np.median(high - low))
    weights = _SMOOTH * middle
    rises, _ = nnls(
        np.vstack([share, weights * bend]), np.concatenate([np.full(len(high), pad_db), np.zeros(len(bend))])
    )
    return knots, np.maximum(rises, 1e-3)


def _apart(readings: Floats) -> Floats:
    least = max(float(np.ptp(readings)) / 200, 1e-6)
    kept = [readings[0]]
    for each in readings[1:]:
        if each - kept[-1] >= least:
            kept.append(each)
    kept[-1] = readings[-1]
    return np.array(kept)


def _shares(knots: Floats, high: Floats, low: Floats) -> Floats:
    """How much of each stretch between knots lies between the sides of each step, 0 to 1."""
    left, right = knots[:-1], knots[1:]
    inside = np.minimum(high[:, None], right) - np.maximum(low[:, None], left)
    shares: Floats = np.maximum(inside, 0.0) / (right - left)
    return shares


def _missed(knots: Floats, rises: Floats, high: Floats, low: Floats) -> Floats:
    rise: Floats = _shares(knots, high, low) @ rises
    return rise


def _foretold(high: Floats, low: Floats, pad_db: float) -> float:
    """How well each step is foretold by the others, rms in dB; the outermost are foretold by nobody."""
    order = np.argsort(high)
    misses = []
    for at in order[1:-1]:
        others = np.arange(len(high)) != at
        knots, rises = _fit(high[others], low[others], pad_db)
        misses.append(float(_missed(knots, rises, high[[at]], low[[at]])[0]) - pad_db)
    return float(np.sqrt(np.mean(np.square(misses))))


def _read_off(reading: float, knots: Floats, dbm: Floats) -> float:
    """Along the scale, and along its outermost slopes beyond it."""
    if reading < knots[0]:
        return float(dbm[0] + (reading - knots[0]) * (dbm[1] - dbm[0]) / (knots[1] - knots[0]))
    if reading > knots[-1]:
        return float(dbm[-1] + (reading - knots[-1]) * (dbm[-1] - dbm[-2]) / (knots[-1] - knots[-2]))
    return float(np.interp(reading, knots, dbm))
