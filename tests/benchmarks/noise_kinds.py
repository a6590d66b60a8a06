"""What the finders of noise find: combs, mains-synchronous shares, false finds and splits, against planted truth.

    python -m tests.benchmarks.noise_kinds --quick
    python -m tests.benchmarks.noise_kinds --page docs/noise-truth.md

Samples and spectra are made here, by a generator that shares no line with the finders. Targets: ten lines of 3 dB over
the noise found in at least 95 %, their spacing within 0.1 %; a mains-synchronous share of 20 % within five points;
at most one night of a hundred with a source on plain and on broadcast-filled tunings; a split that covers its truth in
93 to 98 %.
"""

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from scipy.stats import beta

from sweeper.noise.in_pass import in_pass
from sweeper.noise.seen import Found, Heard
from sweeper.noise.sources import sources
from sweeper.noise.split import split
from sweeper.words import ANTENNA_BYPASS, Labelled, Spectrum

SEGMENTS, STEP_HZ, VISITS = 30, 31.25, 2
"""As half a second of samples gives, twice a pass."""
PASSES = 12
"""Of a night in which false finds are counted: sources want three that agree, and stations stand all night."""
WAYS = ("cos", "burst of a fifth", "burst of half", "rectified sine")


@dataclass(frozen=True)
class Row:
    """A figure: how many of how many, or a value, with its target."""

    name: str
    cases: int
    value: float
    target: str
    met: bool | None
    """None where so few cases cannot show it."""


def smoothed_noise(dice: np.random.Generator, mean: np.ndarray) -> np.ndarray:
    """Powers of a spectrum, neighbours sharing their noise as the window makes them."""
    shape = SEGMENTS / 1.05
    drawn = dice.gamma(shape, 1 / shape, len(mean))
    return mean * drawn


def spectra(dice: np.random.Generator, mean: np.ndarray, low_hz: float = 7.0e6) -> list[tuple[str, Labelled]]:
    """The visits of a pass."""
    return [
        (
            "40 m",
            Labelled(
                1000.0, 1000.5, ANTENNA_BYPASS, None,
                Spectrum(low_hz, STEP_HZ, smoothed_noise(dice, mean).astype(np.float32), None, SEGMENTS, 2.004),
            ),
        )
        for _ in range(VISITS)
    ]  # fmt: skip


def lines(bins: int, hz: np.ndarray, over: np.ndarray) -> np.ndarray:
    """Lines as the window shows them, two bins wide at half of their power: a bell fitted to it, from memory."""
    shown = np.zeros(bins)
    for at, height in zip(hz / STEP_HZ, over, strict=True):
        first = max(int(at) - 5, 0)
        place = np.arange(first, min(first + 11, bins))
        shown[place] += height * np.exp(-(((place - at) / 1.14) ** 2))
    return shown


def comb_case(seed: int) -> tuple[bool, float]:
    """Ten lines of 3 dB over the noise: whether they were found, and how far off the spacing was, as a share."""
    dice = np.random.default_rng([seed, 1])
    every = dice.uniform(20e3, 100e3)
    width_hz = 10 * every
    bins = int(width_hz / STEP_HZ)
    hz = dice.uniform(0.05, 0.95) * every + np.arange(10) * every
    mean = 1.0 + lines(bins, hz, np.full(10, 2.0))
    (heard,) = in_pass(1, spectra(dice, mean))
    offs = [abs(found.every_hz / every - 1) for found in heard.found if found.kind == "comb"]
    off = min(offs, default=1.0)
    return off < 0.01, off


