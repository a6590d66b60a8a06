"""Everything outside the receiver in a drawn campaign: noise, carriers, products and passers-by, as arrays over time.

Each is a function of (seed, night, band, time); time is in seconds after the night's noon.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sweeper.simulation.campaign.course import Course, Floats, Kelvins
from sweeper.simulation.world.fading import Fading
from sweeper.simulation.world.hardware import BOLTZMANN_J_PER_K

_MINUTES_S = np.arange(0.0, 86_460.0, 60.0)


@dataclass(frozen=True)
class Surroundings:
    """The surroundings of one campaign. Nights and bands are counted from 0."""

    course: Course
    seed: int

    @cached_property
    def _night_db(self) -> Floats:
        """Deviation of external noise, dB, (night, band)."""
        course = self.course
        rng = np.random.default_rng((self.seed, 3))
        common = rng.standard_normal((course.nights, 1))
        own = rng.standard_normal((course.nights, len(course.bands)))
        share = course.shared_by_bands
        strayed = math.sqrt(share) * common + math.sqrt(1.0 - share) * own
        rho = course.night_persistence
        for night in range(1, course.nights):
            strayed[night] = rho * strayed[night - 1] + math.sqrt(1.0 - rho * rho) * strayed[night]
        loud = np.random.default_rng((self.seed, 11)).random((course.nights, 1)) < course.loud_share
        passed = np.arange(course.nights)[:, None] - (course.nights - 1) / 2.0
        return np.asarray(
            course.night_sd_db * strayed + course.loud_db * loud + course.trend_db_per_night * passed
        )

    @cached_property
    def _strong_db(self) -> Floats:
        """Deviation of the band's strong carrier, dB, (night, band)."""
        rng = np.random.default_rng((self.seed, 4))
        return self.course.carrier_night_sd_db * rng.standard_normal(
            (self.course.nights, len(self.course.bands))
        )

    def _waves(self, key: tuple[int, ...], when_s: Floats, shortest_s: float, longest_s: float) -> Floats:
        """A smooth random function of time, six cosines with periods between the two, shape of `when_s`: mean 0,
        variance 1.
        """
        rng = np.random.default_rng((self.seed, *key))
        periods_s = shortest_s * (longest_s / shortest_s) ** rng.random(6)
        phases = math.tau * rng.random(6)
        angles = np.multiply.outer(when_s, math.tau / periods_s) + phases
        return np.asarray(np.cos(angles).sum(axis=1) / math.sqrt(3.0))

    def _slow(self, key: tuple[int, ...], when_s: Floats) -> Floats:
        """A smooth random function with periods of 20 minutes to 4 hours, shape of `when_s`: mean 0, variance 1.

        Drawn on a grid of minutes, with straight lines between.
        """
        return np.asarray(np.interp(when_s, _MINUTES_S, self._waves(key, _MINUTES_S, 1200.0, 14400.0)))

    def external_k(self, n: int, band: int, when_s: Floats) -> Floats:
        """External noise in kelvin at the receiver's input in bypass."""
        course = self.course
        deviation_db = self._night_db[n, band] + np.zeros(len(when_s))
        if course.drift_sd_db:
            deviation_db += course.drift_sd_db * self._slow((5, n, band), when_s)
        external_k = self.median_k(band, when_s) * 10.0 ** (deviation_db / 10.0)
        return np.asarray(external_k * self._after_fix(n, band))

    def _after_fix(self, n: int, band: int) -> float:
        fixed = self.course.fix_at_night is not None and n >= self.course.fix_at_night
        fixed &= self.course.fix_bands is None or self.course.bands[band].name in self.course.fix_bands
        return math.pow(10.0, -self.course.fix_db / 10.0) if fixed else 1.0

    def median_k(self, band: int, when_s: Floats) -> Floats:
        """Its median over nights, K."""
        truth = self.course.bands[band]
        kelvins = Kelvins.of(truth)
        by_hour = np.broadcast_to(np.asarray(truth.rise_db, dtype=np.float64), len(self.course.hours))
        table = np.full(24, kelvins.external(by_hour[-1:])[0])  # a last pass may run over the hour's end
        table[list(self.course.hours)] = kelvins.external(by_hour)
        return np.asarray(table[hour_of(when_s)], dtype=np.float64)

    def _overloaded(self, band: int, when_s: Floats) -> NDArray[np.bool_]:
        return np.isin(hour_of(when_s), self.course.bands[band].overloaded_hours)

    def compression(self, band: int, when_s: Floats) -> Floats:
        """What is left of the stage's gain, a power ratio."""
        loss = math.pow(10.0, -self.course.bands[band].compression_db / 10.0)
        return np.where(self._overloaded(band, when_s), loss, 1.0)

    def stage_gain(self, n: int, band: int, when_s: Floats, external_k: Floats) -> Floats:
        """The stage's gain against `BandTruth.gain_db`, a power ratio: compressed, stepped, or taken back."""
        course = self.course
        gain = self.compression(band, when_s)
        if course.gain_step_at_night is not None and n >= course.gain_step_at_night:
            gain = gain * math.pow(10.0, course.gain_step_db / 10.0)
        if course.gain_by_hour_db:
            table_db = np.full(24, course.gain_by_hour_db[-1])  # a last pass may run over the hour's end
            table_db[list(course.hours)] = course.gain_by_hour_db
            gain = gain * 10.0 ** (table_db[hour_of(when_s)] / 10.0)
        return gain * (external_k / self.median_k(band, when_s)) ** -course.agc_db_per_db

    def _strength(self, n: int, band: int, when_s: Floats) -> Floats:
        """The strong carrier of the band against its median, as a power ratio: slow, no fading."""
        db = self._strong_db[n, band] + 1.0 * self._slow((6, n, band), when_s)
        return np.asarray(10.0 ** (db / 10.0), dtype=np.float64)

    def products_k(self, n: int, band: int, when_s: Floats) -> Floats:
        """Products of the stage as they reach the receiver, K."""
        truth = self.course.bands[band]
        if not truth.overloaded_hours:
            return np.zeros(len(when_s))
        kelvins = Kelvins.of(truth)
        clean_k = kelvins.gain * (self.median_k(band, when_s) + kelvins.stage_k) + kelvins.receiver_k
        median_k = clean_k * (math.pow(10.0, truth.products_db / 10.0) - 1.0)
        follows = self._strength(n, band, when_s) ** truth.products_order
        return np.where(self._overloaded(band, when_s), median_k * follows, 0.0)

    def carrier_w(self, n: int, band: int, number: int, when_s: Floats) -> Floats:
        """The band's carrier of that number at the receiver's input in bypass, W: fading, and absent in some hours."""
        course, truth = self.course, self.course.bands[band]
        kelvins = Kelvins.of(truth)
        median_k = self.median_k(band, when_s) + kelvins.receiver_k
        over = math.pow(10.0, truth.carrier_over_noise_db[number] / 10.0)
        mean_w = BOLTZMANN_J_PER_K * course.bandwidth_hz * median_k * over * self._strength(n, band, when_s)
        hours = hour_of(when_s)
        absent = np.random.default_rng((self.seed, 8, n, band, number)).random(24) < course.carriers_absent
        return np.where(absent[hours], 0.0, mean_w * self._fading((n, band, number), when_s))

    def _fading(self, carrier: tuple[int, int, int], when_s: Floats) -> Floats:
        """What fading makes of a carrier's power, a factor with mean 1."""
        course = self.course
        if course.carrier_doppler_hz is not None:
            own = int(np.random.default_rng((self.seed, 13, *carrier)).integers(2**62))
            voltage = Fading(course.carrier_doppler_hz, course.carrier_steadiness, own).at(when_s)
            return np.asarray(np.abs(voltage) ** 2, dtype=np.float64)
        steady = math.sqrt(course.carrier_steadiness / (1.0 + course.carrier_steadiness))
        scattered = math.sqrt(0.5 / (1.0 + course.carrier_steadiness))
        real = steady + scattered * self._waves((7, *carrier, 0), when_s, 4.0, 90.0)
        imaginary = scattered * self._waves((7, *carrier, 1), when_s, 4.0, 90.0)
        return real * real + imaginary * imaginary

    def passer_by_w(self, n: int, band: int, number: int, when_s: Floats) -> Floats:
        """A signal on a channel that was chosen to be empty: speech comes in words, so it is on and off."""
        return self._speech_w(n, band, number, when_s) + self._resident_w(n, band, number, when_s)

    def _resident_w(self, n: int, band: int, number: int, when_s: Floats) -> Floats:
        """A carrier that stays on the channel."""
        course = self.course
        if course.resident_over_noise_db is None or number:
            return np.zeros(len(when_s))
        kelvins = Kelvins.of(course.bands[band])
        median_k = self.median_k(band, when_s) + kelvins.receiver_k
        mean_w = BOLTZMANN_J_PER_K * course.bandwidth_hz * median_k
        mean_w = mean_w * math.pow(10.0, course.resident_over_noise_db / 10.0)
        if course.resident_fades:
            real, imaginary = (self._waves((12, n, band, part), when_s, 4.0, 90.0) for part in range(2))
            mean_w = mean_w * (real * real + imaginary * imaginary) / 2.0
        hours = course.hours if course.resident_hours is None else course.resident_hours
        return np.where(np.isin(hour_of(when_s), hours), mean_w, 0.0)

    def _speech_w(self, n: int, band: int, number: int, when_s: Floats) -> Floats:
        course = self.course
        slots = (when_s // 600.0).astype(np.int64)
        rng = np.random.default_rng((self.seed, 9, n, band, number))
        there = rng.random(144) < course.occupied
        if not there.any():
            return np.zeros(len(when_s))
        kelvins = Kelvins.of(course.bands[band])
        over = 10.0 ** (rng.uniform(3.0, 25.0, 144) / 10.0)
        noise_w = BOLTZMANN_J_PER_K * course.bandwidth_hz * (self.median_k(band, when_s) + kelvins.receiver_k)
        speaking = self._waves((10, n, band, number), when_s, 0.3, 5.0) > 0.0
        return np.where(there[slots] & speaking, noise_w * over[slots], 0.0)


def hour_of(when_s: Floats) -> NDArray[np.int64]:
    """Hour UTC of seconds after noon."""
    return ((when_s // 3600.0).astype(np.int64) + 12) % 24
