"""A meter's scale from one known step at several levels: a pad that is switched in and out, or a stage of known gain.

Differences only: where the scale stands on the dBm axis nobody learns from a pad. Each step says that the scale rises
by so many decibels between two readings; the scale through all of them is the one whose slope changes least (least
squares, no falling). Uncertainty after JCGM 100:2008 (GUM): contributions by 4.2 and 4.3, combined by 5.1.2.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sweeper.analysis.arrays import Floats
from sweeper.analysis.meter.calibration import SLOPES, STILL_DB, BudgetLine, Curve, Implausible
from sweeper.analysis.meter.floor import USUAL_FLOORS
from sweeper.analysis.thresholds import FEW_ON_THE_FLOOR, REAL_SLOPES

LEAST_STEPS = 3
ANCHOR_LINE = BudgetLine("S9 of a receiver, ±10 dB (common practice)", 10.0 / 3**0.5, "B")
"""Where the scale stands on the dBm axis, which a pad does not tell; differences do not have it."""
_SMOOTH = 0.03
"""Weight of a change of slope against a step that is missed: enough to fill gaps, too little to bend what is told."""
_UNEVEN = 0.02
"""Of the pad itself from frequency to frequency, as part of it (common practice)."""
_COARSE = 0.4
"""A step of the meter above this share of what it shows for the pad: one level reads half as far as the next."""
_SHORT = 0.8
"""An outermost level that shows less than this share of its neighbour, and alone tells its stretch of the scale."""
_ALONE = 0.3
"""From this share of its stretch on it alone tells it."""


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
    *,
    ends: tuple[float | None, float | None] = (None, None),
    decibels: bool = False,
) -> Curve:
    """The scale through `steps` of `pad_db` decibels each, standing at `anchor`, (reading, dBm).

    `known`: type-B contributions, of the pad and its surroundings. `ends`: the meter's floor and top, where they are
    known. `decibels`: it is a meter that counts decibels, well or badly. `uncertainty_db` of the result is that of a
    difference of about one step. `Implausible` says what is wrong, and how to mend it.
    """
    high, low, scatter = _sides(steps, pad_db)
    noise = max(2.0 * scatter, (step_db or 0.0) / 2, 0.05)
    _refuse_exchanged(high, low, max(noise, STILL_DB))
    floor, top, kept, remarks = _between_ends(high, low, max(noise, STILL_DB))
    floor = max((each for each in (ends[0], floor) if each is not None), default=None)
    top = min((each for each in (ends[1], top) if each is not None), default=None)
    kept &= ~_on_an_end(steps, ends, remarks)
    kept &= ~_short_ends(high, low, kept, noise, remarks)
    if kept.sum() < LEAST_STEPS:
        raise Implausible(
            (
                f"{int(kept.sum())} levels at which the meter moves are too few: give at least {LEAST_STEPS}, between "
                "its lowest and its highest value, better one every 5 dB.",
                *remarks,
            )
        )
    high, low = high[kept], low[kept]
    shown = float(np.median(high - low))
    _refuse_coarse(step_db, shown, scatter, pad_db)
    if decibels:
        remarks += _odd_slope(shown, pad_db)
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


def ends_of(
    steps: Sequence[PadStep], floor: float | None, top: float | None, *, over_s9: bool
) -> tuple[float | None, float | None]:
    """The meter's ends: as the station file has them, else a floor where a meter over S9 stood still on a usual one."""
    every = [reading for step in steps for reading in step.low]
    if floor is None and over_s9 and every and min(every) in USUAL_FLOORS:
        still = any(set(step.low) == {min(every)} for step in steps)
        floor = min(every) if still else None
    return floor, top


def pad_lines(pad_db: float, tolerance_db: float) -> tuple[BudgetLine, ...]:
    """What is known of the pad: its tolerance, any value in ±`tolerance_db` as likely, so divided by √3 (GUM 4.3.7)."""
    return (
        BudgetLine("the pad's tolerance", tolerance_db / float(np.sqrt(3)), "B"),
        BudgetLine("the pad from frequency to frequency", _UNEVEN * pad_db / float(np.sqrt(3)), "B"),
    )


