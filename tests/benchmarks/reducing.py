"""Reducing a season: from finished days on disk to findings, beside one group-by of the same files.

References in the same run: polars and DuckDB, each asked for the median and the 20 % quantile per channel, hour and
path over the same Parquet files. Every contender starts as a new process, reads everything, and reports its own
peak memory. Then the cost of a new night: `analyse` after night N, for a small N and a large one.

    python -m tests.benchmarks.reducing [--quick] [--json FILE]
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

STATION = "Saltmarsh"
READINGS = 8
PATHS = (
    ("antenna", "bypass"),
    ("antenna", "stage"),
    ("load", "stage"),
    ("load", "bypass"),
    ("antenna", "stage"),
    ("antenna", "bypass"),
)
FIRST = date(2026, 3, 1)
BANDS = 20
A_BAND = 6


def channels_of(count: int) -> list[tuple[str, int, str]]:
    """(band, hz, purpose): every sixth channel a carrier."""
    return [
        (f"band {k // A_BAND:02d}", 150_000 + k * 230_000, "carrier" if k % A_BAND == A_BAND - 1 else "noise")
        for k in range(count)
    ]


def night(day: date, channels: list[tuple[str, int, str]], passes: int, seed: int) -> pl.DataFrame:
    """One night of invented readings in the columns of the readings table, 1 dB steps."""
    from sweeper.store.frames import schema

    rng = np.random.default_rng(seed)
    count = len(channels)
    a_pass = len(PATHS) * count * READINGS
    index = np.arange(passes * a_pass)
    number, within = index // a_pass, index % a_pass
    visit = within // READINGS
    path, channel = visit // count, visit % count
    start_ms = int(datetime(day.year, day.month, day.day, 13, tzinfo=UTC).timestamp() * 1000)
    time_ms = start_ms + number * 800_000 + within * 55 + visit * 155
    antenna = np.array([source == "antenna" for source, _ in PATHS])[path]
    stage = np.array([route == "stage" for _, route in PATHS])[path]
    outside = np.linspace(-3, 20, count)[channel] + 3 * np.sin(number / 10) + rng.normal(0, 2)
    power = antenna * 10 ** (outside / 10) + 1
    power = np.where(stage, 31.6 * (power + 1) + 1, power)
    level = -50 + 10 * np.log10(power * rng.gamma(48, 1 / 48, len(index)))
    return pl.DataFrame(
        {
            "time": pl.Series(time_ms).cast(pl.Datetime("ms", "UTC")),
            "pass": number + 1 + (day - FIRST).days * passes,
            "band": pl.Series([band for band, _, _ in channels]).gather(channel),
            "hz": np.array([hz for _, hz, _ in channels])[channel],
            "for": pl.Series([purpose for _, _, purpose in channels]).gather(channel),
            "source": pl.Series([source for source, _ in PATHS]).gather(path),
            "route": pl.Series([route for _, route in PATHS]).gather(path),
            "reading": np.round(level),
            "dbm": pl.repeat(None, len(index), dtype=pl.Float64, eager=True),
            "bandwidth_hz": np.full(len(index), 2400),
            "flags": pl.repeat("", len(index), eager=True),
        }
    ).cast(dict(schema()))


def station_file(folder: Path, channels: list[tuple[str, int, str]]) -> Path:
    """A station file with these channels."""
    lines = [
        f"station: {{name: {STATION}, latitude: 56.2, longitude: 8.1, environment: rural}}",
        "receiver:",
        "  {driver: hamlib, link: 'tcp://127.0.0.1:1', mode: USB, bandwidth_hz: 2400, settle_s: 0.1, readings: 8,",
        "   interval_s: 0.05, meter: {unit: dB-over-S9, step_db: 1, averaging_s: 0.02, detector: rms}}",
        "switch:",
        "  {driver: modbus, link: 'tcp://127.0.0.1:2', settle_s: 0.03, paths: {antenna-bypass: {0: off, 1: off},",
        "   antenna-stage: {0: on, 1: off}, load-bypass: {0: off, 1: on}, load-stage: {0: on, 1: on}}}",
        "stage: {rated_gain_db: 15, rated_noise_figure_db: 3}",
        "bands:",
    ]
    for at in range(0, len(channels), A_BAND):
        inside = ", ".join(f"{{hz: {hz}, for: {purpose}}}" for _, hz, purpose in channels[at : at + A_BAND])
        lines.append(f"  - {{name: {channels[at][0]}, channels: [{inside}]}}")
    file = folder / "saltmarsh.yaml"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def write_season(folder: Path, nights: int, channels: list[tuple[str, int, str]], passes: int) -> int:
    """Finished days on disk as the store writes them; how many readings."""
    from sweeper.store import finished

    days = folder / "saltmarsh.data" / STATION / "days"
    days.mkdir(parents=True)
    total = 0
    for n in range(nights):
        frame = night(FIRST + timedelta(days=n), channels, passes, seed=n)
        finished.write_day(days, FIRST + timedelta(days=n), frame)
        total += frame.height
    return total


GROUP_BY = {
    "polars": """
