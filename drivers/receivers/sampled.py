"""What all receivers that deliver samples of a band share: one narrow channel of it read as a meter would."""

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

import numpy as np
from pydantic import Field

from drivers.contracts import Block
from drivers.errors import BadReply, Refused
from drivers.protocols.band_power import is_clipped, pass_band_hz, power_in_band
from drivers.samples.full_scale import check_samples, hardly_moves

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


def reading_db(
    block: Block, mode: str, bandwidth_hz: int, offset_hz: int, clipped: bool | None = None
) -> float:
    """`level_db` of a block, without what the converter's steps put into the pass band, of which at most half is taken
    off: what is left then is a bound. BadReply for samples that hardly move, or stand still for a while.
    """
    samples = np.asarray(block.samples, np.complex64)
    is_cut = is_clipped(samples) if clipped is None else clipped
    read_db = level_db(samples, block.rate_hz, mode, bandwidth_hz, offset_hz, is_cut)
    if hardly_moves(block.moving_power(), block.step_noise):
        raise BadReply(
            PART,
            "its samples hardly move: by less than half a step of its converter.",
            "Raise gain_db. Is the antenna port the right one?",
        )
    if block.pauses():
        raise BadReply(PART, "its samples stood still for a while.", "Does its receiver hang?")
    if is_cut:
        return read_db
    power, steps = 10.0 ** (read_db / 10.0), block.step_noise * bandwidth_hz / block.rate_hz
    return 10.0 * math.log10(max(power - steps, power / 2.0))


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
