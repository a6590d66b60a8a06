"""How many nights an interval needs to grow shorter than the way to the edge that could spoil a verdict."""

from collections.abc import Callable

from sweeper.analysis.results import Verdict
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK, LOOKS, look_level

MOST_NIGHTS = 90
GAIN_SE_BY_LOAD_DB = 0.1
GAIN_SE_BY_CARRIERS_DB = 4.0
"""Of one night, from fading carriers; falls with the root of nights."""


def aim(change_db: float, worthwhile_db: float) -> tuple[Verdict, float]:
    """The verdict to expect, and how far the change lies from the edge that could spoil it."""
    if change_db > worthwhile_db:
        return "stage", change_db - worthwhile_db
    if change_db < -worthwhile_db:
        return "bypass", -worthwhile_db - change_db
    return "either", worthwhile_db - abs(change_db)


def reach(nights: int, error_db: float, alpha: float, dof: float | None = None) -> float:
    """Half the interval after so many nights, dB."""
    half = Estimate(0.0, error_db, dof if dof is not None else max(nights - 1.0, 1.0))
    return half.interval(look_level(max(nights, FIRST_LOOK), alpha)).high


def nights_needed(
    distance_db: float, error_db: Callable[[int], float], alpha: float, beginning: int = FIRST_LOOK
) -> int | None:
    """Nights until the look whose interval is shorter than the distance to the edge; None beyond `MOST_NIGHTS`."""
    for nights in LOOKS:
        if beginning <= nights <= MOST_NIGHTS and reach(nights, error_db(nights), alpha) < distance_db:
            return nights
    return None
