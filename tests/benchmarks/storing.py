"""Storing: how small a finished day is and how fast a pass is committed, each beside the same rows stored plainly.

References in the same run: Parquet as polars writes it with zstd and nothing else said, and SQLite with one table of
the same columns. Nights are invented: readings come when a poller's jitter lets them, levels follow a night with a
radiometer's scatter, meters step by 1, 0.1 or 0.01 dB, with and without a curve to dBm.

Finished days keep the columns of the readings table, so that any tool reads them. The bound is for meters that step
by 1 dB, as most do, and for uncalibrated ones that step by 0.1 dB; finer readings hold more that cannot be left out.

    python -m tests.benchmarks.storing [--quick] [--json FILE]
"""

import argparse
import io
import json
import shutil
import sqlite3
import sys
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from sweeper.store import Store, finished
from sweeper.store.frames import schema
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE, Channel, PassRecord, Reading

AT_MOST_BYTES = 3.5
AT_LEAST_OF_SQLITE = 0.1
EVENING = datetime(2026, 11, 1, 16, tzinfo=UTC)
STAYS = (ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, LOAD_STAGE, LOAD_BYPASS, ANTENNA_BYPASS)
READINGS = 8
COLUMNS_SQL = (
    "time INTEGER, pass INTEGER, band TEXT, hz INTEGER, purpose TEXT, source TEXT, route TEXT, reading REAL, dbm REAL, "
    "bandwidth_hz INTEGER, flags TEXT"
)


def night(passes: int, channels: int, step_db: float, calibrated: bool, seed: int) -> pl.DataFrame:
    """A night of readings in the columns of the readings table; every fourth pass visits the load."""
    rng = np.random.default_rng(seed)
    stays = [
        (number, path)
        for number in range(passes)
        for path in (STAYS if number % 4 == 0 else STAYS[:3] + STAYS[5:])
    ]
    visit = np.repeat(np.arange(len(stays) * channels), READINGS)
    stay, channel = visit // channels, visit % channels
    number = np.array([pass_number for pass_number, _ in stays])[stay]
    # A poller waits 50 ms after each answer and 150 ms after tuning; answers take a few milliseconds more or less.
    wait = np.where(np.arange(len(visit)) % READINGS == 0, 200, 50) + np.abs(rng.normal(4, 2, len(visit)))
    since = np.cumsum(wait)
    first_of_pass = np.searchsorted(number, np.arange(passes))
    at_ms = np.round(since - since[first_of_pass][number] + number * 600_000).astype(np.int64)
    path = np.array([path.route == "stage" for _, path in stays])[stay]
    load = np.array([path.source == "load" for _, path in stays])[stay]
    outside = (
        np.linspace(-3, 20, channels)[channel]
        + 5 * np.sin(number / passes * 6)
        + rng.normal(0, 1, passes)[number]
    )
    power = np.where(load, 1.0, 1 + 10 ** (outside / 10)) * np.where(path, 40.0, 1.0)
    level = -54 + 10 * np.log10(power * rng.gamma(48, 1 / 48, len(visit)))
    reading = np.round(np.round(level / step_db) * step_db, 4)
    curve = np.interp(reading, [-60.0, -30.0, 0.0, 30.0], [-134.0, -103.2, -72.9, -41.7])
    frame = pl.DataFrame(
        {
            "time": pl.Series(at_ms + int(EVENING.timestamp() * 1000)).cast(pl.Datetime("ms", "UTC")),
            "pass": number + 1,
            "band": pl.Series([f"band {n // 3}" for n in range(channels)]).gather(channel),
            "hz": 150_000 + channel * 230_000,
            "for": pl.Series(["carrier" if n % 3 == 2 else "noise" for n in range(channels)]).gather(channel),
            "source": pl.Series(["antenna", "load"]).gather(load.astype(np.uint32)),
            "route": pl.Series(["bypass", "stage"]).gather(path.astype(np.uint32)),
            "reading": reading,
            "dbm": curve if calibrated else pl.repeat(None, len(visit), dtype=pl.Float64, eager=True),
            "bandwidth_hz": np.full(len(visit), 2400),
            "flags": pl.Series(["", "floor"]).gather((reading <= -60).astype(np.uint32)),
        }
    )
    return frame.cast(dict(schema()))


def sizes(frame: pl.DataFrame, folder: Path) -> dict[str, float]:
    """Bytes a reading: ours, polars' defaults, SQLite."""
    before = time.perf_counter()
    ours = finished.write_day(folder, date(2026, 11, 1), frame).stat().st_size
    seconds = time.perf_counter() - before
    assert finished.scan_day(folder / "2026-11-01.parquet").collect().equals(frame), "not to the last bit"
    plain = io.BytesIO()
    frame.write_parquet(plain, compression="zstd")
    rows = frame.with_columns(
        pl.col("time").cast(pl.Int64), pl.col("for", "source", "route").cast(pl.String)
    ).rows()
    file = folder / "plain.sqlite"
    with sqlite3.connect(file) as db:
        db.execute(f"CREATE TABLE readings ({COLUMNS_SQL})")
        db.executemany("INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", rows)
    db.close()
    found = {
        "ours": ours / frame.height,
        "polars zstd": plain.tell() / frame.height,
        "sqlite": file.stat().st_size / frame.height,
        "seconds": seconds,
    }
    file.unlink()
    return found