def _sides(steps: Sequence[PadStep], pad_db: float) -> tuple[Floats, Floats, float]:
    """Mean of each louder and each fainter side, and the scatter of one reading."""
    if not pad_db > 0:
        raise Implausible((f"A pad of {pad_db:g} dB is none: give its attenuation, above 0, such as 10.",))
    if not steps:
        raise Implausible((f"No level was read: give at least {LEAST_STEPS}, better one every 5 dB.",))
    if any(not side or not np.isfinite(side).all() for step in steps for side in (step.high, step.low)):
        raise Implausible(("A level lacks readings with or without the pad: read that level again.",))
    high = np.array([float(np.mean(step.high)) for step in steps])
    low = np.array([float(np.mean(step.low)) for step in steps])
    return high, low, _scatter(steps)


def _refuse_exchanged(high: Floats, low: Floats, noise: float) -> None:
    exchanged = high < low - noise
    if exchanged.any():
        at = int(np.flatnonzero(exchanged)[0])
        raise Implausible(
            (
                f"With the pad in the meter rose from {high[at]:g} to {low[at]:g}: in and out were exchanged, or the "
                "step has the other sign. Read that level again.",
            )
        )


def _refuse_coarse(step_db: float | None, shown: float, scatter: float, pad_db: float) -> None:
    """A meter of few steps reads a pad as one of two numbers, unless noise moves it from step to step."""
    if step_db and step_db > _COARSE * shown and scatter < step_db / 3:
        wanted_db = np.ceil(pad_db * step_db / (_COARSE * shown))
        raise Implausible(
            (
                f"The meter moves in steps of {step_db:g} and shows {shown:.1f} for this pad: too coarse to tell a "
                f"scale by. Take a pad of {wanted_db:g} dB or more.",
            )
        )


def _odd_slope(shown: float, pad_db: float) -> list[str]:
    """What is to be said where a meter in decibels shows far less or more of them than the pad has."""
    slope = shown / pad_db
    told = f"The meter shows {shown:.1f} for this pad of {pad_db:g} dB"
    if not SLOPES[0] <= slope <= SLOPES[1]:
        raise Implausible(
            (
                f"{told}, which no meter in decibels does: is its value right, and is it the pad that is switched?",
            )
        )
    if REAL_SLOPES[0] <= slope <= REAL_SLOPES[1]:
        return []
    return [f"{told}; few meters are so far off. Is the pad's value right? Nothing here can tell."]


def _on_an_end(
    steps: Sequence[PadStep], ends: tuple[float | None, float | None], remarks: list[str]
) -> np.ndarray:
    """Which steps have a side on the known floor or top, where it is a bound."""
    floor, top = ends
    on_floor = [
        floor is not None and np.mean(np.array(step.low) <= floor) > FEW_ON_THE_FLOOR for step in steps
    ]
    on_top = [top is not None and np.mean(np.array(step.high) >= top) > FEW_ON_THE_FLOOR for step in steps]
    if any(on_floor):
        remarks.append(f"At {floor:g} the meter ends: levels whose lower side stands there were left out.")
    if any(on_top):
        remarks.append(f"At {top:g} the meter ends: levels whose upper side stands there were left out.")
    return np.array([one or other for one, other in zip(on_floor, on_top, strict=True)], dtype=bool)


def _short_ends(high: Floats, low: Floats, kept: np.ndarray, noise: float, remarks: list[str]) -> np.ndarray:
    """The outermost steps, where one alone tells its stretch of the scale and shows far less than its neighbour.

    A floor or a top within it and a scale that is flatter there look alike; a second level there would tell them apart.
    """
    short = np.zeros(len(high), dtype=bool)
    order = [int(at) for at in np.argsort(high + low) if kept[at]]
    if len(order) < 2:
        return short
    shown = high - low
    alone = [low[order[1:]].min() - low[order[0]], high[order[-1]] - high[order[:-1]].max()]
    for at, beside, part, where in zip(
        (order[0], order[-1]), (order[1], order[-2]), alone, ("lowest", "highest"), strict=True
    ):
        if part > _ALONE * shown[at] and shown[at] + noise < _SHORT * shown[beside]:
            short[at] = True
            remarks.append(
                f"The {where} level shows {shown[at]:.1f} for the pad and the next one {shown[beside]:.1f}: an end of "
                "the meter or a bend, which one level cannot tell. It was left out; read a second one near it."
            )
    return short


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
