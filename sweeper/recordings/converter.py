"""The steps of the converter that a recording came through, told from its samples and not from its format.

Samples of eight bits may lie in a file of sixteen. What steps add to noise is white (Widrow 1956: uniform within a
step where the signal moves by half a step or more, so step²/12 of power) and stands on both routes alike, which takes
from the difference of a quiet noise floor and adds to S/N.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from drivers.samples.full_scale import hardly_moves

if TYPE_CHECKING:
    from drivers.samples.file import Recording

STRETCHES, STRETCH = 8, 1 << 14
WHOLE = 0.02
"""Of a step: how far values may lie off whole numbers of steps. Single precision rounds by less."""
FINEST = 2.0**-23
"""Of full scale: what single precision cannot tell from any number."""


@dataclass(frozen=True, slots=True)
class Converter:
    """`step_noise`: power that steps add; `moving`: least power of a stretch of the recording; both of full scale."""

    step_noise: float
    moving: float

    @property
    def hardly_moved(self) -> bool:
        """Whether samples move by less than half a step somewhere."""
        return hardly_moves(self.moving, self.step_noise)


def converter_of(recording: "Recording") -> Converter:
    """From stretches spread over the recording. `RecordingError` as reading it raises."""
    steps: list[float] = []
    powers: list[float] = []
    for first in np.linspace(0, max(recording.frames - STRETCH, 0), STRETCHES).astype(int):
        parts = [_parts(block.samples) for _, block in recording.blocks(int(first), int(first) + STRETCH)]
        values = np.concatenate(parts) if parts else np.zeros((0, 1))
        if len(values) and float(power := values.var(axis=0).sum()) > 0.0:
            powers.append(float(power))
            steps.append(max(step_of(values[:, nth]) for nth in range(values.shape[1])))
    if not steps or min(steps) <= 0.0:
        return Converter(0.0, min(powers, default=0.0))
    parts_each = 1 if recording.real else 2
    return Converter(parts_each * min(steps) ** 2 / 12.0, min(powers))


def step_of(values: NDArray[np.float64]) -> float:
    """The step of which all values are whole numbers apart; 0 where there is none, or nothing moves."""
    distinct = np.unique(values)
    if len(distinct) < 2:
        return 0.0
    step = float(np.diff(distinct).min())
    if step < FINEST:
        return 0.0
    whole = (distinct - distinct[0]) / step
    return step if float(np.abs(whole - np.round(whole)).max()) < WHOLE else 0.0


def _parts(samples: NDArray[Any]) -> NDArray[np.float64]:
    """Shape (samples, 1) of audio, (samples, 2) of samples of a band."""
    real = samples.view(np.float32) if np.iscomplexobj(samples) else samples
    return real.astype(np.float64).reshape(len(samples), -1)
