"""What an hour was like on the nights measured, which says nothing of other nights and so is known sooner.

The S/N change of an hour over N nights was G − (d₁ + … + d_N)/N: the gain less the mean of the differences that were
there. What is uncertain of it is how well each night's difference was measured and how well the gain is known, not how
nights differ:

    variance = s_G² + (s₁² + … + s_N²)/N² + r²

s_n is the standard error of night n's difference, from its own passes; s_G that of the gain and r what the meter's
resolution leaves, which averages away only as far as levels wander over its steps from night to night. A night with
one pass shows no scatter: it gets that of a single pass on the other nights, their variances weighted by degrees of
freedom. Where no night has two passes, the scatter between nights stands in from three nights on: it contains the
error within them, so that it is too wide rather than too narrow. Plain propagation of errors (JCGM 100:2008, 5.1.2),
freedom by Welch and Satterthwaite (G.4.1). The noise rise, which may bound the change of nights to come, is not used
here.
"""

import numpy as np

from sweeper.analysis.arrays import Floats
from sweeper.analysis.statistics.estimates import Estimate, summed


def mean_on_these(values: Floats, errors: Floats, passes: Floats, resolution_db: float) -> Estimate | None:
    """Mean over the nights measured, dB, by its error within them; None where no night shows its own scatter.

    `values`, `errors`, `passes`: shape (nights,), NaN where a night has none.
    """
    there = np.isfinite(values)
    nights = int(there.sum())
    if nights == 0:
        return None
    squares, counts = errors[there] ** 2, np.where(np.isfinite(passes[there]), passes[there], 1.0)
    known = np.isfinite(squares) & (counts > 1)
    freedom = float((counts[known] - 1.0).sum())
    if freedom <= 0:
        return None
    one_pass = float((squares[known] * counts[known] * (counts[known] - 1.0)).sum()) / freedom
    squares = np.where(known, squares, one_pass / counts)
    fixed = (resolution_db**2 + 1e-4, 1e6)
    return summed(float(values[there].mean()), [(float(squares.sum()) / nights**2, freedom), fixed])
