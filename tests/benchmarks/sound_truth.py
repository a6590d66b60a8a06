"""Nights by sound against a planted truth, with the gain control off and on, beside a perfect meter.

Each campaign is a band at one hour: nights of passes, each drawn as audio of a receiver with noise, a carrier that
fades (20 dB over the noise of 2.4 kHz, Clarke at 0.15 Hz, Rice K of 3 dB) and external noise that differs from night to
night. The same audio is read with the gain control off, as levels, and through a fast gain control, as ratios; what a
pass calls makes the rows, and the analysis makes the findings. A perfect meter reads the true power of the same stays,
with no scatter but that of 2.4 kHz in a second, and a carrier that fades as that one does.

    python -m tests.benchmarks.sound_truth [--quick] [--campaigns N] [--seed N] [--write docs/audio.md]
"""

import argparse
import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.signal import hilbert
from scipy.stats import binomtest

from drivers.contracts import Block
from sweeper.analysis import Interval, MeterFacts, StationFacts, find, summarise_day
from sweeper.simulation.recordings.gain_control import GainControl
from sweeper.simulation.recordings.planted import FAST, Chain, over_noise
from sweeper.spectra.axis import axis_of
from sweeper.spectra.calm import calm_spectrum
from sweeper.spectra.gain_out import gain_out
from sweeper.spectra.rows import CELL_HZ, NothingHeard, learn, ratios, rows
from sweeper.store.frames import frame_of
from sweeper.words import (
    ANTENNA_BYPASS,
    ANTENNA_STAGE,
    LOAD_BYPASS,
    LOAD_STAGE,
    Channel,
    Labelled,
    Reading,
)
from tests.benchmarks.written import write_between

RATE_HZ, DIAL_HZ, STAY_S, SETTLED_S = 12_000, 9_999_000, 1.5, 0.4
ORDER = (LOAD_BYPASS, ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS, LOAD_STAGE)
NOISE = Channel("31 m", DIAL_HZ + 1000, "noise", 2400)
CARRIER = replace(NOISE, purpose="carrier")
NIGHTS, PASSES, HOUR = 5, 4, 20
NIGHT_SD_DB = 2.0
CHAINS = (
    Chain(external=12.0, receiver=60.0, stage=2.3, gain=33.0),  # the stage helps by some 7 dB
    Chain(external=60.0, receiver=28.0, stage=2.3, gain=33.0),  # by 1.6 dB
    Chain(external=300.0, receiver=28.0, stage=2.3, gain=33.0),  # by 0.4 dB
    Chain(external=60.0, receiver=10.0, stage=30.0, gain=10.0),  # it costs 1.3 dB
)
K, DOPPLER_HZ, SNR_DB = 10**0.3, 0.15, 20.0
FULL_SCALE = 1e-5
"""Volts of full scale of kT0·Hz at the receiver's input, squared."""
WAYS = ("perfect meter", "sound, gain control off", "sound, fast gain control")
BEGIN = date(2026, 11, 1)


@dataclass
class Found:
    """What campaigns came to: errors of the S/N change in dB, whether intervals held, verdicts."""

    errors: list[float] = field(default_factory=list)
    halves: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    decided: int = 0
    wrong: int = 0


def change_db(chain: Chain, external: float) -> float:
    """What the stage brings at this noise from outside."""
    noise = [chain.noise(path, external) for path in (ANTENNA_BYPASS, ANTENNA_STAGE)]
    return 10 * math.log10(chain.gain * noise[0] / noise[1])


def usual_db(chain: Chain) -> float:
    """The mean of that over all nights that could be."""
    at = np.linspace(-4, 4, 801)
    weight = np.exp(-(at**2) / 2)
    each = [change_db(chain, chain.external * 10 ** (NIGHT_SD_DB * x / 10)) for x in at.tolist()]
    return float(weight @ each / weight.sum())


