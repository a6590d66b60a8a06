"""Which frequency each bin of a spectrum stands for. Numbers only."""

from dataclasses import dataclass
from math import ceil, floor

STEP_HZ = 31.25
"""With 250 Hz a line is ±1 kHz wide, and channels 5 kHz apart leave no noise between them."""


@dataclass(frozen=True, slots=True)
class Axis:
    """Bins of the spectra of one tuning.

    `rate_hz` samples a second; `length` samples a segment; `real`: audio (0 to half the rate), else samples of a band
    (half the rate to both sides of the centre). `centre_hz`: the radio frequency of 0 Hz, 0 where unknown.
    `inverted`: lower side band, where radio frequency falls as audio frequency rises. Bins outside `band_hz` (relative
    to the centre, as sampled) are not kept.
    """

    rate_hz: float
    length: int
    real: bool
    centre_hz: float = 0.0
    inverted: bool = False
    band_hz: tuple[float, float] | None = None

    @property
    def step_hz(self) -> float:
        return self.rate_hz / self.length

    @property
    def bins(self) -> tuple[int, int]:
        """First and last bin kept, counted from 0 Hz, the last one excluded."""
        lowest, highest = (
            (0, self.length // 2 + 1) if self.real else (-(self.length // 2), (self.length + 1) // 2)
        )
        if self.band_hz is None:
            return lowest, highest
        first, last = ceil(self.band_hz[0] / self.step_hz), floor(self.band_hz[1] / self.step_hz)
        return max(first, lowest), min(last + 1, highest)

    @property
    def start_hz(self) -> float:
        """Radio frequency of the first bin of a spectrum."""
        first, end = self.bins
        return (
            self.centre_hz - (end - 1) * self.step_hz
            if self.inverted
            else self.centre_hz + first * self.step_hz
        )


def axis_of(
    rate_hz: float,
    *,
    real: bool,
    centre_hz: float = 0.0,
    inverted: bool = False,
    band_hz: tuple[float, float] | None = None,
    step_hz: float = STEP_HZ,
) -> Axis:
    """The axis with the coarsest step up to `step_hz` whose segments are even and quick to transform."""
    half = quick_length(max(ceil(rate_hz / step_hz / 2), 8))
    return Axis(rate_hz, 2 * half, real, centre_hz, inverted, band_hz)


def quick_length(least: int) -> int:
    """The smallest number from `least` on without a prime factor over 5: quick to transform."""
    while True:
        rest = least
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return least
        least += 1
