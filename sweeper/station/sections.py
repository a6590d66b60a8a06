"""The sections of a station file as frozen models. Keys, types and limits only; what must fit together is in `sense`.

A field's description is its mend: the sentence shown to somebody who got that key wrong.
"""

import re
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, Field, SerializeAsAny, model_validator

from sweeper import words
from sweeper.station.fields import Decibel, Hz, Name, Seconds, Section
from sweeper.station.running import MOST_WINDOWS, Analysis, Live, Notify, Plan, Store, Window
from sweeper.station.tunings import BandTuning, tunings
from sweeper.words import SignalPath, dial_beside


def _zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise ValueError(f"there is no time zone {name!r}") from None
    return name


def _one_word(mode: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9-]{1,20}", mode):
        raise ValueError("a mode is one word of up to 20 letters, digits and hyphens")
    return mode


class Place(Section):
    """``station:``: name and place, latitude and longitude in degrees, time zone, and what surrounds it."""

    name: Name = Field(
        description="Give the station a name of up to 80 characters, without slashes, not beginning with a dot."
    )
    latitude: float = Field(ge=-90, le=90, description="Degrees north, from -90 to 90.")
    longitude: float = Field(ge=-180, le=180, description="Degrees east, from -180 to 180; west is negative.")
    environment: Literal["city", "residential", "rural", "quiet-rural"] = Field(
        description="One of the categories of ITU-R P.372: city, residential, rural, quiet-rural."
    )
    timezone: Annotated[str, AfterValidator(_zone)] = Field(
        default="UTC", description="A name of the IANA time-zone database, such as Europe/Copenhagen, or UTC."
    )


class Meter(Section):
    """``receiver.meter:``: what the meter's numbers stand for; levels in dB or dBm, steps in the meter's unit."""

    unit: Literal["dB-over-S9", "dBm", "raw"] = Field(description="One of dB-over-S9, dBm, raw.")
    s9_dbm: float = Field(default=-73, ge=-150, le=0, description="S9 in dBm; -73 below 30 MHz by IARU R.1.")
    curve: tuple[tuple[float, float], ...] = Field(
        default=(),
        description="A list of [reading, dBm] pairs, from `sweeper calibrate`; leave it empty if uncalibrated.",
    )
    curve_from: Literal["calibration", "table"] = Field(
        default="calibration",
        description="One of calibration (measured here) and table (published for the model; nights test it).",
    )
    step_db: float | None = Field(default=None, gt=0, le=20, description="The meter's step in dB, above 0.")
    floor: float | None = Field(
        default=None, description="The lowest value the meter can show, in its own unit."
    )
    top: float | None = Field(
        default=None, description="The highest value the meter can show, in its own unit."
    )
    averaging_s: float | None = Field(
        default=None, gt=0, le=60, description="Seconds that one reading averages over."
    )
    detector: Literal["rms", "log-average", "peak", "unknown"] = Field(
        default="unknown", description="One of rms, log-average, peak, unknown."
    )
    uncertainty_db: float = Field(
        default=0.5, gt=0, le=20, description="Standard uncertainty of the curve in dB."
    )


class Audio(Section):
    """``receiver.audio:``, where levels are read from the receiver's sound instead of its meter."""

    device: str = Field(
        default="",
        max_length=200,
        pattern=r"^[^\x00-\x1f\x7f-\x9f]*$",
        description="The name of a sound input, or a part of it that no other has; `sweeper check` lists them.",
    )
    rate_hz: int | None = Field(
        default=None,
        ge=8_000,
        le=384_000,
        description="The input's own rate, such as 48000, or leave it out.",
    )
    channel: int | None = Field(
        default=None, ge=1, le=32, description="Which channel is the receiver's, from 1, or leave it out."
    )
    tone_hz: int = Field(
        default=1000, ge=200, le=3000, description="Where a channel's frequency is to sound, such as 1000."
    )
    seconds: float = Field(
        default=1.0, ge=0.2, le=60, description="How long each visit listens, such as 1.0."
    )
    delay_s: float = Field(
        default=0.25,
        ge=0,
        le=10,
        description="How long the sound lags behind a relay; `sweeper check` measures it.",
    )
    agc_off: bool = Field(
        default=False,
        description="true: the gain control is switched off by hand, where the program cannot do it itself.",
    )


SPECTRUM_STEP_HZ = 31.25
WELCH = 1.26
"""What the window and half overlap cost of the averaging time (`sweeper.spectra.welch`)."""