@dataclass(frozen=True)
class Pass:
    """One pass on the air: noise from outside and the carrier's fade in power, shape (samples,), mean 1."""

    chain: Chain
    carrier: float
    faded: NDArray[np.float64]

    @staticmethod
    def drawn(chain: Chain, external: float, dice: np.random.Generator) -> "Pass":
        """The carrier is as strong as on an ordinary night, and fades as Clarke and Rice have it."""
        at_s = np.arange(round(STAY_S * len(ORDER) * RATE_HZ)) / RATE_HZ
        coarse_s = np.arange(0.0, at_s[-1] + 0.05, 0.05)
        way = np.cos(2 * np.pi * dice.random(32))[:, None]
        turn = dice.random(32)[:, None]
        waves = np.exp(2j * np.pi * (DOPPLER_HZ * way * coarse_s + turn)).sum(axis=0) / math.sqrt(32)
        field = math.sqrt(K / (K + 1)) * np.exp(2j * np.pi * dice.random()) + waves / math.sqrt(K + 1)
        faded = np.interp(at_s, coarse_s, np.abs(field) ** 2)
        return Pass(replace(chain, external=external), over_noise(chain, SNR_DB), faded)

    def stay(self, nth: int) -> NDArray[np.float64]:
        """Its fade within one stay, what settles included."""
        count = round(STAY_S * RATE_HZ)
        return self.faded[nth * count : (nth + 1) * count]

    def sound(self, dice: np.random.Generator) -> NDArray[np.float32]:
        """What the receiver gives with its gain held: noise and carrier through a filter, the card's noise beside."""
        parts = []
        for nth, path in enumerate(ORDER):
            faded = self.stay(nth)
            noise = math.sqrt(self.chain.noise(path) * RATE_HZ / 2) * dice.normal(size=len(faded))
            hz = np.fft.rfftfreq(len(faded), 1 / RATE_HZ)
            band = np.fft.rfft(noise) * ((hz >= 300.0) & (hz <= 2700.0))
            power = self.carrier * faded if path.source == "antenna" else 0.0 * faded
            power *= self.chain.gain if path.route == "stage" else 1.0
            at_s = (nth * len(faded) + np.arange(len(faded))) / RATE_HZ
            parts.append(np.fft.irfft(band, len(faded)) + np.sqrt(2 * power) * np.cos(2000 * np.pi * at_s))
        whole = np.concatenate(parts) * FULL_SCALE
        return (whole + 1e-6 * dice.normal(size=len(whole))).astype(np.float32)


def by_sound(sound: NDArray[np.float32], number: int, began: datetime, held: bool) -> Iterator[Reading]:
    """The rows of a pass, as the engine makes them."""
    axis = axis_of(RATE_HZ, real=True, centre_hz=DIAL_HZ, band_hz=(0.0, 5000.0))
    band_hz = (200.0, 3000.0)
    sequence = []
    for nth, path in enumerate(ORDER):
        first = round((nth * STAY_S + SETTLED_S) * RATE_HZ)
        block = Block(sound[first : first + RATE_HZ], RATE_HZ, (0.0, 1.0))
        from_s = began.timestamp() + nth * STAY_S + SETTLED_S
        made = [(0.0, 1.0, calm_spectrum(block, axis, band_hz))] if held else gain_out(block, axis, band_hz)
        sequence += [Labelled(from_s + a, from_s + z, path, DIAL_HZ, one) for a, z, one in made]
    for channel in (NOISE, CARRIER) if held else (CARRIER,):
        try:
            learned = learn(channel, number, sequence, 3000.0)
        except NothingHeard:
            continue
        for one in sequence:
            yield from rows(one, learned) if held else ratios(one, learned, CARRIER.hz)


def by_meter(one: Pass, number: int, began: datetime, dice: np.random.Generator) -> Iterator[Reading]:
    """The true powers of the stays, the noise with the scatter of 2.4 kHz in a second."""
    for nth, path in enumerate(ORDER):
        when = began + timedelta(seconds=nth * STAY_S + SETTLED_S + 0.5)
        first = round(SETTLED_S * RATE_HZ)
        noise = one.chain.noise(path) * CELL_HZ
        signal = one.carrier * float(one.stay(nth)[first : first + RATE_HZ].mean())
        signal *= (path.source == "antenna") * (one.chain.gain if path.route == "stage" else 1.0)
        for channel, power in ((NOISE, noise * dice.gamma(2400.0) / 2400.0), (CARRIER, signal + noise)):
            here = replace(channel, bandwidth_hz=CELL_HZ)
            yield Reading(when, number, here, path, 10 * math.log10(power) - 100.0, None)