def envelope_case(seed: int, way: str, share: float = 0.2) -> float:
    """The share that a tuning 200 kHz wide reads; 0 where none is found."""
    from drivers.contracts import Block
    from sweeper.spectra.axis import axis_of
    from sweeper.spectra.quiet import with_envelope
    from sweeper.spectra.welch import spectrum

    dice, rate_hz, made = np.random.default_rng([seed, 12]), 256_000.0, []
    axis = axis_of(rate_hz, real=False, centre_hz=7.1e6, band_hz=(-100e3, 100e3), step_hz=STEP_HZ)
    mains_hz = dice.choice([50.0, 60.0]) * (1 + dice.uniform(-0.002, 0.002))
    count = int(rate_hz / 2)
    for _ in range(VISITS):
        turn = (2 * mains_hz * (np.arange(count) / rate_hz + dice.uniform())) % 1.0
        swell = {
            "cos": 1 + np.cos(2 * np.pi * turn),
            "burst of a fifth": (turn < 0.2) / 0.2,
            "burst of half": (turn < 0.5) / 0.5,
            "rectified sine": np.sin(np.pi * turn) * np.pi / 2,
        }[way]
        parts = dice.standard_normal((4, count)) / np.sqrt(2)
        wave = np.sqrt(1 - share) * (parts[0] + 1j * parts[1])
        wave += np.sqrt(share * swell) * (parts[2] + 1j * parts[3])
        block = Block(wave.astype(np.complex64), rate_hz, (0.0, 0.5))
        one = with_envelope(spectrum([block], axis), block, axis)
        made.append(("40 m", Labelled(0.0, 0.5, ANTENNA_BYPASS, 7.1e6, one)))
    (heard,) = in_pass(1, made)
    return sum(found.share for found in heard.found if found.kind == "mains")


def stations(dice: np.random.Generator, bins: int) -> Callable[[], np.ndarray]:
    """A band full of broadcasting on a raster, which stands all night and fades: its mean power, pass by pass."""
    raster_hz = float(dice.choice([5e3, 9e3, 10e3]))
    places = np.arange(dice.uniform(0, raster_hz), bins * STEP_HZ, raster_hz)
    taken = places[dice.random(len(places)) < dice.uniform(0.1, 0.9)]
    over_db = dice.uniform(5, 60, len(taken))
    strays = dice.uniform(0, bins * STEP_HZ, 20)
    hz = np.arange(bins) * STEP_HZ

    def one_pass() -> np.ndarray:
        now_db = over_db + dice.normal(0, 5, len(taken))
        mean = 1.0 + lines(bins, taken, 10 ** (now_db / 10))
        for at, each_db in zip(taken, now_db, strict=True):
            beside = np.abs(hz - at) < 4500
            mean[beside] += 10 ** ((each_db - dice.uniform(25, 40)) / 10)
        there = strays[dice.random(20) < 0.7]
        return mean + lines(bins, there, 10 ** dice.uniform(0.3, 3, len(there)))

    return one_pass


def false_case(seed: int, filled: bool) -> tuple[str, ...]:
    """The sources that a night without any shows."""
    dice = np.random.default_rng([seed, 3])
    bins = int(dice.uniform(300e3, 800e3) / STEP_HZ)
    mean = stations(dice, bins) if filled else (lambda: np.ones(bins))
    heard: list[Heard] = []
    for number in range(PASSES):
        heard += in_pass(number, spectra(dice, mean()))
    return tuple(each.name for each in sources(heard))


def split_case(seed: int) -> tuple[int, int]:
    """How many parts of a split held their truth, of how many: eight nights, shares that wander."""
    dice = np.random.default_rng([seed, 4])
    truth = {
        "receiver": dice.uniform(0.05, 0.5),
        "mains": dice.uniform(0.05, 0.3),
        "comb": dice.uniform(0.0, 0.15),
    }
    heard, number, bent = [], 0, dice.uniform(0.85, 1.2)
    for night in range(8):
        moved = {name: share * np.exp(dice.normal(0, 0.15) - 0.01125) for name, share in truth.items()}
        for hour in range(10):
            number += 1
            now = {name: share * np.exp(dice.normal(0, 0.1) - 0.005) for name, share in moved.items()}
            found = [
                Found("mains", 7e6, 7.2e6, now["mains"] * bent, 0.0, -50.0, 50.0),
                Found("comb", 7e6, 7.2e6, now["comb"], 0.0, -60.0, 65e3, lines=10),
            ]
            at = 86_400.0 * (20_000 + night) + 3600.0 * (14 + hour)
            heard.append(
                Heard(at, number, "40 m", 7e6, 7.2e6, -40.0, now["receiver"], 0.0, True, tuple(found))
            )
    (told,) = split(heard)
    parts = {part.name: part for part in told.parts}
    truth["rest"] = 1.0 - sum(truth.values())
    held = [parts[name].low <= share <= parts[name].high for name, share in truth.items()]
    return sum(held), len(held)


