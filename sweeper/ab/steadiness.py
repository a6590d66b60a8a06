"""Was the receiver's gain constant? Told from the noise: an AGC turns it down when the signals rise.

Within one route ln(noise) is regressed on ln(total ÷ noise) over the sides of edges: slope 0 without AGC, −1 with one
that holds the total constant, in between for a slow one. Standard error from blocks of neighbours (jackknife), since
both drift. Numbers only.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEANS = 0.15
"""A slope beyond −0.15 is an AGC; one shown to lie within ±0.15 a constant gain."""
ENOUGH_SPREAD = 0.06
"""Standard deviation of ln(total ÷ noise) under which nothing can be told (0.25 dB)."""


@dataclass(frozen=True, slots=True)
class Gain:
    """`state`: ``constant`` and ``follows`` are shown, ``unknown`` is neither. `slope`: as above, None if unknown."""

    state: Literal["constant", "follows", "unknown"]
    slope: float | None


def gain_of(noise: Floats, total: Floats, routes: NDArray[np.bool_], own_variance: float = 0.0) -> Gain:
    """`noise`, `total`: shape (sides,), in the order of time; `routes`: which of the two each came through.

    `own_variance`: of ln(noise) of a side by itself. It stands on both axes with opposite signs, so beside a signal
    that hardly fades it would look like an AGC; it is taken out of both sums (errors in both variables), as far as the
    total does not share it.
    """
    apart = 1.0 - float(np.median(noise / total))
    x, y = np.log(total / noise), np.log(noise)
    place = np.linspace(-1.0, 1.0, len(x))
    for route in (False, True):
        here = routes == route
        if here.sum() < 4:
            return Gain("unknown", None)
        trend = np.stack([np.ones(here.sum()), place[here]], axis=1)
        for values in (x, y):
            values[here] -= trend @ np.linalg.lstsq(trend, values[here], rcond=None)[0]
    if float(np.var(x)) - own_variance * apart**2 < ENOUGH_SPREAD**2:
        return Gain("unknown", None)
    blocks = np.array_split(np.arange(len(x)), min(12, len(x) // 3))
    if len(blocks) < 4:
        return Gain("unknown", None)
    xy = np.array([float(x[block] @ y[block]) + len(block) * own_variance * apart for block in blocks])
    xx = np.array([float(x[block] @ x[block]) - len(block) * own_variance * apart**2 for block in blocks])
    slope = float(xy.sum() / xx.sum())
    without = (xy.sum() - xy) / np.maximum(xx.sum() - xx, 1e-30)
    error = float(np.sqrt((len(blocks) - 1) / len(blocks) * np.sum((without - without.mean()) ** 2)))
    if slope + 2.0 * error < -LEANS / 2 and slope < -LEANS:
        return Gain("follows", slope)
    if abs(slope) + 2.0 * error < LEANS:
        return Gain("constant", slope)
    return Gain("unknown", slope)
