"""Whole bands by samples: how well a night tells the S/N change, and how much its spectra take on disk.

A tuning of 128 kHz is drawn bin by bin: noise of a known density on each path, ten carriers that fade (Clarke,
Rician), and, in half of the nights, keyed signals over half of the bins. The same spectra are read twice: as the
program reads them, and with one noise channel of 2400 Hz and one carrier, which is what a narrow receiver would have of
the time.
Both go through the whole analysis. Nothing of the drawing is shared with it.

    python -m tests.benchmarks.samples [--quick] [--write docs/speed.md]

Exits 1 when the variance is over a quarter of the narrow receiver's, or fewer than 94 % of the intervals hold the truth
by more than chance, or a day's spectra, thinned, take over a megabyte.
"""

import argparse
import math
import multiprocessing
import statistics
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.stats import binom

from sweeper.analysis import StationFacts, findings_from, summarise_day, table_of
from sweeper.reduction import facts_of
from sweeper.simulation.world.fading import Fading
from sweeper.spectra.grouped import in_groups
from sweeper.spectra.lines import to_read, with_pass
from sweeper.spectra.rows import rows
from sweeper.spectra.tuning import Asked, learn_tuning
from sweeper.station import load
from sweeper.store import Store
from sweeper.store.frames import frame_of
from sweeper.words import Channel, Labelled, PassRecord, Reading, SignalPath, Spectrum
from tests.benchmarks.written import write_between

EVENING = datetime(2026, 11, 1, 18, tzinfo=UTC)
BINS, STEP_HZ, START_HZ, SEGMENTS = 4096, 31.25, 28_000_000, 12
NOISE_BANDWIDTH_HZ = 62.65
ORDER = ["antenna-bypass", "load-bypass", "load-stage", "antenna-stage", "antenna-stage", "antenna-bypass"]
GAIN, STAGE_NOISE, RECEIVER, SKY, LOAD = 30.0, 0.4, 1.0, 1.5, 0.02
"""Power gain, and densities at the input: of stage, receiver, antenna and load; the receiver's is 1."""
KERNEL = np.array([0.35875, 0.48829 / 2, 0.14128 / 2, 0.01168 / 2]) / 0.35875
"""How the window spreads a line over its neighbours, in voltage (4-term Blackman-Harris: Harris 1978)."""
CARRIERS, PASSES, APART, BAND = 10, 10, timedelta(minutes=12), "10 m"
MOST_OF_VARIANCE, LEAST_HELD, LARGEST_THINNED = 0.25, 0.94, 1_000_000
STATION = """\
station: {name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}
receiver:
  {driver: iq-tcp, link: "tcp://127.0.0.1:1234", settle_s: 0.05, sample_rate_hz: 256000, spectrum: {seconds: 0.2}}
switch:
  driver: modbus
  link: tcp://127.0.0.1:5020
  settle_s: 0.03
  paths:
    {antenna-bypass: {0: off, 1: off}, antenna-stage: {0: on, 1: off}, load-bypass: {0: off, 1: on},
     load-stage: {0: on, 1: on}}
bands: [{name: 10 m, edges_hz: [28000000, 28128000]}]
"""


class Told(NamedTuple):
    """What nights of one kind came to: errors in decibels, and how many intervals held the truth."""

    wide_db: list[float]
    narrow_db: list[float]
    held: int
    intervals: int


def density(path: str) -> float:
    """Noise on a path, over that of the receiver alone."""
    outside = SKY if path.startswith("antenna") else LOAD
    return RECEIVER + (GAIN * (outside + STAGE_NOISE) if path.endswith("stage") else outside)


TRUE_DB = 10.0 * math.log10(GAIN * density("antenna-bypass") / density("antenna-stage"))


