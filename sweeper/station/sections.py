"""The sections of a station file as frozen models. Keys, types and limits only; what must fit together is in `sense`.

A field's description is its mend: the sentence shown to somebody who got that key wrong.
"""

import re
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, SerializeAsAny, model_validator

from sweeper import words
from sweeper.words import Purpose, SignalPath

Name = Annotated[
    str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f/\\.][^\x00-\x1f\x7f/\\]*$")
]
Hz = Annotated[int, Field(gt=0, le=3_000_000_000)]
Seconds = Annotated[float, Field(ge=0, le=3600, allow_inf_nan=False)]
Decibel = Annotated[float, Field(ge=-200, le=200, allow_inf_nan=False)]


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


def _from_root_or_home(file: str) -> str:
    if not file.startswith(("/", "~")) or not file.isprintable():
        raise ValueError("a path that does not depend on where the program is started")
    return file


class Section(BaseModel):
    """A part of the station file: unchangeable, and without keys that nobody knows."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, allow_inf_nan=False)


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
        description="One of calibration (it was measured) and table (somebody's for the model; nights test it).",
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
        description="How long after a relay the sound still is of before; `sweeper check` measures it.",
    )
    agc_off: bool = Field(
        default=False,
        description="true: the gain control is switched off by hand, where the program cannot do it itself.",
    )


SOUND_MODES = {"USB": 1, "LSB": -1, "CW": 1, "CWR": -1}
"""Modes whose detector keeps power as it is, and which way radio frequency goes with the tone."""
WELCH = 1.26
"""What the window and half overlap cost of the averaging time (`sweeper.spectra.welch`)."""


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
    options: SerializeAsAny[BaseModel] | None = None

    @model_validator(mode="before")
    @classmethod
    def _by_sound(cls, given: object) -> object:
        """With sound a reading is what one spectrum shows in a cell; its averaging time is that of Welch's method."""
        if not isinstance(given, dict) or not isinstance(given.get("audio"), dict):
            return given
        for key in ("readings", "interval_s"):
            if key in given:
                raise ValueError(f"with audio a visit is one spectrum; leave {key} out")
        told = {"bandwidth_hz": 2400, **given, "readings": 1, "interval_s": 0}
        seconds, meter = given["audio"].get("seconds", 1.0), given.get("meter", {})
        if isinstance(meter, dict) and isinstance(seconds, int | float):
            averaging_s = round(min(max(seconds / WELCH, 0.01), 60.0), 3)
            told["meter"] = {"unit": "raw", "detector": "rms", **meter, "averaging_s": averaging_s}
        return told

    @property
    def by_hand(self) -> bool:
        """Whether a person sets the dial, so that each change of it costs patience."""
        return self.driver == "dial-by-hand"

    def dial_hz(self, hz: int) -> int:
        """Where the dial stands to hear a channel: there, or with sound `tone_hz` beside it, by the side band."""
        if self.audio is None or self.mode.upper() in ("CW", "CWR"):
            return hz
        return hz - SOUND_MODES.get(self.mode.upper(), 1) * self.audio.tone_hz


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
    purpose: Purpose = Field(alias="for", description="Either noise or carrier.")
    bandwidth_hz: int | None = Field(
        default=None, gt=0, le=10_000_000, description="Whole hertz; leave out for the receiver's."
    )


class Band(Section):
    """One of ``bands:``: a name, and its noise and carrier frequencies in Hz."""

    name: Name = Field(
        description="Give the band a name of up to 80 characters, such as 40 m; in quotes if it is a number."
    )
    channels: tuple[BandChannel, ...] = Field(
        min_length=1, description="A list of channels, at least one for: noise."
    )


class Plan(Section):
    """``plan:``, the order of measuring."""

    load_every: int = Field(
        default=4, ge=1, le=1000, description="Load paths are visited every so many passes, from 1."
    )
    noise_every: int = Field(
        default=16, ge=1, le=1000, description="Noise-source paths, every so many passes, from 1."
    )
    edges_a_pass: int | None = Field(
        default=None,
        ge=0,
        le=100,
        description="Carriers that get changes of route of their own in a pass; 0 for none, or leave it out.",
    )


