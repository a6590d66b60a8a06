"""From readings of known levels to a meter curve with its uncertainty: what `calibrate` computes.

Numbers in, numbers out; asking a person, reading a receiver and writing the station file do not belong here.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sweeper.analysis.arrays import Floats
from sweeper.analysis.physics.radiometer import BOLTZMANN, T0_K

LEAST_LEVELS = 3
LEAST_SPAN_DB = 20.0
UNTOLD_SCATTER_DB = 0.5
"""Scatter of one reading taken by eye, where no level was read twice (common practice)."""
SAME_FREQUENCY = 1.1
"""A curve holds for frequencies within this ratio; beyond, the receiver's flatness counts."""
SLOPES = (0.2, 5.0)
"""Between neighbours, decibels of reading for each decibel of level; S-meters are uneven, but not beyond this."""
STILL_DB = 0.5
"""A meter that moves less than this for a step of level has met its floor or its top."""


@dataclass(frozen=True, slots=True)
class KnownLevel:
    """One level at the receiver's input, dBm, and what the meter read meanwhile, in its own unit."""

    dbm: float
    readings: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One contribution to a standard uncertainty, dB. Type A is from repetition, type B from knowledge (GUM)."""

    what: str
    standard_db: float
    kind: str


@dataclass(frozen=True, slots=True)
class Curve:
    """A meter curve: rising (reading, dBm) pairs, what was cut off its ends, and its uncertainty budget.

    `residuals_db` are what the readings of each level leave over the curve (root mean square, one a pair); NaN where
    a level was read once, which leaves nothing over.
    """

    pairs: tuple[tuple[float, float], ...]
    residuals_db: tuple[float, ...]
    floor: float | None
    top: float | None
    budget: tuple[BudgetLine, ...]
    remarks: tuple[str, ...]

    @property
    def uncertainty_db(self) -> float:
        """Combined standard uncertainty of a level read off the curve, dB."""
        return combined_db(self.budget)


class Implausible(ValueError):
    """The readings cannot be those of a meter at those levels; `problems` says each reason in a sentence."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__(" ".join(problems))
        self.problems = tuple(problems)


def curve_of(
    levels: Sequence[KnownLevel], step_db: float | None = None, known: Sequence[BudgetLine] = ()
) -> Curve:
    """The curve through `levels`, in any order; `known` are type-B contributions, of the generator and its kind.

    Raises `Implausible` where readings are missing or no numbers, levels are too few or too close, the curve
    folds back, or it is far steeper or flatter than a meter is.
    """
    problems = _unusable(levels)
    if problems:
        raise Implausible(problems)
    ordered = sorted(levels, key=lambda level: level.dbm)
    dbm = np.array([level.dbm for level in ordered])
    reading = np.array([float(np.mean(level.readings)) for level in ordered])
    scatter, told = _scatter([level.readings for level in ordered])
    first, last, remarks = _moving_part(reading)
    floor = float(reading[0]) if first > 0 else None
    top = float(reading[-1]) if last < len(reading) - 1 else None
    dbm, reading, scatter = (values[first : last + 1] for values in (dbm, reading, scatter))
    noise = max(step_db or 0.0, 2 * float(scatter.max(initial=0.0)), 0.1)
    problems = _folds(dbm, reading, noise) or _spans(dbm, reading)
    if problems:
        raise Implausible(problems)
    risen, pulled = _risen(reading)
    count = np.array([len(level.readings) for level in ordered[first : last + 1]])
    repeated = float(np.sqrt(np.mean(scatter**2 / count)))
    slope = float(np.median(np.diff(risen) / np.diff(dbm)))
    budget = [
        *known,
        BudgetLine(f"repeatability of the readings{told}", repeated / slope, "B" if told else "A"),
        BudgetLine("straight lines between the points", _interpolation_db(dbm, risen), "B"),
    ]
    if step_db:
        budget.append(BudgetLine("step of the meter", step_db / np.sqrt(12) / slope, "B"))
    residuals = np.where(count > 1, np.sqrt(scatter**2 + pulled**2) / slope, np.nan)
    pairs = tuple((round(float(x), 3), round(float(y), 3)) for x, y in zip(risen, dbm, strict=True))
    return Curve(pairs, tuple(float(r) for r in residuals), floor, top, tuple(budget), tuple(remarks))


def combined_db(budget: Sequence[BudgetLine]) -> float:
    """Root of the sum of squares of independent contributions (GUM, JCGM 100:2008, 5.1.2)."""
    return float(np.sqrt(sum(line.standard_db**2 for line in budget)))


def mismatch_line(source_return_loss_db: float, receiver_return_loss_db: float) -> BudgetLine:
    """Mismatch between a source and the receiver: limits ±20·log₁₀(1 + ρₛρᵣ), U-shaped, so divided by √2."""
    product = 10 ** (-(source_return_loss_db + receiver_return_loss_db) / 20)
    return BudgetLine("mismatch", float(20 * np.log10(1 + product) / np.sqrt(2)), "B")


def flatness_line(calibrated_hz: int | None, channels_hz: Sequence[int], within_db: float) -> BudgetLine:
    """How the receiver's level may differ at the other channels from where it was calibrated (None: nobody said)."""
    far = calibrated_hz is None or any(
        max(hz, calibrated_hz) > SAME_FREQUENCY * min(hz, calibrated_hz) for hz in channels_hz
    )
    return tolerance_line("flatness from band to band", within_db if far else 0.0)


def tolerance_line(what: str, within_db: float) -> BudgetLine:
    """A maker's tolerance of ±`within_db`, any value in it as likely: divided by √3 (GUM 4.3.7)."""
    return BudgetLine(what, within_db / float(np.sqrt(3)), "B")


