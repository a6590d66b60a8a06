"""What a comparison says to a listener. Words only: what is said was decided by `compare`."""

import math
from dataclasses import dataclass

from sweeper.analysis.change.before_after import BeforeAfter, MatchedNights
from sweeper.analysis.results import FixVerdict
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.wording import nights_of

POWER = 0.8
"""How often nights like these would show the smallest change that is named: four times in five."""
USUAL_FIX_DB = 3.0
"""A fix worth the work halves the noise."""
HELD = {
    "control-changed": "the control bands changed too, where the fix cannot reach, so something else happened then.",
    "control-moved": "it is the control bands that moved; this band did not.",
    "carriers-moved": "distant stations moved the same way, and without a load nothing tells a receiver that reads "
    "otherwise, or the sky, from a fix.",
    "table": "among so many bands one looks changed by chance.",
    "scale-untested": "nothing tested whether the meter's decibels are decibels at these levels: calibrate first.",
    "meter-dead-zone": "the meter hardly moves at these levels, where noise must make it move.",
}


@dataclass(frozen=True, slots=True)
class ToSay:
    """What is to be said of a band. `held`: the flag for which a verdict is held back, or empty.

    `otherwise`: bandwidth or calibration were not the same on both sides. `smallest_db`: what these nights would
    most likely have shown.
    """

    change: BeforeAfter
    interval: Interval | None
    verdict: FixVerdict
    smallest_db: float | None
    held: str
    worthwhile_db: float
    otherwise: bool


def reason(told: ToSay) -> str:
    """What a listener is told, in a sentence or two."""
    change, interval = told.change, told.interval
    if interval is None or told.smallest_db is None:
        return _too_few(change.matched, told.otherwise)
    return _change(told, interval, told.smallest_db) + _trend(told)


def _change(told: ToSay, interval: Interval, smallest_db: float) -> str:
    matched = told.change.matched
    nights = f"{matched.before} nights before against {matched.after} after"
    span = f"{interval.low:+.1f} to {interval.high:+.1f} dB".replace("-", "−")
    if told.held:
        return f"Cannot be told yet: the change could be {span}, {nights}, but {HELD[told.held]}"
    size = f"{abs(interval.value):.1f} dB ({_ends(interval)})"
    if told.verdict == "quieter":
        return f"Noise fell by {size}, {nights}."
    if told.verdict == "noisier":
        return f"Noise rose by {size}, {nights}."
    shown = f"These nights would most likely have shown a change of {smallest_db:.1f} dB or more."
    if told.verdict == "no change":
        return f"No change that matters: {span}, {nights}. {shown}"
    return f"Not settled yet: the change could be {span}, {nights}. {shown}{_wanted(matched, smallest_db)}"


def _wanted(matched: MatchedNights, smallest_db: float) -> str:
    """How many nights would show a fix of `USUAL_FIX_DB`; nothing where these would have."""
    if smallest_db <= USUAL_FIX_DB:
        return ""
    evenly = 2.0 / (1.0 / matched.before + 1.0 / matched.after)
    nights = math.ceil(evenly * (smallest_db / USUAL_FIX_DB) ** 2)
    return f" A fix of {USUAL_FIX_DB:g} dB would take about {nights} nights on each side."


def _trend(told: ToSay) -> str:
    trend_db, leaning_db = told.change.trend_db, told.change.leaning_db
    if trend_db is None and leaning_db is not None and told.verdict in ("quieter", "noisier"):
        way = "falling" if leaning_db < 0 else "rising"
        return (
            f" But noise was {way} within the nights before and within those after too, by about "
            f"{abs(leaning_db):.2f} dB a night: part of the change may be the season. More nights would tell."
        )
    if trend_db is None:
        return ""
    way = "falling" if trend_db < 0 else "rising"
    return (
        f" Noise was {way} by about {abs(trend_db):.2f} dB a night before and after alike; that is taken out, and "
        "the fix is harder to tell from it."
    )


def _too_few(change: MatchedNights, otherwise: bool) -> str:
    after = nights_of(change.after) if change.after else "none"
    nights = f"{nights_of(change.before)} before the fix and {after} after"
    if change.before == 0:
        return (
            f"Cannot be told: no night was measured before the fix ({nights_of(change.after)} after); at least "
            f"{FIRST_LOOK} on each side are needed."
        )
    if otherwise:
        return f"Cannot be told: {nights}, but fewer than {FIRST_LOOK} on each side that were measured alike."
    if min(change.before, change.after) >= FIRST_LOOK:
        return f"Not settled yet: {nights}, but fewer than {FIRST_LOOK} on one side at the same hours as on the other."
    return f"Not settled yet: {nights}; at least {FIRST_LOOK} on each side, at the same hours, are needed."


def _ends(interval: Interval) -> str:
    ends = sorted((abs(interval.low), abs(interval.high)))
    return f"{ends[0]:.1f} to {ends[1]:.1f}"