def campaign(chain: Chain, seed: int) -> tuple[list[float], dict[str, list[Reading]]]:
    """The noise from outside of each night, and the readings by every way."""
    dice = np.random.default_rng([seed, 18])
    outside = (chain.external * 10 ** (NIGHT_SD_DB / 10 * dice.normal(size=NIGHTS))).tolist()
    found: dict[str, list[Reading]] = {way: [] for way in WAYS}
    for night, external in enumerate(outside):
        for nth in range(PASSES):
            number = PASSES * night + nth + 1
            began = datetime(BEGIN.year, BEGIN.month, BEGIN.day, HOUR, tzinfo=UTC)
            began += timedelta(days=night, minutes=15 * nth)
            one = Pass.drawn(chain, external, dice)
            sound = one.sound(dice)
            loud = FULL_SCALE * math.sqrt(one.chain.noise(ANTENNA_BYPASS) * 2400.0)
            followed = GainControl(FAST, RATE_HZ, loud).take(hilbert(sound).astype(np.complex64)).real
            found[WAYS[0]] += by_meter(one, number, began, dice)
            found[WAYS[1]] += by_sound(sound, number, began, held=True)
            found[WAYS[2]] += by_sound(followed, number, began, held=False)
    return outside, found


FACTS = StationFacts(
    name="Saltmarsh",
    latitude=56.2,
    longitude=8.1,
    environment="rural",
    channels=(NOISE, CARRIER),
    meter=MeterFacts("raw", False, averaging_s=1.0, linear=True),
    rated_gain_db=None,
    rated_noise_figure_db=None,
    source_enr_db=None,
    worthwhile_db=1.0,
    confidence=0.95,
    fingerprint="sound",
)


def judge(chain: Chain, outside: list[float], readings: list[Reading], found: Found) -> None:
    """Hold the findings of a campaign against what was planted."""
    frame = frame_of(readings)
    days = frame.with_columns(day=pl.col("time").dt.date()).partition_by("day", include_key=False)
    findings, _ = find(pl.concat([summarise_day(day, FACTS) for day in days]), FACTS)
    (period,) = findings.bands[0].periods
    wanted = float(np.mean([change_db(chain, each) for each in outside]))
    _hold(period.measured_db, wanted, found)
    if period.measured_db is not None:
        found.errors.append(period.measured_db.value - wanted)
    _hold(period.snr_change_db, usual_db(chain), found)
    if period.verdict != "undecided":
        usual = usual_db(chain)
        right = {"stage": usual > 0.0, "bypass": usual < 0.0, "either": abs(usual) < 1.0}[period.verdict]
        found.decided += 1
        found.wrong += not right


def _hold(interval: Interval | None, wanted: float, found: Found) -> None:
    if interval is not None:
        found.held.append(interval.low <= wanted <= interval.high)
        found.halves.append((interval.high - interval.low) / 2)


def table(found: dict[str, Found], campaigns: int, seed: int) -> str:
    """What the page shows."""
    told = [
        f"{campaigns} campaigns of {NIGHTS} nights with {PASSES} passes in one hour, seed {seed}; S/N change, dB.",
        "",
        "| read by | mean error (its standard error) | intervals that hold the truth "
        "| half-width, median | verdicts | wrong |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for way, one in found.items():
        errors = np.array(one.errors)
        share = binomtest(sum(one.held), len(one.held)).proportion_ci(method="wilson")
        se = errors.std(ddof=1) / math.sqrt(len(errors))
        told.append(
            f"| {way} | {errors.mean():+.3f} (±{se:.3f}) | {sum(one.held)} of {len(one.held)} "
            f"({100 * share.low:.0f} to {100 * share.high:.0f} %) | {np.median(one.halves):.2f} | "
            f"{one.decided} of {campaigns} | {one.wrong} |"
        )
    return "\n".join(told).replace("-0.", "−0.")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="two campaigns, to see that it runs")
    parser.add_argument("--campaigns", type=int, default=80)
    parser.add_argument("--seed", type=int, default=18)
    parser.add_argument("--write", type=Path, help="page to put the table into")
    asked = parser.parse_args()
    campaigns = 2 if asked.quick else asked.campaigns
    found = {way: Found() for way in WAYS}
    for nth in range(campaigns):
        chain = CHAINS[nth % len(CHAINS)]
        outside, readings = campaign(chain, 1000 * asked.seed + nth)
        for way, each in readings.items():
            judge(chain, outside, each, found[way])
    told = table(found, campaigns, asked.seed)
    print(told, flush=True)
    for way, one in found.items():
        assert len(one.held) >= campaigns, way
        assert abs(np.mean(one.errors)) < (1.0 if asked.quick else 0.2), way
    if asked.write is not None:
        write_between(asked.write, "sound_truth", told)


if __name__ == "__main__":
    main()