class Night:
    """A tuning's signals on one night."""

    def __init__(self, seed: int, occupied: bool) -> None:
        self._dice = np.random.default_rng(seed)
        self._at = np.sort(self._dice.choice(np.arange(60, BINS - 60, 120), CARRIERS, replace=False))
        self._powers = 10 ** self._dice.uniform(1.5, 3.5, CARRIERS)
        self._fading = [Fading(0.1, 2.0, 100 * seed + nth) for nth in range(CARRIERS)]
        self._keyed = np.zeros(BINS)
        if occupied:
            many = BINS // 2
            places = self._dice.permutation(BINS // 32)[: many // 32]
            for place in places:
                self._keyed[place * 32 : place * 32 + 32] = 10 ** self._dice.uniform(0.0, 2.0)

    def quiet_hz(self) -> int:
        """The middle of 3 kHz in which nothing stands: where somebody would put a narrow receiver's noise channel."""
        taken = self._keyed > 0.0
        for middle in self._at:
            taken[middle - 8 : middle + 9] = True
        first = next(at for at in range(BINS - 96) if not taken[at : at + 96].any())
        return round(START_HZ + (first + 48) * STEP_HZ)

    def spectrum(self, path: str, at_s: float) -> Spectrum:
        """What a visit of 0.2 s from `at_s` on sees."""
        dice, gain = self._dice, GAIN if path.endswith("stage") else 1.0
        noise = np.full(BINS, density(path))
        signal = np.zeros(BINS)
        if path.startswith("antenna"):
            keyed = np.repeat(dice.random(BINS // 32) < 0.5, 32)
            noise += gain * self._keyed * keyed
            times = at_s + np.array([0.0, 0.1, 0.2])
            for middle, power, fading in zip(self._at, self._powers, self._fading, strict=True):
                now = gain * power * float(np.mean(np.abs(fading.at(times)) ** 2))
                for away in range(-3, 4):
                    signal[middle + away] += now * KERNEL[abs(away)] ** 2
        mean = noise * dice.gamma(SEGMENTS, 1.0 / SEGMENTS, BINS) + signal
        mean += np.sqrt(2.0 * noise * signal / SEGMENTS) * dice.standard_normal(BINS)
        kept = np.maximum(mean, 1e-6).astype(np.float32) * np.float32(1e-8)
        return Spectrum(START_HZ, STEP_HZ, kept, None, SEGMENTS, NOISE_BANDWIDTH_HZ)


def night(seed: int, occupied: bool) -> tuple[list[Reading], list[Reading]]:
    """Readings of a night: as the program has them, and as a narrow receiver would."""
    sky, known = Night(seed, occupied), dict[int, float]()
    edges = (START_HZ, START_HZ + round(BINS * STEP_HZ))
    centre_hz = START_HZ + BINS * STEP_HZ / 2 + 20.0 * STEP_HZ
    wide: list[Reading] = []
    narrow: list[Reading] = []
    for number in range(1, PASSES + 1):
        begun_s = EVENING.timestamp() + (number - 1) * APART.total_seconds() + 7.0 * math.sin(number)
        sequence = [
            Labelled(at_s, at_s + 0.2, SignalPath.parse(path), centre_hz, sky.spectrum(path, at_s))
            for nth, path in enumerate(ORDER)
            for at_s in [begun_s + 0.5 * nth]
        ]
        lines = to_read(known, edges)
        learned, stood = learn_tuning(Asked(BAND, (edges,), lines), number, sequence)
        known = with_pass(known, stood)
        wide += [row for one in sequence for row in rows(one, learned)]
        quiet = sky.quiet_hz()
        few = Asked(BAND, ((quiet - 1200, quiet + 1200),), ())
        part = [_around(one, quiet) for one in sequence]
        narrow += [row for one in part for row in rows(one, learn_tuning(few, number, part)[0])]
        narrow += [
            row
            for one in sequence
            for row in rows(one, learned)
            if row.channel.purpose == "carrier" and row.channel.hz in lines[:1]
        ]
    return wide, narrow


def _around(one: Labelled, hz: int) -> Labelled:
    """16 kHz of a spectrum: what a narrow receiver's noise channel is found in."""
    first = min(max(round((hz - START_HZ) / STEP_HZ) - 256, 0), BINS - 512)
    part = one.spectrum.mean[first : first + 512]
    return replace(one, spectrum=replace(one.spectrum, start_hz=START_HZ + first * STEP_HZ, mean=part))


def errors(readings: list[Reading], facts: StationFacts) -> tuple[list[float], list[bool]]:
    """By hour: the S/N change less the truth, in decibels, and whether its interval holds the truth."""
    summaries = summarise_day(frame_of(readings), facts)
    found = findings_from(table_of(summaries, facts), summaries, facts)
    changes = [hour.snr_change_db for band in found.bands for hour in band.periods]
    told = [change for change in changes if change is not None]
    return [each.value - TRUE_DB for each in told], [each.low <= TRUE_DB <= each.high for each in told]


def nights(count: int, occupied: bool, facts: StationFacts) -> Told:
    wide: list[float] = []
    narrow: list[float] = []
    held: list[bool] = []
    for seed in range(1, count + 1):
        both = night(seed + 1000 * occupied, occupied)
        off, holds = errors(both[0], facts)
        wide, held = wide + off, held + holds
        narrow += errors(both[1], facts)[0]
        print(f"night {seed} of {count}", file=sys.stderr)
    return Told(wide, narrow, sum(held), len(held))


def day_bytes(passes: int) -> tuple[int, int]:
    """Bytes of a day's spectra of nine bands, in full and thinned; of `passes` stored, scaled to 144."""
    dice = np.random.default_rng(3)
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder), "Saltmarsh", 8.1) as store:
        for number in range(1, passes + 1):
            at = EVENING + timedelta(minutes=10) * (number - 1)
            sky = Night(number, occupied=True)
            heard = [
                (f"band {band}", Labelled(at_s, at_s + 0.5, SignalPath.parse(path), None, in_groups(seen)))
                for band in range(9)
                for nth, path in enumerate(ORDER)
                for at_s in [at.timestamp() + 5.0 * band + 0.5 * nth]
                for seen in [sky.spectrum(path, at_s)]
            ]
            level = float(dice.normal())
            row = Reading(at, number, _channel(), SignalPath.parse(ORDER[0]), level, None, "")
            store.write_pass(PassRecord(number, at, at + timedelta(minutes=1), "done", "", 0), [row], heard)
        store.finish_days(EVENING + timedelta(days=3))
        full = _bytes(store)
        store.finish_days(EVENING + timedelta(days=40), keep_spectra_days=14)
        return round(full * 144 / passes), round(_bytes(store) * 144 / passes)


def _channel() -> Channel:
    return Channel("band 0", 28_100_000, "noise", 281)


def _bytes(store: Store) -> int:
    return sum(file.stat().st_size for file in (store.folder / "spectra").glob("*.parquet"))


def variance_ratio(told: Told) -> float:
    """Of the program's errors over the narrow receiver's; about the truth, so that a bias counts."""
    return statistics.fmean(e * e for e in told.wide_db) / statistics.fmean(e * e for e in told.narrow_db)


def table(kinds: dict[str, Told], full: int, thinned: int) -> str:
    lines = [
        f"| {datetime.now(UTC):%-d %B %Y}, nights of {PASSES} passes | " + " | ".join(kinds) + " |",
        "| --- |" + " --- |" * len(kinds),
    ]
    for name, of in (
        ("hours told", lambda told: f"{len(told.wide_db)}"),
        ("S/N change: mean error ± its standard error, dB", _bias),
        ("standard deviation about the truth, dB", lambda told: f"{_rms(told.wide_db):.3f}"),
        ("the same, one noise channel and one carrier, dB", lambda told: f"{_rms(told.narrow_db):.3f}"),
        (
            "variance over that of one noise channel and one carrier",
            lambda told: f"{variance_ratio(told):.3f}",
        ),
        ("95 % intervals that hold the truth", lambda told: f"{100 * told.held / told.intervals:.1f} %"),
    ):
        lines.append(f"| {name} | " + " | ".join(of(told) for told in kinds.values()) + " |")
    return "\n".join(
        (
            *lines,
            "",
            f"Spectra of nine bands, six visits each, every ten minutes: {full / 1e6:.1f} MB a day in full, "
            f"{thinned / 1e6:.2f} MB thinned.",
        )
    )


def _rms(errors_db: list[float]) -> float:
    return math.sqrt(statistics.fmean(error * error for error in errors_db))


def _bias(told: Told) -> str:
    se = statistics.stdev(told.wide_db) / math.sqrt(len(told.wide_db))
    return f"{statistics.fmean(told.wide_db):+.3f} ± {se:.3f}"


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="a few nights")
    parser.add_argument("--nights", type=int, default=14)
    parser.add_argument("--write", type=Path)
    options = parser.parse_args()
    count = 3 if options.quick else options.nights
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "station.yaml"
        file.write_text(STATION, encoding="utf-8")
        facts = facts_of(load(file))
    with ProcessPoolExecutor(3, multiprocessing.get_context("spawn")) as pool:
        free, half = (pool.submit(nights, count, occupied, facts) for occupied in (False, True))
        disk = pool.submit(day_bytes, 6 if options.quick else 144)
        kinds = {"free but for ten carriers": free.result(), "half occupied": half.result()}
        full, thinned = disk.result()
    text = table(kinds, full, thinned)
    print(text)
    if options.write is not None:
        write_between(options.write, "samples", text)
    fails = [
        name
        for name, told in kinds.items()
        if (variance_ratio(told) > MOST_OF_VARIANCE and not options.quick)
        or told.held < binom.ppf(0.001, told.intervals, LEAST_HELD)
    ]
    return 1 if fails or thinned > LARGEST_THINNED else 0


if __name__ == "__main__":
    sys.exit(main())
