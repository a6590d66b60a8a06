"""A night from which on several series stand elsewhere: each by a size of its own, found soon and seldom by chance.

Where `change_points` asks whether noise moved, whose nights scatter by decibels and come in spells, here stand series
that do not move by themselves (a gain, a load): each night has a known error, and how much too small those errors are
is read from all series together, so that three nights suffice. Least squares and Student's t, places counted
(Bonferroni). Numbers only.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc, stdtr

from sweeper.analysis.arrays import Floats

SHORTEST = 2
"""Nights on each side of a step."""
APART = 1.5
"""Standard deviations between the means of two sides; three nights against five come nearer in 19 of 20 cases."""


@dataclass(frozen=True, slots=True)
class Steady:
    """Values that should stand still, a night each, dB. `day`: counted, rising; `se_db`: error; shapes (n,).

    `beside`: what the value may follow, shape (n, k). Where the two sides of a step stand further apart in the first
    of these than they are wide, a bend would pass for a step, and none is looked for.
    """

    day: Floats
    value_db: Floats
    se_db: Floats
    beside: Floats | None = None

    @property
    def dof_left(self) -> int:
        """Residual degrees of freedom with a step taken out."""
        return len(self.value_db) - 2 - (0 if self.beside is None else int(self.beside.shape[1]))


@dataclass(frozen=True, slots=True)
class Step:
    """A step: the first day of the new level, its size in dB, and the chance of one as clear without any."""

    day: float
    size_db: float
    chance: float


@dataclass(frozen=True, slots=True)
class _Places:
    """Of one series: days on which a step may begin, its size there, dB, and t before scaling; least squares left."""

    day: Floats
    size_db: Floats
    t: Floats
    left: float
    dof: int


def steps(series: Sequence[Steady], least_db: float, chance: float, joint: float) -> list[Step | None]:
    """The clearest step of each series of at least `least_db`, None where chance does as well.

    A step counts where its own chance is at most `chance`; or that of the same night in all series together is, and
    its own at most `joint`.
    """
    found = [_places(one) if one.dof_left >= 2 else None for one in series]
    told = [each for each in found if each is not None and len(each.day)]
    if not told:
        return [None] * len(series)
    dof = float(sum(each.dof for each in told))
    scale = float(np.sqrt(max(sum(each.left for each in told) / dof, 1.0)))
    common = _together(told, scale, dof, chance)
    return [
        None if each is None else _step(each, scale, dof, common, least_db, chance, joint) for each in found
    ]


def _places(one: Steady) -> _Places | None:
    count = len(one.value_db)
    place = np.arange(SHORTEST, count - SHORTEST + 1)
    weight = 1.0 / np.maximum(one.se_db, 1e-3)
    columns = np.ones((count, 1))
    if one.beside is not None:
        columns = np.column_stack([columns, one.beside - one.beside.mean(axis=0)])
    base, _ = np.linalg.qr(columns * weight[:, None])
    value = one.value_db * weight
    value = value - base @ (base.T @ value)
    after = (np.arange(count)[:, None] >= place) * weight[:, None]
    after = after - base @ (base.T @ after)
    square = (after**2).sum(axis=0)
    clear = square > 1e-6 * float((weight**2).sum())
    if one.beside is not None:
        clear &= np.array([_alike(one.beside[:at, 0], one.beside[at:, 0]) for at in place])
    if not clear.any():
        return None
    place, after, square = place[clear], after[:, clear], square[clear]
    size = value @ after / square
    t = size * np.sqrt(square)
    return _Places(one.day[place], size, t, float(value @ value - (t**2).max()), one.dof_left)


def _alike(before: Floats, after: Floats) -> bool:
    """Whether two sides stand nearer to each other than they are wide."""
    squares = float(((before - before.mean()) ** 2).sum() + ((after - after.mean()) ** 2).sum())
    wide = np.sqrt(squares / max(len(before) + len(after) - 2, 1))
    return bool(abs(after.mean() - before.mean()) < APART * wide)


def _together(told: Sequence[_Places], scale: float, dof: float, chance: float) -> frozenset[float]:
    """Days on which all series together step beyond chance."""
    days = {day for each in told for day in each.day.tolist()}
    kept = []
    for day in days:
        t = [each.t[each.day == day] for each in told]
        squares = np.concatenate(t) ** 2 / scale**2
        if len(squares) > 1 and float(fdtrc(len(squares), dof, squares.mean())) * len(days) <= chance:
            kept.append((float(squares.sum()), day))
    return frozenset({max(kept)[1]} if kept else ())


def _step(
    each: _Places,
    scale: float,
    dof: float,
    common: frozenset[float],
    least_db: float,
    chance: float,
    joint: float,
) -> Step | None:
    own = 2.0 * stdtr(dof, -np.abs(each.t) / scale)
    best = int(np.abs(each.t).argmax())
    alone = float(own[best]) * len(own)
    if alone <= chance and abs(each.size_db[best]) >= least_db:
        return Step(float(each.day[best]), float(each.size_db[best]), alone)
    for place in np.flatnonzero(np.isin(each.day, list(common))):
        if own[place] <= joint and abs(each.size_db[place]) >= least_db:
            return Step(float(each.day[place]), float(each.size_db[place]), float(own[place]))
    return None
