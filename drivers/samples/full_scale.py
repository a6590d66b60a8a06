"""What no converter gives, whatever it converts: samples that are no numbers, far beyond full scale, or that tell no
level since they hardly move."""

from typing import TYPE_CHECKING

import numpy as np

from drivers.errors import BadReply

if TYPE_CHECKING:
    from numpy.typing import NDArray

FAR_BEYOND_FULL_SCALE = 1000.0
LEAST_STEPS = 3.0
"""Power of the samples, over that of the converter's steps alone, that half a step rms has: less tells no level (a true
step of 1 dB reads 0.7 dB there)."""


def hardly_moves(power: float, step_noise: float) -> bool:
    """Whether samples of so much power move by less than half a step rms. `step_noise`: what the steps alone add."""
    return power - step_noise < LEAST_STEPS * step_noise


def check_samples(samples: "NDArray[np.complex64] | NDArray[np.float32]", part: str) -> None:
    """BadReply for such samples; full scale is 1."""
    parts = samples.view(np.float32) if np.iscomplexobj(samples) else samples
    if not float(np.abs(parts).max(initial=0.0)) < FAR_BEYOND_FULL_SCALE:
        raise BadReply(part, "its samples are no numbers that a converter gives.", "Unplug it and try again.")
