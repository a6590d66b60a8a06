"""Readings of many nights without wires, by the million, with their truth: for the analysis to be measured against.

The same physics as the wired world, reduced to what matters to the statistics and drawn as arrays: kelvins in,
meter readings out. What a campaign holds is set by a `Course`; two campaigns of one seed are the same.
"""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.simulation.campaign.course import ROOM_K, BandTruth, CampaignMeter, Course, Floats, Kelvins
from sweeper.simulation.campaign.pass_tables import (
    ANTENNA_ORDER,
    LOAD_ORDER,
    Order,
    PassTable,
    pass_table,
    sequence,
)
from sweeper.simulation.campaign.surroundings import Surroundings
from sweeper.simulation.world.hardware import BOLTZMANN_J_PER_K
from sweeper.words import Channel, Purpose

_S9_W = (50e-6) ** 2 / 50.0
_POPULATION = 20_001


@dataclass(frozen=True)
class Campaign:
    """The readings and the truth of a `Course`, drawn with `seed`; the same course and seed give the same values.

    Readings are polars frames with the columns of the readings table; levels in dB, noise in kelvins.
    """

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
            order: Order = ANTENNA_ORDER
            if course.load_every and k % course.load_every == 0:
                order = LOAD_ORDER if loads_done % 2 == 0 else LOAD_ORDER[::-1]
                loads_done += 1
            template = self._table(order, int(numbers[k]))
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
            number = index - self._first_channel[band]
            watts[chosen] = self._watts(n, rng, band, number, when_s[chosen], loaded[chosen], staged[chosen])
        level_db = 10.0 * np.log10(watts / _S9_W)
        if course.load_drift_sd_db:
            level_db += course.load_drift_sd_db * np.random.default_rng((self.seed, 2, n)).standard_normal()
        if course.detector == "log-average":
            # logarithms of Bτ samples averaged: noise 2.51 dB low, scatter 5.57/√(Bτ) instead of 4.34/√(Bτ) dB
            more_db = math.sqrt((5.57**2 - 4.34**2) / (course.bandwidth_hz * course.averaging_s))
            of_noise = np.array([place.purpose == "noise" for place in self.channels])[channel]
            level_db += np.where(of_noise, more_db * rng.standard_normal(size) - 2.51, 0.0)
        elif course.detector == "quasi-peak":
            level_db = _held(level_db)
        if course.bend:
            level, shown = np.array(course.bend).T
            level_db = np.interp(level_db, level, shown)
        steps = np.rint(level_db / course.step_db) * course.step_db
        return np.clip(steps, course.floor_db, course.top_db)

    def _watts(
        self,
        n: int,
        rng: np.random.Generator,
        band: int,
        number: int,
        when_s: Floats,
        loaded: NDArray[np.bool_],
        staged: NDArray[np.bool_],
    ) -> Floats:
        """Power averaged over the meter's time constant, W, on the channel of that number in its band."""
        course = self.course
        size = len(when_s)
        truth = Kelvins.of(course.bands[band])
        per_k = BOLTZMANN_J_PER_K * course.bandwidth_hz
        external_k = self._outside.external_k(n, band, when_s)
        products_k = self._outside.products_k(n, band, when_s)
        stage_gain = truth.gain * self._outside.stage_gain(n, band, when_s, external_k)
        channel_gains_db = course.bands[band].channel_gains_db
        if number < len(channel_gains_db):
            stage_gain = stage_gain * math.pow(10.0, channel_gains_db[number] / 10.0)
        by_stage = np.where(staged, 1.0, course.leak)
        gain = by_stage * stage_gain + np.where(staged, course.leak, 1.0)
        input_k = np.where(loaded, ROOM_K, external_k)
        noise_k = gain * input_k + truth.receiver_k
        noise_k += by_stage * stage_gain * truth.stage_k + np.where(staged & ~loaded, products_k, 0.0)
        noise_w = per_k * noise_k
        shape = course.bandwidth_hz * course.averaging_s
        scale_w = noise_w / shape
        empty = course.bands[band].noise_channels
        if number < empty:
            carrier_w = self._outside.passer_by_w(n, band, number, when_s)
        else:
            carrier_w = self._outside.carrier_w(n, band, number - empty, when_s)
        if course.agc_on_carriers and number >= empty:
            over = 1.0 + carrier_w / (per_k * external_k)
            gain = np.where(staged, gain * over**-course.agc_db_per_db, gain)
        carrier_w = carrier_w * np.where(loaded, 0.0, gain)
        voltage = np.sqrt(carrier_w) + np.sqrt(scale_w / 2.0) * rng.standard_normal(size)
        watts = voltage * voltage + scale_w * rng.standard_gamma(shape - 0.5, size)
        crashes = rng.random(size) < course.crashes_per_s * course.averaging_s
        crash_w = per_k * external_k * course.crash_over_noise * rng.standard_exponential(size) ** 2
        watts += np.where(crashes & ~loaded, gain * crash_w, 0.0)
        return watts

    @cached_property
    def _outside(self) -> Surroundings:
        return Surroundings(self.course, self.seed)

    @cached_property
    def _band_number(self) -> dict[str, int]:
        return {band.name: n for n, band in enumerate(self.course.bands)}

    @cached_property
    def _first_channel(self) -> list[int]:
        counts = [band.noise_channels + len(band.carrier_over_noise_db) for band in self.course.bands]
        return [sum(counts[:n]) for n in range(len(counts))]

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
        external_k = self._outside.external_k(night, number, when_s)
        products_k = self._outside.products_k(night, number, when_s)
        kelvins = Kelvins.of(self.course.bands[number])
        change_db, rise_db = kelvins.changes_db(
            external_k,
            products_k,
            self._outside.stage_gain(night, number, when_s, external_k),
            self.course.leak,
        )
        return float(change_db.mean()), float(rise_db.mean())

    @cached_property
    def _population(self) -> dict[tuple[str, int], tuple[float, float]]:
        """(S/N change, noise rise) in dB per band and hour, expected over all nights that could be."""
        course = self.course
        # The quantiles of a normal law, evenly spaced in probability, stand for its whole population.
        from scipy.stats import norm

        normal = norm.ppf((np.arange(_POPULATION) + 0.5) / _POPULATION)
        noise_db = math.hypot(course.night_sd_db, course.drift_sd_db) * normal
        loud = np.random.default_rng(1).permutation(_POPULATION) < course.loud_share * _POPULATION
        noise_db = noise_db + course.loud_db * loud
        strong_db = math.hypot(course.carrier_night_sd_db, 1.0) * np.random.default_rng(0).permutation(normal)
        expected = {}
        for number, band in enumerate(course.bands):
            kelvins = Kelvins.of(band)
            for hour, over_db in zip(
                course.hours, course.gain_by_hour_db or [0.0] * len(course.hours), strict=True
            ):
                when_s = np.array([(hour - 12) % 24 * 3600.0])
                median_k = self._outside.median_k(number, when_s)[0]
                products_k, compression = np.zeros(_POPULATION), 1.0
                if hour in band.overloaded_hours:
                    clean_k = kelvins.gain * (median_k + kelvins.stage_k) + kelvins.receiver_k
                    products_k += clean_k * (math.pow(10.0, band.products_db / 10.0) - 1.0)
                    products_k *= 10.0 ** (strong_db * band.products_order / 10.0)
                    compression = math.pow(10.0, -band.compression_db / 10.0)
                external_k = median_k * 10.0 ** (noise_db / 10.0)
                taken_back = 10.0 ** (
                    (over_db + course.gain_step_db - course.agc_db_per_db * noise_db) / 10.0
                )
                change_db, rise_db = kelvins.changes_db(
                    external_k, products_k, compression * taken_back, course.leak
                )
                expected[band.name, hour] = (float(change_db.mean()), float(rise_db.mean()))
        return expected

    def snr_change_db(self, band: str, hour: int) -> float:
        """The expected S/N change at that hour over all nights that could be (before any fix), dB.

        Of the stage as it is at the end, where its gain stepped on the way.
        """
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
    def _tables(self) -> dict[tuple[Order, int], PassTable]:
        return {}

    def _table(self, order: Order, number: int) -> PassTable:
        """The table of a pass, made once for each turn of the carriers."""
        carriers = sum(channel.purpose == "carrier" for channel in self.channels)
        turn = 0 if self.course.edges is None else number % max(carriers, 1)
        if (order, turn) not in self._tables:
            visits = sequence(self.course, self.channels, order, turn)
            self._tables[order, turn] = pass_table(self.course, self.channels, visits)
        return self._tables[order, turn]

    @cached_property
    def _empty(self) -> pl.DataFrame:
        frame = self._table(ANTENNA_ORDER, 0).frame.clear()
        return frame.select(
            pl.lit(None, pl.Datetime("ms", "UTC")).alias("time"),
            pl.lit(None, pl.Int64).alias("pass"),
            *("band", "hz", "for", "source", "route"),
            pl.lit(None, pl.Float64).alias("reading"),
            *("dbm", "bandwidth_hz"),
            pl.lit(None, pl.String).alias("flags"),
        )


def campaign(course: Course, seed: int) -> Campaign:
    """A campaign to measure the analysis on. Two of the same course and seed are the same."""
    return Campaign(course, seed)


def _held(level_db: Floats) -> Floats:
    """A detector that follows a rise at once and gives way slowly, over the visits as they come."""
    held = np.empty_like(level_db)
    last = level_db[0]
    for at, level in enumerate(level_db):
        last = level if level > last else last + 0.43 * (level - last)
        held[at] = last
    return held


def _noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


__all__ = ["BandTruth", "Campaign", "CampaignMeter", "Course", "campaign"]
