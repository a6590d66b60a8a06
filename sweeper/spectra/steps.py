"""Which bins hear what comes through the relay: told by whether their power steps when the stage is switched.

The noise of antenna, stage and receiver steps together in all bins of the pass band. What is made behind the
receiver's detector stands as it is whatever was switched: the sound card's own noise, mains hum and its skirts.
Arrays in, arrays out.
"""

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.noise_bins import BEYOND_PASS_BAND_DB, FEWEST_BINS, Floats, Mask, surroundings, worn

LEAST_STEP = 0.15
"""Step of ln power (0.65 dB) of the noise from which a bin that does not share it tells something."""
ALIKE = 0.5
"""Bins that step by less than this share of what the noise steps by are not of the pass band."""
SURE = 5.0
"""Standard errors that a step has to be beyond."""
SMOOTHED = 5
WORN = 2
"""Bins at the end of a filter's pass band that fall off already."""
BEYOND = 0.3
"""Filters against aliases take less than this share of the sampled width."""
UNLIKE = 0.023
"""Steps of ln power (0.1 dB) that differ by more are two steps."""
MEDIAN_LOSS = 1.2533
"""Standard error of a median over that of a mean, √(π/2)."""


def ended_by_steps(inside: Mask, table: Floats, staged: NDArray[np.bool_], segments: int) -> Mask:
    """The pass band without what at its ends does not step with the noise; `inside` where the noise does not step.

    `table`: spectra, shape (spectra, bins), of `segments` each; `staged`: which were heard through the stage.
    """
    if min(staged.sum(), (~staged).sum()) < 2 or inside.sum() < 2 * FEWEST_BINS:
        return inside
    out, within = (np.median(table[which], axis=0) for which in (~staged, staged))
    step = np.log(np.maximum(within, 1e-30) / np.maximum(out, 1e-30))
    places = np.flatnonzero(inside)
    level = out[places] * within[places]
    common = float(np.median(step[places[level <= np.median(level)]]))
    error = MEDIAN_LOSS * np.sqrt(1.0 / staged.sum() + 1.0 / (~staged).sum()) / np.sqrt(segments)
    if abs(common) < max(LEAST_STEP, SURE * error):
        return inside
    padded = np.pad(step, SMOOTHED // 2, mode="edge")
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(padded, SMOOTHED), axis=1)
    still = (smooth * np.sign(common) < ALIKE * abs(common)) & (np.abs(smooth - common) > SURE * error)
    far = np.abs(smooth - common) > max(0.1 * abs(common), 2.0 * error)
    kept = inside.copy()
    for order in (places, places[::-1]):
        if still[order[0]]:  # and on to where the noise alone is heard
            as_noise = np.flatnonzero(~far[order])
            kept[order[: int(as_noise[0]) + WORN] if len(as_noise) else order] = False
    return kept if kept.sum() >= 2 * FEWEST_BINS else inside


def widened_by_steps(inside: Mask, table: Floats, staged: NDArray[np.bool_]) -> Mask:
    """The pass band of samples of a band, widened where a wide signal was taken for all of it.

    What lies low on both sides of it is noise and not the end of the filter if it is wide, a good part of it alike,
    steps when switched, and by another amount than what was taken for the pass band: then that is a signal.
    """
    places = np.flatnonzero(inside)
    if not len(places) or min(staged.sum(), (~staged).sum()) < 8:
        return inside
    low = np.quantile(table, 0.2, axis=0)
    beyond = np.ones(len(inside), np.bool_)
    beyond[places[0] - 2 : places[-1] + 3] = False
    if beyond.sum() < BEYOND * len(inside):
        return inside
    level = float(np.quantile(low[beyond], BEYOND))
    alike = beyond & (low > level / 2.0) & (low < level * 2.0)
    if level <= 0.0 or alike.sum() < BEYOND * beyond.sum():
        return inside
    outer, outer_error = _step(table[:, alike], staged)
    inner, inner_error = _step(table[:, inside], staged)
    apart, error = abs(outer - inner), float(np.hypot(outer_error, inner_error))
    if abs(outer) < max(UNLIKE / 2.0, SURE * outer_error) or apart < max(UNLIKE, SURE * error):
        return inside
    return worn(surroundings(low) > level * 10 ** (-BEYOND_PASS_BAND_DB / 10))


def _step(table: Floats, staged: NDArray[np.bool_]) -> tuple[float, float]:
    """Step of ln mean power over some bins, and its standard error."""
    level = np.log(np.maximum(table.mean(axis=1), 1e-30))
    parts = level[staged], level[~staged]
    error = float(np.sqrt(sum(part.var(ddof=1) / len(part) for part in parts)))
    return float(parts[0].mean() - parts[1].mean()), error
