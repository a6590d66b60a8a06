"""By how much the noise changes when the stage is put in, and how sure that is. Numbers only."""

import numpy as np
from numpy.typing import NDArray

from sweeper.ab.intervals import FEWEST_BLOCKS, mean_interval, t_limit
from sweeper.ab.pooled import DB, block_length
from sweeper.ab.sides import Learned
from sweeper.analysis import Interval
from sweeper.spectra.welch import shape_of
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE

Floats = NDArray[np.float64]

NOISE_FLOOR_DB = 0.02
"""What a common choice of noise bins may be off by in one route and not in the other, in quadrature."""
SKIRTS = 2.5
"""A skirt that falls evenly from 2 c to 0 moves the mean by c, and its bins scatter by 0.58 c."""


def noise_change(steps: Floats, unlike: float, confidence: float) -> Interval | None:
    """Mean over the edges of ln(noise in ÷ out), those far out left aside (a burst on one side), by blocks.

    Error of one edge 4.34 √(2 · 1.26/(Bτ)) dB, with what the noise itself does meanwhile; the blocks show both. What
    the bins do not agree on, `unlike`, is added on both sides in quadrature.
    """
    middle = float(np.median(steps))
    scale = 1.4826 * float(np.median(np.abs(steps - middle))) + 1e-9
    kept = steps[np.abs(steps - middle) < 6.0 * scale]
    if len(kept) < FEWEST_BLOCKS:
        return None
    length = block_length(kept - kept.mean())
    blocks = np.array([part.mean() for part in np.array_split(kept, max(len(kept) // length, 1))])
    limit = t_limit(len(blocks), confidence)
    value, low, high = mean_interval(blocks, limit)
    half = float(np.hypot(np.hypot((high - low) / 2.0, unlike) * DB, NOISE_FLOOR_DB * limit))
    return Interval(float(value * DB), float(value * DB) - half, float(value * DB) + half)


def unlike(learned: Learned) -> float:
    """What skirts of signals in the noise bins may have moved the step by, nepers: 0 where nothing shows of it.

    Signals step by the stage's gain, noise by less or more, so a skirt shows in how far the bins' own steps scatter. Of
    pure noise ln(in ÷ out) has the variance 1/shape of either route, added; neighbours share the window's two bins, so
    n bins tell it with a relative error of √(4/n). `SKIRTS` times the deviation beyond is taken, since a skirt under
    all bins moves their mean by as much as they differ.
    """
    noise, keep = learned.noise, learned.noise.keep
    out, within = (
        learned.means[path][keep] / noise.pass_band[keep] for path in (ANTENNA_BYPASS, ANTENNA_STAGE)
    )
    by_chance = sum(1.0 / shape_of(learned.segments[path]) for path in (ANTENNA_BYPASS, ANTENNA_STAGE))
    seen = float(np.var(np.log(within / out), ddof=1))
    if seen < by_chance * (1.0 + 2.0 * np.sqrt(4.0 / keep.sum())):
        return 0.0
    return SKIRTS * float(np.sqrt(seen - by_chance))