def noise_bandwidth_hz(hot_dbm: float, cold_dbm: float, enr_db: float) -> float:
    """Noise bandwidth of the mode from a noise source switched on and off, levels off the curve: ΔP/(k·T₀·ENR).

    Raises `Implausible` where the source does not stand above the cold level.
    """
    rise_mw = 10 ** (hot_dbm / 10) - 10 ** (cold_dbm / 10)
    if not rise_mw > 0:
        raise Implausible(
            (
                "The noise source does not raise the level: it has no supply, or its path does not reach the receiver.",
            )
        )
    return float(rise_mw / 1000 / (BOLTZMANN * T0_K * 10 ** (enr_db / 10)))


def _scatter(readings: Sequence[Sequence[float]]) -> tuple[Floats, str]:
    """Standard deviation of one reading at each level, and what to say of it where repetition tells nothing.

    A level read once scatters as the others do, or as `UNTOLD_SCATTER_DB` where all were.
    """
    count = np.array([len(values) for values in readings])
    scatter = np.array([float(np.std(values, ddof=1)) if len(values) > 1 else 0.0 for values in readings])
    dof = int((count - 1).sum())
    if dof == 0:
        return np.full(len(readings), UNTOLD_SCATTER_DB), ", guessed: each level was read once"
    pooled = float(np.sqrt(((count - 1) * scatter**2).sum() / dof))
    return np.where(count > 1, scatter, pooled), ""


def bandwidth_uncertainty_db(
    hot_mw: Sequence[float], cold_mw: Sequence[float], curve_db: float, enr_db: float
) -> float:
    """Standard uncertainty of a `noise_bandwidth_hz` in dB: the curve's, the source's, the scatter of readings."""
    hot, cold = np.array(hot_mw), np.array(cold_mw)
    variance = sum(float(np.var(side, ddof=1)) / len(side) if len(side) > 1 else 0.0 for side in (hot, cold))
    repeated = 10 / np.log(10) * np.sqrt(variance) / float(hot.mean() - cold.mean())
    return float(np.sqrt(curve_db**2 + enr_db**2 + repeated**2))


def _unusable(levels: Sequence[KnownLevel]) -> list[str]:
    problems = []
    for level in levels:
        if not np.isfinite(level.dbm):
            problems.append(f"A level of {level.dbm} dBm is no number.")
        if not level.readings or not np.isfinite(level.readings).all():
            problems.append(
                f"At {level.dbm:g} dBm there is no reading, or one that is no number: read that level again."
            )
    given = [level.dbm for level in levels]
    if len(set(given)) < len(given):
        problems.append("A level is given twice: put its readings together.")
    if len(set(given)) < LEAST_LEVELS:
        problems.append(
            f"{len(set(given))} levels are too few: give at least {LEAST_LEVELS}, better one every 5 dB."
        )
    return problems


def _moving_part(reading: Floats) -> tuple[int, int, list[str]]:
    """First and last index between which the meter moves; the still ends lie on its floor and its top."""
    first, last, remarks = 0, len(reading) - 1, []
    while first < last and abs(reading[first + 1] - reading[first]) < STILL_DB:
        first += 1
    while last > first and abs(reading[last] - reading[last - 1]) < STILL_DB:
        last -= 1
    if first > 0:
        remarks.append(
            f"Below {reading[first]:g} the meter stands still: that is its floor, and was cut off."
        )
    if last < len(reading) - 1:
        remarks.append(f"Above {reading[last]:g} the meter stands still: that is its top, and was cut off.")
    return first, last, remarks


def _folds(dbm: Floats, reading: Floats, noise: float) -> list[str]:
    fallen = np.flatnonzero(np.diff(reading) < -noise)
    return [
        f"The curve folds back: from {dbm[at]:g} to {dbm[at + 1]:g} dBm the reading falls from {reading[at]:g} to "
        f"{reading[at + 1]:g}. Two levels would read the same; look for an overload, an automatic attenuator, or "
        "exchanged notes."
        for at in fallen
    ]


def _spans(dbm: Floats, reading: Floats) -> list[str]:
    problems = []
    if len(dbm) < LEAST_LEVELS:
        problems.append(
            "The meter moves over fewer than three of these levels: choose levels between its floor and top."
        )
        return problems
    if dbm[-1] - dbm[0] < LEAST_SPAN_DB:
        problems.append(
            f"The levels span {dbm[-1] - dbm[0]:g} dB; a curve wants at least {LEAST_SPAN_DB:g} dB."
        )
    slope = np.diff(reading) / np.diff(dbm)
    wrong = (slope > SLOPES[1]) | ((slope < SLOPES[0]) & (np.diff(dbm) > 5))
    for at in np.flatnonzero(wrong):
        problems.append(
            f"From {dbm[at]:g} to {dbm[at + 1]:g} dBm the reading moves by {reading[at + 1] - reading[at]:g}, which no "
            "meter in decibels does: check the attenuator setting, and that the readings are decibels."
        )
    return problems


def _risen(reading: Floats) -> tuple[Floats, Floats]:
    """The closest curve that never falls (isotonic regression), nudged to rise, and how far it was pulled."""
    from scipy.optimize import isotonic_regression  # takes long to load, and only a calibration needs it

    flat: Floats = isotonic_regression(reading).x
    return flat + 1e-3 * np.arange(len(flat)), np.abs(flat - reading)


def _interpolation_db(dbm: Floats, reading: Floats) -> float:
    """What straight lines miss between points: a quarter of what a line over each point's neighbours misses at it."""
    guessed = np.array(
        [
            np.interp(reading[at], reading[[at - 1, at + 1]], dbm[[at - 1, at + 1]])
            for at in range(1, len(dbm) - 1)
        ]
    )
    return float(np.sqrt(np.mean((guessed - dbm[1:-1]) ** 2)) / 4)