import polars as pl
pl.scan_parquet(FILES).group_by("hz", "source", "route", pl.col("time").dt.hour()).agg(
    pl.col("reading").median().alias("median"), pl.col("reading").quantile(0.2).alias("low")).collect()
""",
    "duckdb": """
import duckdb
duckdb.sql(f"SELECT hz, source, route, hour(time), median(reading), quantile_cont(reading, 0.2) "
           f"FROM read_parquet('{FILES}') GROUP BY ALL").fetchall()
""",
}


def timed(arguments: list[str]) -> tuple[float, float]:
    """Seconds and peak megabytes of a new process; it must succeed."""
    before = time.perf_counter()
    with subprocess.Popen(arguments, stdout=subprocess.DEVNULL) as process:
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = status
    seconds = time.perf_counter() - before
    if status:
        sys.exit(f"{arguments}: ended with {status}")
    return seconds, usage.ru_maxrss / 1024


def best(times: int, arguments: list[str], before: "object" = None) -> tuple[float, float]:
    """The fastest of several runs, and the highest peak."""
    seconds, peaks = [], []
    for _ in range(times):
        if callable(before):
            before()
        s, peak = timed(arguments)
        seconds.append(s)
        peaks.append(peak)
    return min(seconds), max(peaks)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a small season, for CI")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures there, too")
    chosen = parser.parse_args()
    nights, channels, passes = (6, channels_of(24), 24) if chosen.quick else (90, channels_of(120), 96)
    runs = 2
    sweeper = str(Path(sys.executable).with_name("sweeper"))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        readings = write_season(folder, nights, channels, passes)
        file = station_file(folder, channels)
        days = folder / "saltmarsh.data" / STATION / "days"
        files = f"FILES = {str(days / '*.parquet')!r}\n"
        rows: list[dict[str, object]] = []
        reference: dict[str, float] = {}
        for engine, code in GROUP_BY.items():
            seconds, peak = best(runs, [sys.executable, "-c", files + code])
            reference[engine] = seconds
            rows.append({"what": f"{engine} group-by", "seconds": seconds, "peak MB": peak})

        def forget() -> None:
            for kept in (folder / "saltmarsh.data" / STATION).glob("summaries.*"):
                kept.unlink()

        seconds, peak = best(runs, [sweeper, "analyse", str(file), "--json"], forget)
        rows.append({"what": "analyse, cold", "seconds": seconds, "peak MB": peak})
        for engine, known in reference.items():
            rows.append({"what": f"analyse over {engine}", "ratio": seconds / known, "target": "<= 1.9"})

        later = new_night_ratio(folder, sweeper, channels, passes, (2, 6) if chosen.quick else (2, 365))
        rows += later
    print(f"{readings:,} readings in {nights} nights".replace(",", " "))
    for row in rows:
        print(
            "  ".join(
                f"{key}: {value:.2f}" if isinstance(value, float) else str(value)
                for key, value in row.items()
            )
        )
    if chosen.json:
        chosen.json.write_text(json.dumps({"readings": readings, "rows": rows}, indent=1), encoding="utf-8")


def new_night_ratio(
    folder: Path, sweeper: str, channels: list[tuple[str, int, str]], passes: int, nights: tuple[int, int]
) -> list[dict[str, object]]:
    """`analyse` once more after one new night, with few and with many nights before it."""
    few, many = (_after_a_night(folder / f"after-{n}", sweeper, channels[:24], passes, n) for n in nights)
    return [
        {"what": f"analyse after night {nights[0]}", "seconds": few},
        {"what": f"analyse after night {nights[1]}", "seconds": many},
        {"what": "a new night, late over early", "ratio": many / few, "target": "<= 1.4"},
    ]


def _after_a_night(
    folder: Path, sweeper: str, channels: list[tuple[str, int, str]], passes: int, nights: int
) -> float:
    from sweeper.store import finished

    folder.mkdir()
    write_season(folder, nights - 1, channels, passes)
    file = station_file(folder, channels)
    timed([sweeper, "analyse", str(file), "--json"])
    days = folder / "saltmarsh.data" / STATION / "days"
    summaries = list((folder / "saltmarsh.data" / STATION).glob("summaries.*"))
    last = FIRST + timedelta(days=nights - 1)
    finished.write_day(days, last, night(last, channels, passes, seed=nights))
    times = []
    for _ in range(3):
        kept = {each: each.read_bytes() for each in summaries}
        times.append(timed([sweeper, "analyse", str(file), "--json"])[0])
        for each, content in kept.items():
            each.write_bytes(content)
    shutil.rmtree(folder)
    return min(times)


if __name__ == "__main__":
    main()
