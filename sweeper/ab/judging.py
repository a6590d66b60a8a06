"""Which signals count, what kind each is, and the verdict. Small decisions, each with its threshold."""

import numpy as np
from numpy.typing import NDArray

from sweeper.ab.result import Verdict
from sweeper.analysis import Interval

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

UNSTEADY = 0.5
"""Step of ln S/N from one sub-spectrum to the next (median over edges; 2.2 dB) from which it is no steady carrier."""
ODD_DB = 3.0
"""A signal whose change differs by this much from the others', and beyond its own error, is not counted with them."""
LEFT = 20.0
"""A signal that was so many times stronger in one third of the time than in another, and is noise there, has left."""

LEAST_NOISE_STEP = 0.23
"""Step of ln noise (1 dB) from which a line that does not step with it gives itself away."""
FADES = 0.2
"""Relative deviation of a line's S/N over the edges from which it fades: 10⁰·¹ is 0.26; what comes by the sky has 0.4
and more up to a Rician K of 7 dB."""


def has_left(bypass: Floats, stage: Floats, spread: float) -> bool:
    """Whether a signal that stood well over the noise for a third of the time is gone for another; shapes (edges,)."""
    both = np.maximum(bypass, 0.0) + np.maximum(stage, 0.0)
    third = max(len(both) // 3, 2)
    if len(both) < 6:
        return False
    ends = float(np.median(both[:third])), float(np.median(both[-third:]))
    least, most = min(ends), max(ends)
    return most > 20.0 * spread and least < 3.0 * spread and least < most / LEFT


def odd_ones(changes: list[Interval | None], taken: Mask) -> Mask:
    """Signals that did not come through the stage as the others did: the receiver's own, or a neighbour's skirt.

    Told from four signals on, and never of more than a third of them.
    """
    odd = np.zeros(len(changes), np.bool_)
    known = [(j, change) for j, change in enumerate(changes) if taken[j] and change is not None]
    if len(known) < 4:
        return odd
    middle = float(np.median([change.value for _, change in known]))
    for j, change in known:
        far = change.value - middle
        end = change.low if far > 0 else change.high
        odd[j] = abs(far) > ODD_DB and (end - middle) * np.sign(far) > abs(far) / 2.0
    return odd if odd.sum() <= len(known) / 3 else np.zeros(len(changes), np.bool_)


def own_lines(
    noise_stage: Floats, noise_bypass: Floats, stage: Floats, bypass: Floats, spread: Floats
) -> Mask:
    """Lines that the receiver or the mains may have made: they do not fade, and do not step with the noise.

    What comes by the antenna steps the way the noise does, whatever holds the receiver's gain; a birdie or hum stays
    as it is, or falls when an AGC turns the noise down. Told only where the noise steps by 1 dB or more. `stage`,
    `bypass`: S/N in a bin, shape (edges, signals); `spread`: of one side without a signal, shape (signals,).
    """
    step = float(np.median(np.log(noise_stage / noise_bypass)))
    if abs(step) < LEAST_NOISE_STEP or len(noise_bypass) < 2:
        return np.zeros(stage.shape[1], np.bool_)
    sides = [bypass * noise_bypass[:, None], stage * noise_stage[:, None]]
    means = [side.mean(axis=0) for side in sides]
    errors = [side.std(axis=0, ddof=1) / np.sqrt(len(side)) for side in sides]
    safe = [np.maximum(mean, 1e-30) for mean in means]
    own = np.log(safe[1] / safe[0])
    error = np.hypot(errors[0] / safe[0], errors[1] / safe[1])
    stands_still = own * np.sign(step) < 0.1 * abs(step) + np.minimum(2.0 * error, 0.25 * abs(step))
    steady = np.ones(stage.shape[1], np.bool_)
    for ratio in (bypass, stage):
        mean = np.maximum(ratio.mean(axis=0), 1e-6)
        by_noise = spread**2 * (1.0 + 2.0 * mean) / mean**2
        steady &= ratio.var(axis=0, ddof=1) / mean**2 < FADES**2 + 2.0 * by_noise
    drowned = means[1] < 3.0 * errors[1] if step > 0.0 else means[0] < 3.0 * errors[0]
    found: Mask = steady & (stands_still | drowned)
    return found


def is_unsteady(unrest: Floats) -> bool:
    """Speech, keying or data. `unrest`: shape (edges,), NaN where unknown."""
    known = unrest[np.isfinite(unrest)]
    return len(known) > 0 and float(np.median(known)) > UNSTEADY


def verdict_of(change: Interval | None, worthwhile_db: float) -> Verdict:
    """By the whole interval and nothing less."""
    if change is None:
        return "undecided"
    if change.low > worthwhile_db:
        return "stage"
    if change.high < -worthwhile_db:
        return "bypass"
    return "either" if change.low > -worthwhile_db and change.high < worthwhile_db else "undecided"