class SpectrumOf(Section):
    """``receiver.spectrum:``, where a receiver of samples is read as a whole spectrum a visit."""

    seconds: float = Field(
        default=0.5, ge=0.1, le=60, description="How long each visit samples, such as 0.5."
    )
    step_hz: float = Field(
        default=SPECTRUM_STEP_HZ,
        ge=5,
        le=SPECTRUM_STEP_HZ,
        description="Width of a bin in hertz, 31.25 or less.",
    )


class Receiver(Section):
    """``receiver:``; what only one driver knows is in `options`."""

    driver: str = Field(description="The name of a receiver driver.")
    link: str = Field(
        default="", description="Where the receiver is, such as tcp://127.0.0.1:4532 or /dev/ttyUSB0."
    )
    mode: Annotated[str, AfterValidator(_one_word)] = Field(
        description="The receiver's mode for measuring, such as USB or CW."
    )
    bandwidth_hz: int = Field(gt=0, le=10_000_000, description="The pass band in whole hertz, such as 2400.")
    noise_bandwidth_hz: float | None = Field(
        default=None,
        gt=0,
        le=10_000_000,
        description="Noise bandwidth in hertz; leave out to take bandwidth_hz.",
    )
    settle_s: Seconds = Field(description="Seconds from tuning to the first reading, such as 0.15.")
    readings: int = Field(ge=1, le=10_000, description="Readings in one visit, a whole number from 1.")
    interval_s: Seconds = Field(description="Seconds between readings, such as 0.05.")
    range_hz: tuple[Hz, Hz] | None = Field(
        default=None, description="[lowest, highest] frequency in whole hertz."
    )
    quiet_time_s: float = Field(
        default=300,
        ge=0,
        le=86_400,
        description="Seconds without a touch after which measuring goes on; such as 300.",
    )
    meter: Meter = Field(description="A section with at least `unit`.")
    audio: Audio | None = None
    spectrum: SpectrumOf | None = None
    options: SerializeAsAny[BaseModel] | None = None

    @model_validator(mode="before")
    @classmethod
    def _by_sound(cls, given: object) -> object:
        """With sound a reading is what one spectrum shows in a cell; its averaging time is that of Welch's method."""
        by = next((key for key in ("audio", "spectrum") if isinstance(given, dict) and key in given), None)
        if by is None or not isinstance(given, dict) or not isinstance(given[by], dict):
            return given
        for key in ("readings", "interval_s"):
            if key in given:
                raise ValueError(f"with {by} a visit is one spectrum; leave {key} out")
        usual = {"bandwidth_hz": 2400} if by == "audio" else {"bandwidth_hz": 2400, "mode": "USB"}
        told = {**usual, **given, "readings": 1, "interval_s": 0}
        seconds, meter = given[by].get("seconds", 1.0 if by == "audio" else 0.5), given.get("meter", {})
        if isinstance(meter, dict) and isinstance(seconds, int | float):
            averaging_s = round(max(min(seconds, 60.0) / WELCH, 0.01), 3)
            told["meter"] = {"unit": "raw", "detector": "rms", **meter, "averaging_s": averaging_s}
        return told

    @property
    def by_hand(self) -> bool:
        """Whether a person sets the dial, so that each change of it costs patience."""
        return self.driver == "dial-by-hand"

    def dial_hz(self, hz: int) -> int:
        """Where the dial stands to hear a channel: there, or with sound `tone_hz` beside it, by the side band."""
        return hz if self.audio is None else dial_beside(hz, self.mode, self.audio.tone_hz)


class Switch(Section):
    """``switch:``; what only one driver knows is in `options`, which also offers ``relays_of(path)``."""

    driver: str = Field(description="The name of a switch driver.")
    link: str = Field(
        default="", description="Where the relay board is, such as tcp://127.0.0.1:5020 or /dev/ttyUSB1."
    )
    settle_s: Seconds = Field(description="Seconds for the relays to settle, such as 0.03.")
    rest: str = Field(
        default="antenna-bypass", description="Always antenna-bypass: the way the station is used by hand."
    )
    rated_operations: int = Field(
        default=100_000,
        ge=1,
        description="How often the relay may operate, from its data sheet, such as 100000.",
    )
    planned_years: float | None = Field(
        default=None,
        gt=0,
        le=100,
        description="Years that the relays are to last; leave it out for no limit.",
    )
    exercise: bool = Field(
        default=True, description="false: contacts that stood idle are not exercised once a day."
    )
    paths: dict[str, object] = Field(
        description="A section with one entry for each path, saying how its relays stand."
    )
    options: SerializeAsAny[BaseModel] | None = None

    @property
    def by_hand(self) -> bool:
        """Whether a person turns the switch, so that each change costs patience rather than contact life."""
        return self.driver == "person"

    def relays_of(self, path: SignalPath) -> dict[str, str] | None:
        """How each relay stands for a path, as the driver tells it; None where it cannot."""
        told = getattr(self.options, "relays_of", None)
        return None if told is None else dict(told(str(path)))


