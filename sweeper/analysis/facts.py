"""What the analysis needs to know of a station: plain values, so that the analysis needs no station file."""

from dataclasses import dataclass
from typing import Literal

from sweeper.words import Channel

Environment = Literal["city", "residential", "rural", "quiet-rural"]
MeterUnit = Literal["dB-over-S9", "dBm", "raw"]
Detector = Literal["rms", "log-average", "peak", "unknown"]


@dataclass(frozen=True, slots=True)
class MeterFacts:
    """How the meter reads. Levels in the meter's own dB; `averaging_s` is what one reading averages over."""

    unit: MeterUnit
    calibrated: bool
    step_db: float | None = None
    floor: float | None = None
    top: float | None = None
    averaging_s: float | None = None
    detector: Detector = "unknown"
    uncertainty_db: float = 0.5
    noise_bandwidth_hz: float | None = None
    """Noise bandwidth of the receiver's mode; None takes the pass band for it."""
    curve: tuple[tuple[float, float], ...] = ()
    """(reading, dBm) pairs of the present calibration, rising; for readings that were stored without dBm."""
    by_table: bool = False
    """Whether the curve is somebody's table for the model: readings go along it, and it is tested like any scale."""
    linear: bool = False
    """Whether its decibels are decibels though not dBm: powers of samples behind a linear detector."""

    @property
    def in_dbm(self) -> bool:
        """Whether levels are in dBm that something measured."""
        return self.calibrated and not self.by_table


@dataclass(frozen=True, slots=True)
class Products:
    """Lines of a band, in hertz, that stand with the stage in only, and the hours (UTC) in which they do."""

    band: str
    hz: tuple[float, ...]
    hours_utc: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class StationFacts:
    """A station as the analysis sees it. Degrees north and east; gains and noise figures in dB."""

    name: str
    latitude: float
    longitude: float
    environment: Environment
    channels: tuple[Channel, ...]
    meter: MeterFacts
    rated_gain_db: float | None
    rated_noise_figure_db: float | None
    source_enr_db: float | None
    worthwhile_db: float
    confidence: float
    fingerprint: str
    """Changes whenever anything above or in the station file changes that the summaries depend on."""
    timezone: str = "UTC"
    """IANA name of the listener's zone, for hours as the kitchen clock shows them."""
    products: tuple[Products, ...] = ()
    """What spectra show beside the readings: products of overload."""
