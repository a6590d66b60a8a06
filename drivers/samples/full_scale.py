"""What no converter gives, whatever it converts: samples that are no numbers, or far beyond full scale."""

from typing import TYPE_CHECKING

import numpy as np

from drivers.errors import BadReply

if TYPE_CHECKING:
    from numpy.typing import NDArray

FAR_BEYOND_FULL_SCALE = 1000.0


def check_samples(samples: "NDArray[np.complex64] | NDArray[np.float32]", part: str) -> None:
    """BadReply for such samples; full scale is 1."""
    parts = samples.view(np.float32) if np.iscomplexobj(samples) else samples
    if not float(np.abs(parts).max(initial=0.0)) < FAR_BEYOND_FULL_SCALE:
        raise BadReply(part, "its samples are no numbers that a converter gives.", "Unplug it and try again.")
