"""What all receivers that deliver samples of a band share: one narrow channel of it read as a meter would."""

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

import numpy as np
from pydantic import Field

from drivers.contracts import Block
from drivers.errors import BadReply, Refused
from drivers.protocols.band_power import is_clipped, pass_band_hz, power_in_band
from drivers.samples.full_scale import check_samples

if TYPE_CHECKING:
    from numpy.typing import NDArray

PART = "receiver"
FOLDS_HZ = 14_400_000
"""Half of the RTL2832U's 28.8 MHz: sampled directly, what lies above comes out below it (data sheet, from memory)."""

Decibel = Annotated[float, Field(ge=-200, le=200, allow_inf_nan=False)]
Gain = Decibel | dict[Annotated[int, Field(ge=0, le=3_000_000_000)], Decibel]
"""In dB, or by frequency: {0: 10, 5000000: 30} is 10 dB from 0 Hz and 30 dB from 5 MHz on."""


def gain_at(gain: Gain | None, hz: int) -> float | None:
    """The gain that belongs to a frequency; None where none was told."""
    if not isinstance(gain, Mapping):
        return gain
    from_hz = max((each for each in gain if each <= hz), default=None)
    return None if from_hz is None else gain[from_hz]


def check_fits(mode: str, bandwidth_hz: int, offset_hz: int, rate_hz: int) -> None:
    """`Refused` where a pass band does not lie within the samples."""
    low_hz, high_hz = pass_band_hz(mode, bandwidth_hz)
    if max(abs(low_hz - offset_hz), abs(high_hz - offset_hz)) >= rate_hz / 2:
        raise Refused(
            PART,
            f"{bandwidth_hz} Hz at an offset of {offset_hz} Hz do not fit into its samples.",
            "Raise sample_rate_hz.",
        )


def check_moving(block: Block) -> None:
    """BadReply for samples that stand still for a while: a mean over them would read too low, or too high."""
    if block.pauses():
        raise BadReply(PART, "its samples stood still for a while.", "Does its receiver hang?")


def level_db(
    samples: "NDArray[np.complex64]",
    rate_hz: float,
    mode: str,
    bandwidth_hz: int,
    offset_hz: int,
    clipped: bool | None = None,
) -> float:
    """Mean power in the pass band, in dB of full scale; one that clipped reads at least 0. BadReply for no samples.

    `clipped`: where the source tells; None to see it in the samples.
    """
    check_samples(samples, PART)
    low_hz, high_hz = pass_band_hz(mode, bandwidth_hz)
    power = power_in_band(samples, rate_hz, low_hz - offset_hz, high_hz - offset_hz)
    if not power > 0.0 or not math.isfinite(power):
        raise BadReply(PART, "its samples are all zero.", "Is the antenna port the right one?")
    read_db = 10.0 * math.log10(power)
    return max(read_db, 0.0) if (is_clipped(samples) if clipped is None else clipped) else read_db
