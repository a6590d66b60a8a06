"""Readings as spectra of a whole band give them: cells of noise and carriers that share their times. Drawn, no formula
of the analysis in it."""

import math
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from sweeper.analysis import StationFacts
from sweeper.analysis.facts import MeterFacts
from sweeper.words import Channel
from tests.sweeper.analysis.nights import Night, facts

BEGIN = datetime(2026, 11, 1, 18, tzinfo=UTC)
BAND, START_HZ, CELLS = "31 m", 9_400_000, 8
ORDER = ("antenna-bypass", "load-bypass", "load-stage", "antenna-stage", "antenna-stage", "antenna-bypass")
GAIN, SKY, STAGE, RECEIVER, LOAD = 30.0, 1.5, 0.4, 1.0, 0.02
"""Power gain, and densities at the input: of antenna, stage, receiver and load."""
STATION: StationFacts = facts(
    Night(), channels=(Channel(BAND, START_HZ, "noise", 281),), meter=MeterFacts("raw", False, linear=True)
)


def density(path: str) -> float:
    outside = SKY if path.startswith("antenna") else LOAD
    return RECEIVER + (GAIN * (outside + STAGE) if path.endswith("stage") else outside)


TRUE_DB = 10.0 * math.log10(GAIN * density("antenna-bypass") / density("antenna-stage"))


def night(
    nth: int,
    moved_db: Callable[[int, str], float] = lambda hour, path: 0.0,
    hours: int = 4,
    carriers: int = 6,
    uneven_db: float = 0.0,
    seed: int = 0,
) -> pl.DataFrame:
    """One night of five passes an hour. `moved_db`: what the receiver's gain adds to all levels, by hour (from 0) and
    path; `uneven_db`: how far the stage's gain for a carrier strays from that for the noise."""
    dice = np.random.default_rng([seed, nth])
    strays = 10 ** (np.random.default_rng(seed).normal(0.0, uneven_db, carriers) / 10)
    rows = []
    for number in range(hours * 5):
        hour = number // 5
        fades = dice.exponential(1.0, carriers)
        for stay, path in enumerate(ORDER):
            when = BEGIN + timedelta(days=nth, hours=hour, seconds=720 * (number % 5) + 0.5 * stay)
            moved = moved_db(hour, path)
            noise = density(path)
            powers = noise * dice.gamma(1000.0, 1e-3, CELLS)
            place = [(START_HZ + 60_000 * cell, "noise", power) for cell, power in enumerate(powers)]
            gain = GAIN * strays if path.endswith("stage") else np.ones(carriers)
            fades = np.abs(fades + dice.normal(0.0, 0.05, carriers) * np.sqrt(fades))
            signal = 300.0 * fades * gain if path.startswith("antenna") else np.zeros(carriers)
            heard = signal + noise * dice.gamma(12.0, 1 / 12.0, carriers)
            place += [(START_HZ + 30_100 + 60_000 * n, "carrier", power) for n, power in enumerate(heard)]
            source, route = path.split("-")
            rows += [
                (when, 100 * nth + number, hz, purpose, source, route, 10 * math.log10(power) - 90.0 + moved)
                for hz, purpose, power in place
            ]
    names = ["time", "pass", "hz", "for", "source", "route", "reading"]
    frame = pl.DataFrame(rows, schema=names, orient="row")
    return frame.select(
        pl.col("time").cast(pl.Datetime("ms", "UTC")),
        "pass",
        pl.lit(BAND).alias("band"),
        pl.col("hz").cast(pl.Int64),
        "for",
        "source",
        "route",
        "reading",
        pl.lit(None, pl.Float64).alias("dbm"),
        pl.lit(281).cast(pl.Int64).alias("bandwidth_hz"),
        pl.lit("").alias("flags"),
    )
