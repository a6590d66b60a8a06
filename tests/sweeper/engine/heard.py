"""A source of samples on a simulated bench, at the pace of whatever clock the bench lives on."""

import numpy as np

from drivers.contracts import Block
from sweeper.clock import Clock
from sweeper.simulation.receivers.audio import TAPS, Hearing


class Heard:
    """Fulfils `drivers.contracts.SampleSource`: time passes while it listens, and the bench is heard as it stands."""

    def __init__(self, hearing: Hearing, clock: Clock) -> None:
        self._hearing, self._clock = hearing, clock
        self.took: list[tuple[float, float]] = []
        self.moving: tuple[str, ...] = ()

    def take(self, seconds: float, after_s: float) -> Block:
        self._clock.sleep(max(after_s - self._clock.monotonic(), 0.0))
        for _ in range(TAPS // self._hearing.block + 2):
            self._hearing.next()  # what the filter still holds of before
        began_s, parts = self._clock.monotonic(), []
        while sum(map(len, parts)) < seconds * self._hearing.rate_hz:
            parts.append(self._hearing.next())
        self._clock.sleep(seconds)
        self.took.append((began_s, self._clock.monotonic()))
        samples = np.concatenate(parts)
        clipped = float(np.mean(np.abs(samples) >= 0.9999))
        return Block(
            samples, float(self._hearing.rate_hz), (began_s, self._clock.monotonic()), (0,), False, clipped
        )

    def unknown(self) -> tuple[str, ...]:
        return self.moving

    def close(self) -> None:
        pass
