"""What is wrong with sound as it comes: silence, a dead channel, two that are not one. Arrays in, words out."""

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

SILENT = 2.5 / 32768
"""Peak, of full scale, that a converter of 16 bits reaches with nothing at its input but its own last bit or two."""
ALIKE = 0.99
"""Correlation from which two channels are one signal; noise of the card's own parts them a little."""
DEAD_DB = 40.0
"""A channel this far under the other has only what leaks over (common practice: cards separate by 60 dB and more)."""
HOLE_S = 0.002
"""Zeros for so long are samples that a sound server filled in: noise over half a step of 16 bits has none (10⁻¹⁶)."""


def is_silent(samples: "NDArray[np.float32]") -> bool:
    """Whether nothing is there. `samples`: shape (n,), of full scale."""
    return len(samples) == 0 or float(np.abs(samples).max()) < SILENT


def picked(frames: "NDArray[np.float32]", channel: int | None) -> int | str:
    """Index of the channel to take, or a sentence on why it cannot be told. `frames`: (n, channels), of full scale."""
    channels = frames.shape[1]
    if channel is not None and channel > channels:
        return f"it has no channel {channel}: {channels} come in. Name one of these."
    if channels == 1:
        return 0
    powers = np.mean(frames.astype(np.float64) ** 2, axis=0)
    loud = [nth for nth in range(channels) if powers[nth] > powers.max() * 10 ** (-DEAD_DB / 10)]
    if channel is not None:
        if channel - 1 in loud:
            return channel - 1
        live = loud[0] + 1
        return (
            f"its channel {channel} is dead, while {live} has sound. Name channel {live}, or mend the plug."
        )
    if len(loud) < channels:
        return loud[0]
    first = frames[:, 0]
    if all(_alike(first, frames[:, nth]) for nth in loud[1:]):
        return 0
    return (
        "its channels carry different sound. Say which is this receiver's: channel: 1 in the station file, or "
        "--channel 1."
    )


def _alike(one: "NDArray[np.float32]", other: "NDArray[np.float32]") -> bool:
    return float(np.corrcoef(one, other)[0, 1]) > ALIKE


def holes(samples: "NDArray[np.float32]", rate_hz: float) -> "NDArray[np.int64]":
    """Runs of zeros of `HOLE_S` and more: (first, end) of each, shape (holes, 2)."""
    zero = np.concatenate([[False], samples == 0.0, [False]])
    edges = np.flatnonzero(zero[1:] != zero[:-1]).reshape(-1, 2)
    found: NDArray[np.int64] = edges[edges[:, 1] - edges[:, 0] >= HOLE_S * rate_hz]
    return found
