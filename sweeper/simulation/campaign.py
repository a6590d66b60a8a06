"""Readings of many nights without wires, by the million, with their truth: for the analysis to be measured against.

The same physics as the wired world, reduced to what matters to the statistics and drawn as arrays: kelvins in,
meter readings out. What a campaign holds is set by a `Course`; two campaigns of one seed are the same.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.simulation.hardware import BOLTZMANN_J_PER_K
from sweeper.words import Channel, Purpose

_S9_W = (50e-6) ** 2 / 50.0
_ROOM_K = 290.0
_ANTENNA_ORDER = (("antenna", "bypass"), ("antenna", "stage"), ("antenna", "stage"), ("antenna", "bypass"))
_LOAD_ORDER = (
    ("antenna", "bypass"),
    ("load", "bypass"),
    ("load", "stage"),
    ("antenna", "stage"),
    ("antenna", "stage"),
    ("antenna", "bypass"),
)
"""Relays move once between neighbours; every other time a load pass runs backwards."""
_POPULATION = 20_001

Floats = NDArray[np.float64]


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
    night_sd_db: float = 3.0
    """Standard deviation of external noise from night to night."""
    shared_by_bands: float = 0.5
    """Share of that variance which all bands have in common."""
    drift_sd_db: float = 1.0
    """Standard deviation of slow drift within a night; its waves last 20 minutes to 4 hours."""
    load_every: int = 4
    """Load paths in every so many passes; 0: no load."""
    carrier_steadiness: float = 2.0
    """Rice's K of fading carriers."""
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
    load_drift_sd_db: float = 0.0
    """Standard deviation from night to night of the receiver's gain, which every path shares."""


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
class Campaign:
    """A course with its dice thrown."""

    course: Course
    seed: int

    # what it is measured with

    @cached_property
    def channels(self) -> tuple[Channel, ...]:
        """Noise channels, then carriers, band by band; frequencies are only names here."""
        channels = []
        for n, band in enumerate(self.course.bands):
            base_hz = 3_000_000 + 1_000_000 * n
            count = band.noise_channels
            for k in range(count + len(band.carrier_over_noise_db)):
                purpose: Purpose = "noise" if k < count else "carrier"
                channels.append(Channel(band.name, base_hz + 10_000 * k, purpose, self.course.bandwidth_hz))
        return tuple(channels)

    @property
    def meter(self) -> CampaignMeter:
        course = self.course
        return CampaignMeter("dB-over-S9", course.step_db, course.floor_db, course.top_db, course.averaging_s)

    @property
    def dates(self) -> tuple[date, ...]:
        """The nights, named by the day they begin on; the station stands on the meridian of Greenwich."""
        return tuple(self.course.first_night + timedelta(days=n) for n in range(self.course.nights))

    @property
    def fix(self) -> datetime | None:
        """When the fix was made: noon before its first night."""
        if self.course.fix_at_night is None:
            return None
        return _noon(self.dates[0]) + timedelta(days=self.course.fix_at_night)

    # readings

    @property
    def readings(self) -> pl.DataFrame:
        """All nights in one table, in order of time."""
        return pl.concat([self.night(n) for n in range(self.course.nights)])

    def night(self, n: int) -> pl.DataFrame:
        """The readings of night `n` (from 0), with the columns of the readings table."""
        course = self.course
        rng = np.random.default_rng((self.seed, 1, n))
        starts_s = self._pass_starts_s()
        kept = rng.random(len(starts_s)) >= course.missing
        if rng.random() < course.nights_lost:
            kept[:] = False
        numbers = np.arange(len(starts_s)) + n * len(starts_s) + 1
        pieces, time_s, pass_number = [], [], []
        loads_done = 0
        for k in np.flatnonzero(kept):
            order: Sequence[tuple[str, str]] = _ANTENNA_ORDER
            if course.load_every and k % course.load_every == 0:
                order = _LOAD_ORDER if loads_done % 2 == 0 else _LOAD_ORDER[::-1]
                loads_done += 1
            template = self._templates[tuple(order)]
            pieces.append(template)
            time_s.append(starts_s[k] + template.offset_s)
            pass_number.append(np.full(len(template.offset_s), numbers[k], dtype=np.int64))
        if not pieces:
            return self._empty
        frame = pl.concat([piece.frame for piece in pieces], rechunk=True)
        channel = np.concatenate([piece.channel for piece in pieces])
        loaded = np.concatenate([piece.loaded for piece in pieces])
        staged = np.concatenate([piece.staged for piece in pieces])
        when_s = np.concatenate(time_s)
        reading = self._read(n, rng, when_s, channel, loaded, staged)
        noon_ms = round(_noon(self.dates[n]).timestamp() * 1000.0)
        flags = np.where(reading <= course.floor_db, 1, np.where(reading >= course.top_db, 2, 0))
        words = pl.Series(["", "floor", "clipped"])
        return frame.select(
            pl.Series("time", noon_ms + np.rint(when_s * 1000.0).astype(np.int64)).cast(
                pl.Datetime("ms", "UTC")
            ),
            pl.Series("pass", np.concatenate(pass_number)),
            "band",
            "hz",
            "for",
            "source",
            "route",
            pl.Series("reading", reading),
            "dbm",
            "bandwidth_hz",
            words.gather(flags).alias("flags"),
        )

    def _pass_starts_s(self) -> Floats:
        """Seconds after noon at which the night's passes begin."""
        step_s = 3600.0 / self.course.passes_per_hour
        return np.sort(
            [
                (hour - 12) % 24 * 3600.0 + 60.0 + k * step_s
                for hour in self.course.hours
                for k in range(self.course.passes_per_hour)
            ]
        ).astype(np.float64)

    def _read(
        self,
        n: int,
        rng: np.random.Generator,
        when_s: Floats,
        channel: NDArray[np.int64],
        loaded: NDArray[np.bool_],
        staged: NDArray[np.bool_],
    ) -> Floats:
        course = self.course
        size = len(when_s)
        watts = np.empty(size)
        for index, place in enumerate(self.channels):
            chosen = np.flatnonzero(channel == index)
            band = self._band_number[place.band]
            watts[chosen] = self._watts(
                n, rng, band, index, place.purpose, when_s[chosen], loaded[chosen], staged[chosen]
            )
        level_db = 10.0 * np.log10(watts / _S9_W)
        if course.load_drift_sd_db:
            level_db += course.load_drift_sd_db * np.random.default_rng((self.seed, 2, n)).standard_normal()
        steps = np.rint(level_db / course.step_db) * course.step_db
        return np.clip(steps, course.floor_db, course.top_db)

    def _watts(
        self,
        n: int,
        rng: np.random.Generator,
        band: int,
        index: int,
        purpose: str,
        when_s: Floats,
        loaded: NDArray[np.bool_],
        staged: NDArray[np.bool_],
    ) -> Floats:
        """Power averaged over the meter's time constant, W, on one channel."""
        course = self.course
        size = len(when_s)
        truth = _Kelvins.of(course.bands[band])
        per_k = BOLTZMANN_J_PER_K * course.bandwidth_hz
        external_k = self._external_k(n, band, when_s)
        products_k = self._products_k(n, band, when_s)
        gain = np.where(staged, truth.gain * self._compression(band, when_s), 1.0)
        input_k = np.where(loaded, _ROOM_K, external_k)
        noise_k = gain * input_k + truth.receiver_k
        noise_k += np.where(staged, gain * truth.stage_k + np.where(loaded, 0.0, products_k), 0.0)
        noise_w = per_k * noise_k
        shape = course.bandwidth_hz * course.averaging_s
        scale_w = noise_w / shape
        carrier_w = np.zeros(size)
        if purpose == "carrier":
            carrier_w += self._carrier_w(n, band, index, when_s)
        else:
            carrier_w += self._passer_by_w(n, band, index, when_s)
        carrier_w *= np.where(loaded, 0.0, gain)
        voltage = np.sqrt(carrier_w) + np.sqrt(scale_w / 2.0) * rng.standard_normal(size)
        watts = voltage * voltage + scale_w * rng.standard_gamma(shape - 0.5, size)
        crashes = rng.random(size) < course.crashes_per_s * course.averaging_s
        crash_w = per_k * external_k * course.crash_over_noise * rng.standard_exponential(size) ** 2
        watts += np.where(crashes & ~loaded, gain * crash_w, 0.0)
        return watts

    # the sky over it

    @cached_property
    def _band_number(self) -> dict[str, int]:
        return {band.name: n for n, band in enumerate(self.course.bands)}

    @cached_property
    def _night_db(self) -> Floats:
        """Deviation of external noise, dB, (night, band)."""
        course = self.course
        rng = np.random.default_rng((self.seed, 3))
        common = rng.standard_normal((course.nights, 1))
        own = rng.standard_normal((course.nights, len(course.bands)))
        share = course.shared_by_bands
        return course.night_sd_db * (math.sqrt(share) * common + math.sqrt(1.0 - share) * own)

    @cached_property
    def _strong_db(self) -> Floats:
        """Deviation of the band's strong carrier, dB, (night, band)."""
        rng = np.random.default_rng((self.seed, 4))
        return self.course.carrier_night_sd_db * rng.standard_normal(
            (self.course.nights, len(self.course.bands))
        )

    def _waves(self, key: tuple[int, ...], when_s: Floats, shortest_s: float, longest_s: float) -> Floats:
        """A smooth random function of time: mean 0, variance 1."""
        rng = np.random.default_rng((self.seed, *key))
        periods_s = shortest_s * (longest_s / shortest_s) ** rng.random(6)
        phases = math.tau * rng.random(6)
        angles = np.multiply.outer(when_s, math.tau / periods_s) + phases
        return np.asarray(np.cos(angles).sum(axis=1) / math.sqrt(3.0))

    def _external_k(self, n: int, band: int, when_s: Floats) -> Floats:
        """External noise in kelvin at the receiver's input in bypass."""
        course = self.course
        deviation_db = self._night_db[n, band] + np.zeros(len(when_s))
        if course.drift_sd_db:
            deviation_db += course.drift_sd_db * self._waves((5, n, band), when_s, 1200.0, 14400.0)
        external_k = self._median_k(band, when_s) * 10.0 ** (deviation_db / 10.0)
        return np.asarray(external_k * self._after_fix(n))

    def _after_fix(self, n: int) -> float:
        fixed = self.course.fix_at_night is not None and n >= self.course.fix_at_night
        return math.pow(10.0, -self.course.fix_db / 10.0) if fixed else 1.0

    def _median_k(self, band: int, when_s: Floats) -> Floats:
        truth = self.course.bands[band]
        kelvins = _Kelvins.of(truth)
        by_hour = np.broadcast_to(np.asarray(truth.rise_db, dtype=np.float64), len(self.course.hours))
        table = np.zeros(24)
        table[list(self.course.hours)] = kelvins.external(by_hour)
        return np.asarray(table[_hour(when_s)], dtype=np.float64)

    def _overloaded(self, band: int, when_s: Floats) -> NDArray[np.bool_]:
        return np.isin(_hour(when_s), self.course.bands[band].overloaded_hours)

    def _compression(self, band: int, when_s: Floats) -> Floats:
        loss = math.pow(10.0, -self.course.bands[band].compression_db / 10.0)
        return np.where(self._overloaded(band, when_s), loss, 1.0)

    def _strength(self, n: int, band: int, when_s: Floats) -> Floats:
        """The strong carrier of the band against its median, as a power ratio: slow, no fading."""
        db = self._strong_db[n, band] + 1.0 * self._waves((6, n, band), when_s, 1200.0, 14400.0)
        return np.asarray(10.0 ** (db / 10.0), dtype=np.float64)

    def _products_k(self, n: int, band: int, when_s: Floats) -> Floats:
        """Products of the stage as they reach the receiver, K."""
        truth = self.course.bands[band]
        if not truth.overloaded_hours:
            return np.zeros(len(when_s))
        kelvins = _Kelvins.of(truth)
        clean_k = kelvins.gain * (self._median_k(band, when_s) + kelvins.stage_k) + kelvins.receiver_k
        median_k = clean_k * (math.pow(10.0, truth.products_db / 10.0) - 1.0)
        follows = self._strength(n, band, when_s) ** truth.products_order
        return np.where(self._overloaded(band, when_s), median_k * follows, 0.0)

    def _carrier_w(self, n: int, band: int, index: int, when_s: Floats) -> Floats:
        course, truth = self.course, self.course.bands[band]
        kelvins = _Kelvins.of(truth)
        number = (
            index - min(k for k, c in enumerate(self.channels) if c.band == truth.name) - truth.noise_channels
        )
        median_k = self._median_k(band, when_s) + kelvins.receiver_k
        over = math.pow(10.0, truth.carrier_over_noise_db[number] / 10.0)
        mean_w = BOLTZMANN_J_PER_K * course.bandwidth_hz * median_k * over * self._strength(n, band, when_s)
        steady = math.sqrt(course.carrier_steadiness / (1.0 + course.carrier_steadiness))
        scattered = math.sqrt(0.5 / (1.0 + course.carrier_steadiness))
        real = steady + scattered * self._waves((7, n, index, 0), when_s, 4.0, 90.0)
        imaginary = scattered * self._waves((7, n, index, 1), when_s, 4.0, 90.0)
        hours = _hour(when_s)
        absent = np.random.default_rng((self.seed, 8, n, index)).random(24) < course.carriers_absent
        return np.where(absent[hours], 0.0, mean_w * (real * real + imaginary * imaginary))

    def _passer_by_w(self, n: int, band: int, index: int, when_s: Floats) -> Floats:
        """A signal on a channel that was chosen to be empty: speech comes in words, so it is on and off."""
        course = self.course
        slots = (when_s // 600.0).astype(np.int64)
        rng = np.random.default_rng((self.seed, 9, n, index))
        there = rng.random(144) < course.occupied
        if not there.any():
            return np.zeros(len(when_s))
        kelvins = _Kelvins.of(course.bands[band])
        over = 10.0 ** (rng.uniform(3.0, 25.0, 144) / 10.0)
        noise_w = (
            BOLTZMANN_J_PER_K * course.bandwidth_hz * (self._median_k(band, when_s) + kelvins.receiver_k)
        )
        speaking = self._waves((10, n, index), when_s, 0.3, 5.0) > 0.0
        return np.where(there[slots] & speaking, noise_w * over[slots], 0.0)

    # the truth

    def gain_db(self, band: str) -> float:
        """The stage's gain against bypass where nothing compresses it."""
        return self.course.bands[self._band_number[band]].gain_db

    def overload(self, band: str, hour: int) -> bool:
        """Whether products were planted there."""
        return hour in self.course.bands[self._band_number[band]].overloaded_hours

    def snr_change_on(self, band: str, hour: int, night: int) -> float:
        """The S/N change of that hour of that night, dB: the mean over its moments, measured or not."""
        return self._truth_on(band, hour, night)[0]

    def noise_rise_on(self, band: str, hour: int, night: int) -> float:
        """The noise rise in bypass of that hour of that night, dB."""
        return self._truth_on(band, hour, night)[1]

    def _truth_on(self, band: str, hour: int, night: int) -> tuple[float, float]:
        number = self._band_number[band]
        when_s = (hour - 12) % 24 * 3600.0 + np.arange(30.0, 3600.0, 60.0)
        external_k = self._external_k(night, number, when_s)
        products_k = self._products_k(night, number, when_s)
        change_db, rise_db = self._changes_db(
            number, external_k, products_k, self._compression(number, when_s)
        )
        return float(change_db.mean()), float(rise_db.mean())

    def _changes_db(
        self, band: int, external_k: Floats, products_k: Floats, compression: Floats | float
    ) -> tuple[Floats, Floats]:
        kelvins = _Kelvins.of(self.course.bands[band])
        gain = kelvins.gain * compression
        bypass_k = external_k + kelvins.receiver_k
        stage_k = gain * (external_k + kelvins.stage_k) + kelvins.receiver_k + products_k
        signal_to_noise = gain / stage_k * bypass_k
        return 10.0 * np.log10(signal_to_noise), 10.0 * np.log10(bypass_k / (_ROOM_K + kelvins.receiver_k))

    @cached_property
    def _population(self) -> dict[tuple[str, int], tuple[float, float]]:
        """(S/N change, noise rise) in dB per band and hour, expected over all nights that could be."""
        course = self.course
        # The quantiles of a normal law, evenly spaced in probability, stand for its whole population.
        from scipy.stats import norm

        normal = norm.ppf((np.arange(_POPULATION) + 0.5) / _POPULATION)
        noise_db = math.hypot(course.night_sd_db, course.drift_sd_db) * normal
        strong_db = math.hypot(course.carrier_night_sd_db, 1.0) * np.random.default_rng(0).permutation(normal)
        expected = {}
        for number, band in enumerate(course.bands):
            kelvins = _Kelvins.of(band)
            for hour in course.hours:
                when_s = np.array([(hour - 12) % 24 * 3600.0])
                median_k = self._median_k(number, when_s)[0]
                products_k, compression = np.zeros(_POPULATION), 1.0
                if hour in band.overloaded_hours:
                    clean_k = kelvins.gain * (median_k + kelvins.stage_k) + kelvins.receiver_k
                    products_k += clean_k * (math.pow(10.0, band.products_db / 10.0) - 1.0)
                    products_k *= 10.0 ** (strong_db * band.products_order / 10.0)
                    compression = math.pow(10.0, -band.compression_db / 10.0)
                external_k = median_k * 10.0 ** (noise_db / 10.0)
                change_db, rise_db = self._changes_db(number, external_k, products_k, compression)
                expected[band.name, hour] = (float(change_db.mean()), float(rise_db.mean()))
        return expected

    def snr_change_db(self, band: str, hour: int) -> float:
        """The expected S/N change at that hour over all nights that could be (before any fix), dB."""
        return self._population[band, hour][0]

    def noise_rise_db(self, band: str, hour: int) -> float:
        """The expected noise rise in bypass at that hour over all nights that could be (before any fix), dB."""
        return self._population[band, hour][1]

    @property
    def truth(self) -> pl.DataFrame:
        """One row per night, hour and band: night, hour_utc, band, snr_change_db, noise_rise_db, gain_db, overload."""
        rows = [
            (
                day,
                hour,
                band.name,
                *self._truth_on(band.name, hour, n),
                band.gain_db,
                hour in band.overloaded_hours,
            )
            for n, day in enumerate(self.dates)
            for hour in self.course.hours
            for band in self.course.bands
        ]
        names = ["night", "hour_utc", "band", "snr_change_db", "noise_rise_db", "gain_db", "overload"]
        return pl.DataFrame(rows, schema=names, orient="row")

    # passes as tables to repeat

    @cached_property
    def _templates(self) -> dict[tuple[tuple[str, str], ...], "_PassTable"]:
        orders: list[tuple[tuple[str, str], ...]] = [_ANTENNA_ORDER, _LOAD_ORDER, _LOAD_ORDER[::-1]]
        return {order: self._template(order) for order in orders}

    @cached_property
    def _empty(self) -> pl.DataFrame:
        frame = self._templates[_ANTENNA_ORDER].frame.clear()
        return frame.select(
            pl.lit(None, pl.Datetime("ms", "UTC")).alias("time"),
            pl.lit(None, pl.Int64).alias("pass"),
            *("band", "hz", "for", "source", "route"),
            pl.lit(None, pl.Float64).alias("reading"),
            *("dbm", "bandwidth_hz"),
            pl.lit(None, pl.String).alias("flags"),
        )

    def _template(self, order: Sequence[tuple[str, str]]) -> "_PassTable":
        course, channels = self.course, self.channels
        count, places = course.readings, len(channels)
        channel = np.tile(np.repeat(np.arange(places), count), len(order))
        visit_s = course.settle_s + course.interval_s * (count - 1)
        starts_s = np.repeat(np.arange(places * len(order)) * visit_s, count) + course.settle_s
        offset_s = starts_s + np.tile(np.arange(count) * course.interval_s, places * len(order))
        rows = places * count
        one = pl.DataFrame(
            {
                "band": [c.band for c in channels],
                "hz": pl.Series([c.hz for c in channels], dtype=pl.Int64),
                "for": [c.purpose for c in channels],
                "dbm": pl.Series([None] * places, dtype=pl.Float64),
                "bandwidth_hz": pl.Series([c.bandwidth_hz for c in channels], dtype=pl.Int64),
            }
        )
        frame = one[channel].with_columns(
            pl.Series("source", [source for source, _ in order for _ in range(rows)]),
            pl.Series("route", [route for _, route in order for _ in range(rows)]),
        )
        return _PassTable(
            frame=frame,
            offset_s=offset_s,
            channel=channel,
            loaded=np.repeat(np.array([source == "load" for source, _ in order]), rows),
            staged=np.repeat(np.array([route == "stage" for _, route in order]), rows),
        )


@dataclass(frozen=True)
class _PassTable:
    """One pass without its readings."""

    frame: pl.DataFrame
    offset_s: Floats
    channel: NDArray[np.int64]
    loaded: NDArray[np.bool_]
    staged: NDArray[np.bool_]


@dataclass(frozen=True)
class _Kelvins:
    """A band's hardware as temperatures and a power gain."""

    gain: float
    stage_k: float
    receiver_k: float

    @classmethod
    def of(cls, band: BandTruth) -> "_Kelvins":
        return cls(
            gain=math.pow(10.0, band.gain_db / 10.0),
            stage_k=_ROOM_K * (math.pow(10.0, band.stage_noise_figure_db / 10.0) - 1.0),
            receiver_k=_ROOM_K * (math.pow(10.0, band.receiver_noise_figure_db / 10.0) - 1.0),
        )

    def external(self, rise_db: Floats) -> Floats:
        """External noise that stands so far above a load at room temperature, K."""
        return np.asarray(10.0 ** (rise_db / 10.0) * (_ROOM_K + self.receiver_k) - self.receiver_k)


def campaign(course: Course, seed: int) -> Campaign:
    """A campaign to measure the analysis on. Two of the same course and seed are the same."""
    return Campaign(course, seed)


def _noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


def _hour(when_s: Floats) -> NDArray[np.int64]:
    """Hour UTC of seconds after noon."""
    return ((when_s // 3600.0).astype(np.int64) + 12) % 24
