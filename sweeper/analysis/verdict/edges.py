"""How far from the worthwhile change a measured one must lie, when the meter's decibels need not be decibels.

A scale of slope s shows the S/N change s times. A verdict must hold for every slope that the readings leave open.
"""

from dataclasses import dataclass

import numpy as np

from sweeper.analysis.band.gain import Gain
from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.meter.slope import HONEST, Slope
from sweeper.analysis.physics.friis import snr_lost_db
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.thresholds import REAL_SLOPES


@dataclass(frozen=True, slots=True)
class Edges:
    """The slope of the scale where noise lies, and by how much the gain may be `less_db` and `more_db` than it read.

    Carriers stand higher on the scale than noise: a gain by carriers on a meter without calibration is known by the
    slopes of real meters only.
    """

    slope: Slope = HONEST
    less_db: float = 0.0
    more_db: float = 0.0

    @property
    def honest(self) -> bool:
        return self.slope.honest and self.less_db == self.more_db == 0.0

    def stage(self, worthwhile_db: float) -> float:
        """A change above improves by more than `worthwhile_db` whatever the scale."""
        return worthwhile_db * self.slope.high + self.less_db

    def bypass(self, worthwhile_db: float) -> float:
        """A change below costs more."""
        return -worthwhile_db * self.slope.high - self.more_db

    def either(self, worthwhile_db: float) -> tuple[float, float]:
        """A change between them makes no difference; the first above the second: none can be told to."""
        least = worthwhile_db * self.slope.low
        return -least + self.less_db, least - self.more_db

    def limit(self, worthwhile_db: float) -> float:
        """The same for what the noise rise leaves to a stage: a rise reads s times, and the limit follows its curve."""
        if self.slope.honest:
            return worthwhile_db
        rise_db = -10 * np.log10(1 - 10 ** (-worthwhile_db / 10))  # L(Y) is its own inverse
        return float(snr_lost_db(np.array([rise_db * self.slope.high]))[0])

    def widened(self, interval: Interval | None) -> Interval | None:
        """The interval of the true change, whatever the scale."""
        if interval is None or self.honest:
            return interval
        low, high = interval.low - self.less_db, interval.high + self.more_db
        slope = self.slope
        return Interval(
            interval.value,
            low / (slope.high if low > 0 else slope.low),
            high / (slope.low if high > 0 else slope.high),
        )


PLAIN = Edges()


def edges_of(slope: Slope, gain: Gain | None, meter: MeterFacts) -> Edges:
    """The edges for a band with this slope and gain."""
    if gain is None or meter.calibrated or gain.source != "carriers":
        return Edges(slope)
    ends = [gain.gain_db / each - gain.gain_db for each in REAL_SLOPES]
    return Edges(slope, max(0.0, -min(ends)), max(0.0, max(ends)))