class Stage(Section):
    """``stage:``: what its maker rates, gain and noise figure in dB."""

    kind: Literal["amplifier", "preselector", "attenuator", "choke", "filter"] = Field(
        default="amplifier", description="One of amplifier, preselector, attenuator, choke, filter."
    )
    rated_gain_db: Decibel | None = Field(
        default=None, description="Gain in dB from its data sheet; negative for a loss."
    )
    rated_noise_figure_db: float | None = Field(
        default=None, ge=0, le=60, description="Noise figure in dB, 0 or more."
    )


class NoiseSource(Section):
    """``noise_source:``, for stations with noise paths."""

    enr_db: float = Field(ge=-20, le=80, description="Excess noise ratio in dB, from its calibration.")
    uncertainty_db: float = Field(default=0.3, gt=0, le=20, description="Standard uncertainty of it in dB.")


class BandChannel(Section):
    """One of a band's ``channels:``: a dial frequency in Hz, and what it is read for."""

    hz: Hz = Field(description="The dial frequency in whole hertz, such as 7038500.")
    purpose: Literal["noise", "carrier"] = Field(alias="for", description="Either noise or carrier.")
    bandwidth_hz: int | None = Field(
        default=None, gt=0, le=10_000_000, description="Whole hertz; leave out for the receiver's."
    )


class Band(Section):
    """One of ``bands:``: a name, and its noise and carrier frequencies in Hz."""

    name: Name = Field(
        description="Give the band a name of up to 80 characters, such as 40 m; in quotes if it is a number."
    )
    channels: tuple[BandChannel, ...] = Field(
        default=(), description="A list of channels, at least one for: noise."
    )
    edges_hz: tuple[Hz, Hz] | None = Field(
        default=None,
        description="[lowest, highest] in whole hertz, with a spectrum of samples, in place of channels.",
    )
    noise_edges_hz: tuple[tuple[Hz, Hz], ...] = Field(
        default=(),
        max_length=4,
        description="A list of [lowest, highest] in whole hertz: where noise is read instead of between edges_hz.",
    )
    carriers_hz: tuple[Hz, ...] | None = Field(
        default=None,
        max_length=64,
        description="A list of whole hertz, with edges_hz: the carriers that are read, instead of learned ones.",
    )


class Station(Section):
    """A whole station file, checked.

    Attributes are the file's keys, but `purpose` for ``for``, and `begin` and `end` for ``from`` and ``to``.
    """

    station: Place = Field(description="A section with name, latitude, longitude and environment.")
    receiver: Receiver = Field(
        description="A section that names the driver, the link, the mode and the meter."
    )
    switch: Switch = Field(description="A section that names the driver, the link and the paths.")
    stage: Stage = Stage()
    noise_source: NoiseSource | None = None
    bands: tuple[Band, ...] = Field(min_length=1, description="A list of bands, each with name and channels.")
    plan: Plan = Plan()
    schedule: tuple[Window, ...] = Field(default=(), max_length=MOST_WINDOWS)
    analysis: Analysis = Analysis()
    store: Store = Store()
    live: Live = Live()
    notify: Notify | None = None

    def channels(self) -> tuple[words.Channel, ...]:
        """All channels in the order of the file, each with its bandwidth; of a band with edges, its tunings."""
        width_hz = self.receiver.bandwidth_hz
        told = tuple(
            words.Channel(band.name, each.hz, each.purpose, each.bandwidth_hz or width_hz)
            for band in self.bands
            for each in band.channels
        )
        return told + tuple(self.tunings())

    def tunings(self) -> dict[words.Channel, BandTuning]:
        """The tunings of bands that are measured between edges, each under the channel at its centre."""
        rate_hz, width_hz = getattr(self.receiver.options, "sample_rate_hz", 0), self.receiver.bandwidth_hz
        return {
            words.Channel(band.name, each.centre_hz, "noise", width_hz): each
            for band in self.bands
            if band.edges_hz is not None and rate_hz
            for each in tunings(band.edges_hz, rate_hz, band.noise_edges_hz, band.carriers_hz)
        }

    def paths(self) -> tuple[SignalPath, ...]:
        """The paths that the switch can set: antenna, load, noise; bypass before stage."""
        every = (SignalPath(source, route) for source in words.SOURCES for route in words.ROUTES)
        return tuple(path for path in every if str(path) in self.switch.paths)