def passes_of(count: int, channels: int) -> list[tuple[PassRecord, list[Reading]]]:
    """Passes as the engine hands them over."""
    where = [Channel(f"band {n // 3}", 150_000 + n * 230_000, "noise", 2400) for n in range(channels)]
    found = []
    for number in range(1, count + 1):
        moment = EVENING + timedelta(minutes=10 * number)
        readings = []
        for path in STAYS[:3] + STAYS[5:]:
            for channel in where:
                for _ in range(READINGS):
                    readings.append(Reading(moment, number, channel, path, -54.0 + len(readings) % 20, None))
                    moment += timedelta(milliseconds=54)
        found.append((PassRecord(number, EVENING, moment, "done", "", 2), readings))
    return found


def _plain_row(reading: Reading) -> tuple[object, ...]:
    channel, path = reading.channel, reading.path
    at_ms = int(reading.time.timestamp() * 1000)
    where = (channel.band, channel.hz, channel.purpose, path.source, path.route)
    return (
        at_ms,
        reading.pass_number,
        *where,
        reading.reading,
        reading.dbm,
        channel.bandwidth_hz,
        reading.flags,
    )


def commit_rates(folder: Path, passes: int, channels: int) -> dict[str, float]:
    """Passes committed a second: ours, and plain SQLite in the same log mode with full sync."""
    stored = passes_of(passes, channels)
    with Store(folder, "Saltmarsh", 8.1) as store:
        before = time.perf_counter()
        for record, readings in stored:
            store.write_pass(record, readings)
        ours = passes / (time.perf_counter() - before)
    rows = [[_plain_row(reading) for reading in readings] for _, readings in stored]
    db = sqlite3.connect(folder / "plain.sqlite", isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute(f"CREATE TABLE readings ({COLUMNS_SQL})")
    before = time.perf_counter()
    for a_pass in rows:
        db.execute("BEGIN IMMEDIATE")
        db.executemany("INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", a_pass)
        db.execute("COMMIT")
    plain = passes / (time.perf_counter() - before)
    db.close()
    return {"ours": ours, "sqlite": plain, "ratio": ours / plain}


def main() -> int:
    options = argparse.ArgumentParser(description="Bytes a reading and commits a second.")
    options.add_argument("--quick", action="store_true", help="a short night")
    options.add_argument("--json", type=Path, metavar="FILE", help="also write the figures here")
    chosen = options.parse_args()
    passes, channels, commits = (48, 24, 40) if chosen.quick else (108, 120, 200)
    folder = Path(tempfile.mkdtemp(prefix="storing-"))
    try:
        table: dict[str, dict[str, float]] = {}
        for step_db in (1.0, 0.1, 0.01):
            for calibrated in (False, True):
                frame = night(passes, channels, step_db, calibrated, seed=1)
                name = f"{step_db:g} dB steps{', with dBm' if calibrated else ''}"
                bound = step_db >= 1 or (step_db >= 0.1 and not calibrated)
                table[name] = {"readings": frame.height, "bound": bound, **sizes(frame, folder)}
        rates = commit_rates(folder, commits, 24)
    finally:
        shutil.rmtree(folder)
    print(f"{'bytes a reading':<24}{'ours':>8}{'polars zstd':>14}{'SQLite':>9}{'to write':>10}")
    for name, row in table.items():
        print(
            f"{name:<24}{row['ours']:>8.2f}{row['polars zstd']:>14.2f}{row['sqlite']:>9.1f}{row['seconds']:>8.2f} s"
        )
    print(f"({next(iter(table.values()))['readings']:,} readings a night; at most {AT_MOST_BYTES} wanted)\n")
    print(
        f"passes of 768 readings committed a second: ours {rates['ours']:.0f}, plain SQLite with full sync "
        f"{rates['sqlite']:.0f}; ratio {rates['ratio']:.2f} (at least {AT_LEAST_OF_SQLITE} wanted)"
    )
    if chosen.json:
        chosen.json.write_text(
            json.dumps({"bytes_a_reading": table, "commits": rates}, indent=1), encoding="utf-8"
        )
    largest = max(row["ours"] for row in table.values() if row["bound"])
    return 0 if largest <= AT_MOST_BYTES and rates["ratio"] >= AT_LEAST_OF_SQLITE else 1


if __name__ == "__main__":
    sys.exit(main())