MOST_WINDOWS = 200
"""Entries of a schedule: more than anybody writes by hand, and few enough to be gone through at every start."""


class Window(Section):
    """One of ``schedule:``: passes `every` so long or `at` moments, or a `blackout` without passes.

    Moments are clock times (``18:30``, in the station's time zone) or sun times with an offset (``sunset - 1 h``).
    """

    every: str | None = Field(default=None, description="A length of time, such as 10 min.")
    at: tuple[str, ...] | None = Field(
        default=None, description="A list of moments, such as [06:00, sunset + 30 min]."
    )
    begin: str | None = Field(
        default=None, alias="from", description="A moment, such as 18:30 or sunset - 1 h."
    )
    end: str | None = Field(default=None, alias="to", description="A moment, such as 06:30 or sunrise + 1 h.")
    weekdays: tuple[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"], ...] | None = Field(
        default=None, min_length=1, description="A list of mon, tue, wed, thu, fri, sat, sun."
    )
    blackout: bool = Field(default=False, description="true: no passes in this window.")

    @model_validator(mode="after")
    def _one_meaning(self) -> Self:
        meanings = [self.every is not None, self.at is not None, self.blackout]
        if sum(meanings) != 1:
            raise ValueError("a window has exactly one of `every`, `at` and `blackout: true`")
        if (self.begin is None) != (self.end is None):
            raise ValueError("a window has both `from` and `to`, or neither")
        if self.at is not None and self.begin is not None:
            raise ValueError("`at` names moments; `from` and `to` belong to `every` or `blackout`")
        return self


class Analysis(Section):
    """``analysis:``: what counts as worthwhile, in dB, and the confidence, 0 to 1."""

    worthwhile_db: float = Field(
        default=1.0, gt=0, le=30, description="The smallest S/N change worth switching for, above 0 dB."
    )
    confidence: float = Field(default=0.95, gt=0.5, lt=1, description="Between 0.5 and 1, such as 0.95.")


class Live(Section):
    """``live:``, what a running daemon offers beyond the local sockets in the data folder."""

    publish: str | None = Field(
        default=None,
        pattern=r"^tcp://[^/\s]+:\d+$",
        description="Where to publish across a network, such as tcp://0.0.0.0:5750; needs keys.",
    )
    control: str | None = Field(
        default=None,
        pattern=r"^tcp://[^/\s]+:\d+$",
        description="Where to take requests across a network, such as tcp://0.0.0.0:5751; needs keys.",
    )
    keys: Name | None = Field(
        default=None,
        description="The name of a folder inside the data folder, with the CURVE keys that `sweeper keys` made.",
    )
    metrics_port: int | None = Field(
        default=None,
        ge=0,
        le=65_535,
        description="A port on the loopback address for Prometheus metrics, such as 9105.",
    )

    @model_validator(mode="after")
    def _keys_across_a_network(self) -> Self:
        if (self.publish or self.control) and not self.keys:
            raise ValueError("across a network the live sockets need keys")
        return self


class Notify(Section):
    """``notify:``, messages to whoever keeps the station; where they go stands in a file of its own."""

    file: Annotated[str, AfterValidator(_from_root_or_home)] = Field(
        description="The file with the addresses, one a line: its whole path, or one that begins with ~/."
    )
    morning: bool = Field(default=True, description="false: no message when the night's last pass is over.")
    at_once: bool = Field(default=True, description="false: no message at once when something needs a hand.")


class Store(Section):
    """``store:``, what stays of spectra, where levels come from samples or sound."""

    keep_spectra_days: int = Field(
        default=14,
        ge=0,
        le=3650,
        description="Days that spectra are kept whole; of older ones a picture an hour stays.",
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
        """All channels in the order of the file, each with its bandwidth."""
        return tuple(
            words.Channel(band.name, each.hz, each.purpose, each.bandwidth_hz or self.receiver.bandwidth_hz)
            for band in self.bands
            for each in band.channels
        )

    def paths(self) -> tuple[SignalPath, ...]:
        """The paths that the switch can set: antenna, load, noise; bypass before stage."""
        every = (SignalPath(source, route) for source in words.SOURCES for route in words.ROUTES)
        return tuple(path for path in every if str(path) in self.switch.paths)
