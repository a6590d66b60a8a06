"""What has been heard since the test began: short spectra with the bounds of their capture. No clock, no source."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sweeper.attended.levels import Floats, Levels, on_a_grid
from sweeper.attended.stays import Stay
from sweeper.spectra.axis import Axis, axis_of
from sweeper.spectra.noise_bins import floor_and_total, in_pass_band
from sweeper.spectra.welch import Frame, Welch, spectrum_of
from sweeper.words import Labelled, SignalPath, Spectrum

if TYPE_CHECKING:
    from drivers.contracts import Block

AUDIO_HZ = (100.0, 5000.0)
SAMPLED_SHARE = 0.47
A_LEVEL = 4
"""Segments of a level, 64 ms: short enough to place a step in time."""
A_SPECTRUM = 2
"""Levels of a spectrum, 0.13 s: short enough for an AGC to hold still."""
BLOCK_S = 0.15
"""So often the switch and the keys are looked at."""
EDGE_S = 0.85
"""So much beside each change is compared; the rest of a stay is for the eye."""
LOW_IN_TIME = 0.2
PROFILE_S = 2.0
"""From so much sound on the pass band is known well enough."""


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """Mean spectrum of one path, for the eye: frequencies in hertz and linear power of full scale, shape (bins,)."""

    hz: Floats
    power: Floats


class Heard:
    """Takes blocks as they come. `dial_hz`, `mode`: what makes radio frequencies of audio, None where unknown."""

    def __init__(self, dial_hz: float | None = None, mode: str | None = None) -> None:
        self._dial_hz, self._mode = dial_hz, mode
        self._welch: Welch | None = None
        self._next = 0
        self._blocks: list[tuple[int, int, float, float]] = []
        self._count = 0
        self._table: NDArray[np.float32] = np.zeros((0, 0), np.float32)
        self._beside: Floats = np.zeros((0, 4))
        self._powers: Floats = np.zeros((2, 0))
        self._pass_band: NDArray[np.bool_] | None = None
        self.axis: Axis | None = None
        self.seconds = self.silent_s = self.clipped_s = 0.0
        self.until_s = 0.0

    def take(self, block: "Block") -> None:
        """Add a block. ValueError when its rate or kind is another than that of those before."""
        if self.axis is None:
            self.axis = _axis(block, self._dial_hz, self._mode)
            self._welch = Welch(self.axis, A_LEVEL)
        real = not np.iscomplexobj(block.samples)
        if block.rate_hz != self.axis.rate_hz or real != self.axis.real:
            raise ValueError("the source changed its rate while it was heard")
        count, seconds = len(block.samples), len(block.samples) / block.rate_hz
        self.seconds += seconds
        self.until_s = block.captured[1]
        self.clipped_s += block.clipped * seconds
        if not count or not np.any(block.samples):
            self.silent_s += seconds
        first, self._next = self._next, self._next + count
        self._blocks = [*self._blocks[-8:], (first, count, *block.captured)]
        assert self._welch is not None
        for frame in self._welch.feed(block, first):
            self._keep(frame)

    def _keep(self, frame: Frame) -> None:
        if self._count == len(self._table):
            size = max(2 * self._count, 1024)
            self._table = np.resize(self._table, (size, len(frame.mean)))
            self._beside = np.resize(self._beside, (size, 4))
        self._table[self._count] = frame.mean
        bounds = self._bound(frame.first, 0), self._bound(frame.last, 1)
        self._beside[self._count] = (*bounds, frame.segments, frame.clipped)
        self._count += 1

    @property
    def _rows(self) -> NDArray[np.float32]:
        """Powers, shape (levels, bins)."""
        return self._table[: self._count]

    @property
    def _bounds(self) -> Floats:
        """Within which each was captured, shape (levels, 2)."""
        return self._beside[: self._count, :2]

    def _bound(self, index: int, end: int) -> float:
        """The earliest (0) or latest (1) instant at which a sample may have been captured."""
        assert self.axis is not None
        first, count, begins_s, ends_s = next(
            (each for each in reversed(self._blocks) if each[0] <= index - end), self._blocks[0]
        )
        if end:
            return ends_s - (first + count - index) / self.axis.rate_hz
        return begins_s + (index - first) / self.axis.rate_hz

    @property
    def pass_band(self) -> NDArray[np.bool_]:
        """Bins within the receiver's pass band, as far as it is known; shape (bins,)."""
        if self._pass_band is None and self._count * self._every_s() >= PROFILE_S:
            found = in_pass_band(np.quantile(self._rows, LOW_IN_TIME, axis=0).astype(np.float64))
            self._pass_band = found if found.any() else np.ones(len(found), np.bool_)
            self._powers = np.zeros((2, 0))
        if self._pass_band is None:
            return np.ones(self._table.shape[1], np.bool_)
        return self._pass_band

    @property
    def knows_pass_band(self) -> bool:
        """Whether enough was heard to know it."""
        return bool(self.pass_band.any()) and self._pass_band is not None

    def _every_s(self) -> float:
        axis = self.axis
        return 0.064 if axis is None else A_LEVEL * (axis.length // 2) / axis.rate_hz

    def levels(self) -> Levels:
        """Of all that was heard."""
        inside = self.pass_band
        known = self._powers.shape[1]
        if known < self._count:
            more = np.array(floor_and_total(self._rows[known:, inside]), np.float64)
            self._powers = np.concatenate([self._powers, more], axis=1)
        return on_a_grid(self._bounds.mean(axis=1), self._every_s(), *self._powers)

    def labelled(self, stays: Sequence[Stay]) -> list[Labelled]:
        """Spectra beside every change, those that may reach over one left out."""
        bounds = self._bounds
        found: list[Labelled] = []
        for stay in stays:
            inside = np.flatnonzero((bounds[:, 0] >= stay.from_s) & (bounds[:, 1] <= stay.until_s))
            if not len(inside):
                continue
            near = (bounds[inside, 1] <= bounds[inside[0], 0] + EDGE_S) | (
                bounds[inside, 0] >= bounds[inside[-1], 1] - EDGE_S
            )
            found += self._joined(inside[near], stay.path)
        return found

    def _joined(self, places: NDArray[np.int64], path: SignalPath) -> list[Labelled]:
        assert self.axis is not None
        found = []
        for begin in range(0, len(places) - A_SPECTRUM + 1, A_SPECTRUM):
            these = places[begin : begin + A_SPECTRUM]
            if these[-1] - these[0] != A_SPECTRUM - 1:
                continue  # the last of one end of a stay, the first of the other
            share, clipped = self._beside[these, 2], float(self._beside[these, 3].max())
            mean = np.average(self._rows[these], axis=0, weights=share).astype(np.float32)
            frame = Frame(0, 0, int(share.sum()), mean, clipped)
            bounds = float(self._bounds[these[0], 0]), float(self._bounds[these[-1], 1])
            found.append(Labelled(*bounds, path, None, spectrum_of(frame, self.axis)))
        return found

    def shown(self, stays: Sequence[Stay], path: SignalPath | None, latest_s: float = 60.0) -> Shown | None:
        """Mean over a path, of the last while; None: whatever path. None where nothing was heard through it."""
        bounds = self._bounds
        taken = np.zeros(len(bounds), np.bool_) if path is not None else np.ones(len(bounds), np.bool_)
        for stay in stays if path is not None else ():
            if stay.path == path:
                taken |= (bounds[:, 0] >= stay.from_s) & (bounds[:, 1] <= stay.until_s)
        taken &= bounds[:, 1] > self.until_s - latest_s
        if self.axis is None or not taken.any():
            return None
        rows = self._rows[taken]
        hz = self.axis.start_hz + self.axis.step_hz * np.arange(rows.shape[1])
        return Shown(hz.astype(np.float64), rows.mean(axis=0).astype(np.float64))

    def spectrum(self) -> Spectrum | None:
        """Mean of everything, None before anything came."""
        if self.axis is None or not self._count:
            return None
        mean = np.mean(self._rows, axis=0).astype(np.float32)
        return spectrum_of(Frame(0, 0, int(self._beside[: self._count, 2].sum()), mean, 0.0), self.axis)


def _axis(block: "Block", dial_hz: float | None, mode: str | None) -> Axis:
    rate_hz = block.rate_hz
    if np.iscomplexobj(block.samples):
        width = SAMPLED_SHARE * rate_hz
        return axis_of(rate_hz, real=False, centre_hz=dial_hz or 0.0, band_hz=(-width, width))
    inverted = mode is not None and mode.upper() == "LSB" and dial_hz is not None
    band_hz = (AUDIO_HZ[0], min(AUDIO_HZ[1], 0.46 * rate_hz))
    return axis_of(rate_hz, real=True, centre_hz=dial_hz or 0.0, inverted=inverted, band_hz=band_hz)
