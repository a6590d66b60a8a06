"""Verdicts over the whole table of bands and hours, with the share of wrong ones held down.

A verdict needs its interval, valid for somebody who looks every morning, to lie clear of the worthwhile change; and
the table as a whole to bear it: levels are ordered and compared as by Benjamini & Hochberg (J. R. Stat. Soc. B 57
(1995) 289), so that of the verdicts given, no more than the stated share is wrong on average. Hours of a band share
their nights, which that procedure tolerates (positive dependence).
No words for people here; `recommendation` has them.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sweeper.analysis.band.cells import Cell
from sweeper.analysis.results import Verdict
from sweeper.analysis.statistics.curved_mean import AsymmetricEstimate
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.analysis.statistics.group_sequential import campaign_level, look_level
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.thresholds import CONTRADICTS_CHANCE

WITHHOLDING = frozenset(
    {
        "overload",
        "compression",
        "stuck-relay",
        "swapped",
        "load-above-antenna",
        "load-follows-antenna",
        "load-too-low",
        "meter-unit",
        "meter-stuck",
        "meter-dead-zone",
        "scale-untested",
        "routes-disagree",
        "gain-moved",
        "hours-disagree",
        "channels-disagree",
        "mismatch",
        "implausible-calibration",
    }
)
"""Signs of a chain that does not do what it seems to do: no good news while one of them stands."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What became of a cell. `level` is the chance of a verdict as clear as this when it is wrong, all looks counted.

    `by_physics`: the noise rise alone keeps the S/N change inside the worthwhile one. `held_back`: the cell alone
    would have had a verdict, the table does not bear it. `withheld`: a sign of trouble forbids the verdict.
    """

    verdict: Verdict
    snr_change_db: Interval | None
    level: float
    by_physics: bool = False
    held_back: bool = False
    withheld: str = ""


def interval_of(
    estimate: Estimate | AsymmetricEstimate | None, nights: int, confidence: float
) -> Interval | None:
    """The interval after so many nights, valid for one who looks every morning."""
    return None if estimate is None else estimate.interval(look_level(nights, 1.0 - confidence))


def judge(
    cells: Sequence[Cell], worthwhile_db: float, confidence: float, troubles: Sequence[Collection[str]]
) -> list[Judged]:
    """A verdict for each cell. `troubles`: the flags that hold for each."""
    alone = [_alone(cell, worthwhile_db) for cell in cells]
    allowed = allowed_level([level for _, level, _ in alone], 1.0 - confidence)
    judged: list[Judged] = []
    for place, (cell, (verdict, level, by_physics)) in enumerate(zip(cells, alone, strict=True)):
        interval = _shown(cell, confidence, by_physics)
        trouble = sorted(WITHHOLDING.intersection(troubles[place]))
        if trouble:
            judged.append(Judged("undecided", None, level, withheld=trouble[0]))
        elif verdict == "undecided" or level > 1.0 - confidence:
            judged.append(Judged("undecided", interval, level))
        elif level > allowed:
            judged.append(Judged("undecided", interval, level, held_back=True))
        else:
            judged.append(Judged(verdict, interval, level, by_physics=by_physics))
    return judged


def _alone(cell: Cell, worthwhile_db: float) -> tuple[Verdict, float, bool]:
    """The verdict that lies nearest, the level at which it holds, and whether the noise rise alone gives it."""
    verdict, level = _nearest(cell, worthwhile_db)
    physics = _by_physics(cell, worthwhile_db)
    if physics < level:
        return "either", physics, True
    return verdict, level, False


def _nearest(cell: Cell, worthwhile_db: float) -> tuple[Verdict, float]:
    change = cell.snr_change
    if change is None or cell.bound == "unknown":
        return "undecided", 1.0
    verdict: Verdict
    if change.value > worthwhile_db:
        verdict, level = "stage", change.level_beyond(worthwhile_db)
    elif change.value < -worthwhile_db:
        verdict, level = "bypass", change.level_beyond(-worthwhile_db)
    else:
        verdict = "either"
        level = max(change.level_beyond(worthwhile_db), change.level_beyond(-worthwhile_db))
    if (cell.bound == "at most" and verdict != "bypass") or (cell.bound == "at least" and verdict != "stage"):
        return "undecided", 1.0
    return verdict, campaign_level(cell.looked, level)


def _by_physics(cell: Cell, worthwhile_db: float) -> float:
    """Level at which ceiling and ground lie inside the worthwhile change; 1 where they do not.

    Also 1 where what was measured directly does not lie where the noise rise says, and near overload: products of a
    stage that overloads raise its noise like noise from outside, so the noise rise cannot see them.
    """
    change, ceiling, lower_bound = cell.snr_change, cell.ceiling, cell.lower_bound
    if change is None or ceiling is None or lower_bound is None or "near-overload" in cell.flags:
        return 1.0
    top, bottom = max(ceiling.value, 0.0), min(lower_bound.value, 0.0)
    inside = bottom <= change.value <= top
    if not inside and change.level_beyond(top if change.value > top else bottom) <= CONTRADICTS_CHANCE:
        return 1.0
    if ceiling.value >= worthwhile_db or lower_bound.value <= -worthwhile_db:
        return 1.0
    level = max(ceiling.level_beyond(worthwhile_db), lower_bound.level_beyond(-worthwhile_db))
    return campaign_level(cell.looked, level)


def _shown(cell: Cell, confidence: float, by_physics: bool) -> Interval | None:
    if cell.bound:
        return None
    interval = interval_of(cell.snr_change, cell.looked, confidence)
    if not by_physics or cell.ceiling is None or cell.lower_bound is None:
        return interval
    level = look_level(cell.looked, 1.0 - confidence)
    top, bottom = cell.ceiling.interval(level).high, cell.lower_bound.interval(level).low
    if interval is None or interval.low > top or interval.high < bottom:
        return Interval(min(max(0.0, bottom), top), bottom, top)
    low, high = max(interval.low, bottom), min(interval.high, top)
    return Interval(min(max(interval.value, low), high), low, high)


def allowed_level(levels: Sequence[float], alpha: float) -> float:
    """The largest level at which the share of wrong verdicts is held: Benjamini and Hochberg's step-up (1995)."""
    ordered = sorted(levels)
    allowed = 0.0
    for rank, level in enumerate(ordered, start=1):
        if level <= alpha * rank / len(ordered):
            allowed = level
    return allowed
