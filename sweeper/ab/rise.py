"""How far antenna noise stands over the load's, and the S/N change that no stage can exceed there. Numbers only."""

import numpy as np
from numpy.typing import NDArray

from sweeper.ab.gathered import Gathered
from sweeper.ab.intervals import FEWEST_BLOCKS, mean_interval, t_limit
from sweeper.ab.pooled import DB
from sweeper.analysis import Interval
from sweeper.words import ANTENNA_BYPASS, LOAD_BYPASS

Floats = NDArray[np.float64]

FEWEST_APART, NEAR_LOAD = 6, 4
"""Sides of the antenna without which its wandering is not known; sides nearest to the load that are set against it."""


def rise_and_cap(gathered: Gathered, confidence: float) -> tuple[Interval | None, float | None]:
    """Noise rise Y in bypass, and the S/N change that no stage can exceed there: L(Y) = Y − 10 log₁₀(10^(Y/10) − 1).

    The cap is that of the lower end of Y: it is exceeded by no stage, with the stated confidence.
    """
    rises = gathered.on_load.get("bypass", np.zeros(0))
    if len(rises) < FEWEST_BLOCKS:
        rise = _rise_of_few(gathered, rises, confidence)
    else:
        value, low, high = mean_interval(rises, t_limit(len(rises), confidence))
        rise = Interval(float(value * DB), float(low * DB), float(high * DB))
    if rise is None:
        return None, None
    if rise.low < 0.05:
        return rise, None
    return rise, float(rise.low - 10.0 * np.log10(10.0 ** (rise.low / 10.0) - 1.0))


def _rise_of_few(gathered: Gathered, rises: Floats, confidence: float) -> Interval | None:
    """The same where antenna and load were changed seldom or never beside each other: once each way by hand, or the
    load apart, before everything or after. Then against the antenna's nearest sides.

    So few do not tell their own scatter, so the error is that of single sides: what antenna noise did from one to
    the other over the whole recording, with Student's t for the number of its sides.
    """
    load = gathered.alone.get(LOAD_BYPASS, np.zeros(0))
    antenna = gathered.alone.get(ANTENNA_BYPASS, np.zeros(0))
    if len(load) == 0 or len(antenna) < FEWEST_APART:
        return None
    near = antenna[: min(NEAR_LOAD, len(antenna))]
    value = float(rises.mean()) if len(rises) else float(near.mean() - load.mean())
    error = float(antenna.std(ddof=1)) * float(np.sqrt(2.0 / max(len(rises), 1)))
    half = t_limit(len(antenna), confidence) * error
    return Interval(value * DB, (value - half) * DB, (value + half) * DB)
