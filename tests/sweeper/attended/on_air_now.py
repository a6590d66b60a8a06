"""A receiver heard now: what a planted station would play, at a clock's pace, through the path its switch stands at.

Each path is rendered by itself from the same draws, so that fading goes on as it would while the switch moves; a gain
control stands behind the switch, and has to settle anew after each change.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from drivers.contracts import Block
from sweeper.clock import Clock
from sweeper.simulation.recordings import Planted, Stay, render
from sweeper.simulation.recordings.gain_control import GainControl
from sweeper.simulation.recordings.rendering import noise_density
from sweeper.words import ANTENNA_BYPASS, SignalPath

START = datetime(2026, 3, 1, 17, tzinfo=UTC)


def _gain_control(planted: Planted, density: float) -> GainControl | None:
    """What the receiver turns its gain down with, from the noise of bypass on, of that density."""
    receiving = planted.receiving
    if receiving.agc is None:
        return None
    noise = float(np.sqrt(density * (receiving.high_hz - receiving.low_hz)))
    return GainControl(receiving.agc, planted.rate_hz, noise * 10 ** (receiving.agc.threshold_db / 20))


class PlantedSound:
    """A switch and a source of samples in one. `late_s`: how late the sound comes, with bounds that say so."""

    def __init__(self, planted: Planted, clock: Clock, late_s: float = 0.05) -> None:
        self._planted = replace(planted, receiving=replace(planted.receiving, agc=None))
        self._clock, self._late_s = clock, late_s
        self._control = _gain_control(planted, noise_density(self._planted, ANTENNA_BYPASS))
        self._began_s = clock.monotonic()
        self._paths: dict[str, tuple[Iterator[NDArray[np.float32]], list[NDArray[np.float32]]]] = {}
        self._moves: list[tuple[float, str]] = [(-np.inf, "antenna-bypass")]
        self._taken = 0
        self.moved: list[str] = []
        self.closed = False
        self.fails_at_s: float | None = None
        self.fault: Exception = RuntimeError("unplugged")

    # a switch

    def identify(self) -> str:
        return "planted"

    def select(self, path: str) -> int:
        self.moved.append(path)
        self._moves.append((self._clock.monotonic() - self._began_s, path))
        return 1

    def selected(self) -> str | None:
        return self._moves[-1][1]

    # a source

    def take(self, seconds: float, after_s: float) -> Block:
        if self.fails_at_s is not None and self._clock.monotonic() - self._began_s > self.fails_at_s:
            raise self.fault
        rate = self._planted.rate_hz
        first = max(int(np.ceil((after_s - self._began_s) * rate - 1e-6)), self._taken)
        count = round(seconds * rate)
        gaps = (0,) if first > self._taken or not first else ()
        self._taken = first + count
        wait_s = self._began_s + (first + count) / rate + self._late_s - self._clock.monotonic()
        self._clock.sleep(max(wait_s, 0.0))
        times = (first + np.arange(count)) / rate
        moves = np.array([at_s for at_s, _ in self._moves])
        which = np.searchsorted(moves, times, side="right") - 1
        samples = np.zeros(count, np.float32)
        for nth in np.unique(which):
            here = which == nth
            samples[here] = self._through(self._moves[nth][1], first, count)[here]
        if self._control is not None:
            samples = self._control.take(samples.astype(np.complex64)).real
        clipped = float(np.mean(np.abs(samples) >= 1.0))
        captured = self._began_s + first / rate, self._began_s + (first + count) / rate
        return Block(np.clip(samples, -1.0, 1.0), float(rate), captured, gaps, clipped=clipped)

    def unknown(self) -> tuple[str, ...]:
        return ()

    def close(self) -> None:
        self.closed = True

    def _through(self, path: str, first: int, count: int) -> NDArray[np.float32]:
        if path not in self._paths:
            stood = replace(self._planted, stays=(Stay(0.0, SignalPath.parse(path)),))
            self._paths[path] = (iter(render(stood)), [])
        made, blocks = self._paths[path]
        rate = self._planted.rate_hz
        while len(blocks) * rate < first + count:
            blocks.append(np.asarray(next(made), np.float32))
        begin, end = first // rate, (first + count - 1) // rate + 1
        joined = np.concatenate(blocks[begin:end])
        return joined[first - begin * rate : first - begin * rate + count]