def rows(counts: tuple[int, int, int, int], workers: int, first: int = 0) -> Iterator[Row]:
    """Every figure, as it is measured; nights are drawn from number `first` on."""
    combs, ways, nights, splits = counts
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        found = list(pool.map(comb_case, range(combs), chunksize=4))
        share = sum(each for each, _ in found) / combs
        yield Row("ten lines 3 dB over the noise, found", combs, share, "at least 95 %", share >= 0.95)
        near = sum(off < 1e-3 for each, off in found if each) / max(sum(each for each, _ in found), 1)
        yield Row("of those, spacing within 0.1 %", combs, near, "all", near >= 0.99)
        for way in WAYS:
            read = np.array(list(pool.map(partial(envelope_case, way=way), range(ways), chunksize=4)))
            off = float(np.mean(read) - 0.2)
            met = bool(np.all(np.abs(read - 0.2) <= 0.05))
            yield Row(f"mains share of 20 %, {way}: mean error", ways, off, "each within 5 points", met)
        for filled, name in ((False, "plain"), (True, "broadcast-filled")):
            said = list(
                pool.map(partial(false_case, filled=filled), range(first, first + nights), chunksize=2)
            )
            wrong = sum(bool(each) for each in said) / nights
            for each in said:
                if each:
                    print(f"   {name}: {', '.join(each)}", file=sys.stderr)
            most = float(beta.ppf(0.95, wrong * nights + 1, nights * (1 - wrong)))  # Clopper and Pearson 1934
            words = f"nights with a source, {name} tuning; with 95 % no more than {100 * most:.1f} %"
            yield Row(
                words, nights, wrong, "at most 1 %", False if wrong > 0.01 else True if most <= 0.01 else None
            )
        held = list(pool.map(split_case, range(splits), chunksize=10))
        covered = sum(each for each, _ in held) / sum(of for _, of in held)
        yield Row(
            "parts of a split that hold their truth", splits, covered, "93 to 98 %", 0.93 <= covered <= 0.98
        )


def shown(row: Row) -> str:
    """A row of the page."""
    met = "not shown by so few" if row.met is None else "yes" if row.met else "**no**"
    return f"| {row.name} | {row.cases} | {100 * row.value:+.1f} % | {row.target} | {met} |".replace("+", "")


def main() -> None:
    """Measure, print, and write what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--quick", action="store_true", help="a few cases, to see that it runs")
    parser.add_argument("--times", type=int, default=1, help="so many times as many cases")
    parser.add_argument("--nights", type=int, help="so many nights in which nothing is to be found")
    parser.add_argument(
        "--first", type=int, default=0, help="number of the first of these nights, to draw others"
    )
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--page", type=Path)
    asked = parser.parse_args()
    head = "| figure | cases | measured | target | met |\n| --- | --- | --- | --- | --- |"
    print(head)
    every = []
    counts = (4, 1, 2, 10) if asked.quick else tuple(asked.times * each for each in (60, 8, 20, 100))
    if asked.nights:
        counts = (*counts[:2], asked.nights, *counts[3:])
    for row in rows(counts, asked.workers, asked.first):
        every.append(row)
        print(shown(row), flush=True)
    if asked.json:
        asked.json.write_text(json.dumps([asdict(row) for row in every], indent=1) + "\n", encoding="utf-8")
    if asked.page:
        how = "--quick" if asked.quick else f"--times {asked.times}"
        how += f" --nights {asked.nights}" if asked.nights else ""
        how += f" --first {asked.first}" if asked.first else ""
        call = f"python -m tests.benchmarks.noise_kinds {how} --page docs/noise-truth.md"
        text = f"# What makes the noise: figures\n\nWritten by `{call}`.\n\n{head}\n"
        text += "\n".join(shown(row) for row in every)
        text += "\n\nA mean error of a share is in points.\n"
        asked.page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
