"""What a drawn campaign is to be like: its bands, its nights, its meter and its mishaps. Values only."""

import math
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
ROOM_K = 290.0


@dataclass(frozen=True)
class BandTruth:
    """One band: what is true of its noise and of the stage there.

    `rise_db` is the median noise rise in bypass: one number for all hours, or one an hour. In `overloaded_hours`
    products of the stage lift its noise by `products_db` in the median, following the strong carrier of the band
    with the given order, and its gain gives way by `compression_db`.
    """

    name: str
    rise_db: float | tuple[float, ...]
    gain_db: float = 15.0
    stage_noise_figure_db: float = 3.0
    receiver_noise_figure_db: float = 15.0
    noise_channels: int = 2
    carrier_over_noise_db: tuple[float, ...] = (25.0,)
    overloaded_hours: tuple[int, ...] = ()
    products_db: float = 6.0
    products_order: int = 3
    compression_db: float = 0.0
    channel_gains_db: tuple[float, ...] = ()
    """What the stage's gain on each noise channel has over `gain_db`, which carriers have; nothing: all alike."""


@dataclass(frozen=True)
class Course:
    """What a campaign is like: its length, its rhythm, its nights, its meter and its mishaps."""

    bands: tuple[BandTruth, ...]
    nights: int = 10
    hours: tuple[int, ...] = (18, 19, 20, 21, 22, 23, 0, 1)
    passes_per_hour: int = 4
    readings: int = 8
    first_night: date = date(2026, 1, 10)
    bandwidth_hz: int = 2400
    averaging_s: float = 0.02
    settle_s: float = 0.15
    interval_s: float = 0.05
    step_db: float = 1.0
    floor_db: float = -60.0
    top_db: float = 60.0
    bend: tuple[tuple[float, float], ...] = ()
    """(level, shown) pairs in dB over S9, rising, of a meter whose decibels are none; empty: they are."""
    detector: str = "rms"
    """What the meter shows of a reading: ``rms``, ``log-average``, or ``quasi-peak``, which rises at once and falls
    by 43 % in a reading."""
    night_sd_db: float = 3.0
    """Standard deviation of external noise from night to night."""
    night_persistence: float = 0.0
    """Correlation of one night's noise with the next one's: weather in spells, autoregression of first order."""
    trend_db_per_night: float = 0.0
    """External noise rises by so much every night; the middle night has the median."""
    loud_share: float = 0.0
    """Share of nights on which external noise is higher by `loud_db` on all bands."""
    loud_db: float = 12.0
    shared_by_bands: float = 0.5
    """Share of that variance which all bands have in common."""
    drift_sd_db: float = 1.0
    """Standard deviation of slow drift within a night; its waves last 20 minutes to 4 hours."""
    load_every: int = 4
    """Load paths in every so many passes; 0: no load."""
    carrier_steadiness: float = 2.0
    """Rice's K of fading carriers."""
    carrier_doppler_hz: float | None = None
    """Maximum Doppler shift of carriers that fade as Clarke found; None: smooth fades of 4 to 90 seconds."""
    edges: int | None = None
    """Carriers that get changes of route of their own while the dial stays, in each pass, beside those between the
    paths, which go there and back through the channels; None: paths go through the channels one way, without any."""
    carrier_night_sd_db: float = 2.0
    carriers_absent: float = 0.1
    """Share of hours without the carrier."""
    crashes_per_s: float = 0.2
    crash_over_noise: float = 100.0
    occupied: float = 0.03
    """Share of ten-minute slots in which a noise channel is not empty."""
    missing: float = 0.05
    """Share of passes that did not happen."""
    nights_lost: float = 0.0
    """Share of nights without any pass."""
    fix_at_night: int | None = None
    """From this night (counted from 0) on, external noise is lower by `fix_db`."""
    fix_db: float = 0.0
    fix_bands: tuple[str, ...] | None = None
    """The bands that it reaches; None: all."""
    load_drift_sd_db: float = 0.0
    """Standard deviation from night to night of the receiver's gain, which every path shares."""
    gain_step_at_night: int | None = None
    """From this night (counted from 0) on, the stage's gain is other by `gain_step_db`: a contact, a wet plug."""
    gain_step_db: float = 0.0
    gain_by_hour_db: tuple[float, ...] = ()
    """What the stage's gain has over `BandTruth.gain_db` at each of the hours, every night: warmth, a supply that sags.
    Nothing: the same at all."""
    agc_db_per_db: float = 0.0
    """How far the stage takes its gain back for each dB of external noise over the median."""
    agc_on_carriers: bool = False
    """Whether it does so for the carrier that it is tuned to as well, over the same median."""
    leak_db: float | None = None
    """Leak across the stage's relays either way, in the route's own power; None: none."""
    resident_over_noise_db: float | None = None
    """A carrier that stays on the first noise channel of every band, over noise in bypass; None: none."""
    resident_fades: bool = False
    resident_hours: tuple[int, ...] | None = None
    """Its hours; None: all."""

    @property
    def leak(self) -> float:
        """The relays' leak as a power ratio."""
        return 0.0 if self.leak_db is None else math.pow(10.0, self.leak_db / 10.0)


@dataclass(frozen=True)
class CampaignMeter:
    """How the campaign's meter reads: dB over S9, uncalibrated."""

    unit: str
    step_db: float
    floor: float
    top: float
    averaging_s: float
    detector: str = "rms"


@dataclass(frozen=True)
class Kelvins:
    """A band's hardware as temperatures and a power gain."""

    gain: float
    stage_k: float
    receiver_k: float

    @classmethod
    def of(cls, band: BandTruth) -> "Kelvins":
        return cls(
            gain=math.pow(10.0, band.gain_db / 10.0),
            stage_k=ROOM_K * (math.pow(10.0, band.stage_noise_figure_db / 10.0) - 1.0),
            receiver_k=ROOM_K * (math.pow(10.0, band.receiver_noise_figure_db / 10.0) - 1.0),
        )

    def external(self, rise_db: Floats) -> Floats:
        """External noise that stands so far above a load at room temperature, K."""
        return np.asarray(10.0 ** (rise_db / 10.0) * (ROOM_K + self.receiver_k) - self.receiver_k)

    def changes_db(
        self, external_k: Floats, products_k: Floats, compression: Floats | float, leak: float = 0.0
    ) -> tuple[Floats, Floats]:
        """What the stage does to signal-to-noise ratio, and the noise rise in bypass, dB, between routes that leak."""
        gain = self.gain * compression
        staged_k, direct_k = gain * (external_k + self.stage_k), external_k
        bypass_k = direct_k + leak * staged_k + self.receiver_k
        stage_k = staged_k + leak * direct_k + self.receiver_k + products_k
        signal_to_noise = (gain + leak) / stage_k * bypass_k / (1.0 + leak * gain)
        return 10.0 * np.log10(signal_to_noise), 10.0 * np.log10(bypass_k / (ROOM_K + self.receiver_k))
