"""Spectra of finished days: one Parquet file a day in ``spectra/``, thinned to a picture an hour when they are old.

Levels are stored in hundredths of a decibel of full scale, as whole numbers of 16 bits; −32768 is no value. Noise
cells and carriers of every hour stay in the readings, whatever becomes of the spectra.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, timedelta
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweeper.store.day_files import DayFiles
from sweeper.store.finished import Form, is_whole, write_day
from sweeper.store.frames import LONGEST_WORD
from sweeper.store.manifest import stamp_of
from sweeper.tables import pl
from sweeper.words import ROUTES, SOURCES, Labelled

if TYPE_CHECKING:
    from numpy.typing import NDArray

FORMAT = "sweeper-spectra-1"
THINNED = {"kind": "thinned"}
"""In the footer of a day of which pictures are left."""
NO_VALUE = -32768
POINTS = 200
"""Of the picture of a tuning that stays when its spectra go."""
MOST_ROWS = 1_000_000
MOST_LEVELS = 100_000_000
"""Of a day. Nine bands every ten minutes make some ten thousand rows and ten million levels."""


@cache
def schema() -> pl.Schema:
    """Names and types of the table of spectra, in order. Bin k stands at `start_hz` + k · `step_hz`."""
    levels = pl.List(pl.Int16())
    return pl.Schema(
        {
            "time": pl.Datetime("ms", "UTC"),
            "pass": pl.Int64(),
            "band": pl.String(),
            "source": pl.Enum(SOURCES),
            "route": pl.Enum(ROUTES),
            "start_hz": pl.Int64(),
            "step_hz": pl.Float64(),
            "mean_cdb": levels,
            "low_cdb": levels,
            "segments": pl.Int64(),
            "gaps": pl.Int64(),
            "clipped": pl.Float64(),
            "envelope_cdb": levels,
        }
    )


def empty() -> pl.DataFrame:
    """A table of spectra without rows."""
    return pl.DataFrame(schema=schema())


def cdb_of(power: NDArray[Any] | None) -> bytes:
    """Linear powers as hundredths of a decibel, 16 bits each, little end first; no bytes for no powers."""
    if power is None:
        return b""
    import numpy as np

    with np.errstate(divide="ignore", invalid="ignore"):
        cdb = np.rint(1000.0 * np.log10(power.astype(np.float64)))
    there = np.isfinite(cdb)
    whole = np.where(there, np.clip(np.where(there, cdb, 0.0), NO_VALUE + 1, 32767), NO_VALUE)
    return whole.astype("<i2").tobytes()


def row_of(band: str, one: Labelled) -> tuple[Any, ...]:
    """A spectrum as the database has it: time in ms, band, path and what `Spectrum` holds."""
    from sweeper.spectra.envelope import power_of

    it = one.spectrum
    return (
        round((one.time + one.until) * 500.0),
        band,
        one.path.source,
        one.path.route,
        round(it.start_hz),
        it.step_hz,
        cdb_of(it.mean),
        cdb_of(it.low),
        it.segments,
        int("gap" in it.quality),
        it.clipped,
        cdb_of(None if it.envelope is None else power_of(it.envelope)),
    )


def frame_of(rows: Iterable[tuple[Any, ...]]) -> pl.DataFrame:
    """Rows of the database, each with its pass after its time, as the table of spectra."""
    import numpy as np

    names, kinds = list(schema()), schema()
    columns: list[list[Any]] = [[] for _ in names]
    for row in rows:
        for column, value in zip(columns, row, strict=True):
            levels = isinstance(value, bytes)  # series, or lists of one length would become an array's rows
            column.append(pl.Series(np.frombuffer(value, "<i2").astype(np.int16)) if levels else value)
    if not columns[0]:
        return empty()
    return pl.DataFrame(
        [
            pl.Series(name, values, pl.Int64() if name == "time" else kinds[name])
            for name, values in zip(names, columns, strict=True)
        ]
    ).with_columns(pl.from_epoch("time", time_unit="ms").dt.replace_time_zone("UTC").cast(kinds["time"]))


def problem_of(spectra: pl.LazyFrame) -> str:
    """What no table of spectra as we store has, in words: values missing or out of all bounds. Empty if it is sound."""
    most = spectra.select(pl.len()).collect().item()
    if most > MOST_ROWS:
        return f"it has {most} rows"
    since, until = datetime(1970, 1, 1, tzinfo=UTC), datetime(2200, 12, 31, tzinfo=UTC)
    bins, of_low = pl.col("mean_cdb").list.len(), pl.col("low_cdb").list.len()
    levels = [pl.col(name) for name in ("mean_cdb", "low_cdb", "envelope_cdb")]
    checks = {
        "values are missing": pl.any_horizontal(pl.all().has_nulls()),
        "a level is missing": pl.any_horizontal(
            (each.list.len() != each.list.drop_nulls().list.len()).any() for each in levels
        ),
        "a time is not in 1970 to 2200": ~pl.col("time").is_between(since, until).all(),
        "a pass is none": ~pl.col("pass").is_between(1, 2**53).all(),
        "a frequency is none": ~(
            pl.col("start_hz").is_between(-(2**53), 2**53).all() & pl.col("step_hz").is_between(0, 1e9).all()
        ),
        "a count is none": ~pl.all_horizontal(
            pl.col(name).is_between(0, 2**53).all() for name in ("segments", "gaps")
        ),
        "a share is none": ~pl.col("clipped").is_between(0, 1).all(),
        "there are too many levels": bins.sum() > MOST_LEVELS,
        "levels are of different lengths": ~((of_low == bins) | (of_low == 0)).all(),
        "a word is too long": pl.col("band").str.len_bytes().max().fill_null(0) > LONGEST_WORD,
    }
    found = spectra.select(**checks).collect().row(0)
    return next((what for what, wrong in zip(checks, found, strict=True) if wrong), "")


SPECTRA = Form("spectra", FORMAT, "spectra", schema, problem_of)


def thin_old(files: DayFiles, today: date, keep_days: int) -> bool:
    """Make pictures of the days that are older than `keep_days`; whether there were any. Repeatable.

    A day that cannot be read stays as it is.
    """
    old = [
        day
        for day, file in files.listed().items()
        if day < today - timedelta(days=keep_days) and not _is_thinned(file)
    ]
    for day in old:
        if (whole := files.frame(day)) is not None:
            write_day(files.folder, day, thinned(whole), SPECTRA, THINNED)
    return bool(old)


def _is_thinned(file: Path) -> bool:
    try:
        return THINNED.items() <= _remarks(file, stamp_of(file)).items()
    except OSError:
        return True  # gone since it was listed


@lru_cache(maxsize=4096)
def _remarks(file: Path, stamp: tuple[int, ...]) -> Mapping[str, str]:
    return pl.read_parquet_metadata(file) if is_whole(file, SPECTRA) else THINNED


def thinned(spectra: pl.DataFrame) -> pl.DataFrame:
    """An hour's spectra of a tuning through a path as one, of `POINTS` points at most; powers are averaged."""
    import numpy as np

    found: list[dict[str, Any]] = []
    same = ("band", "source", "route", "start_hz", "step_hz")
    hours = spectra.with_columns(hour=pl.col("time").dt.truncate("1h"), bins=pl.col("mean_cdb").list.len())
    for _, part in hours.group_by("hour", "bins", *same, maintain_order=True):
        first = part.row(0, named=True)
        if (bins := int(first["bins"])) == 0:
            continue
        group = max(-(-bins // POINTS), 1)
        levels = np.array(part["mean_cdb"].to_list(), np.float64).reshape(part.height, bins)
        power = np.where(levels == NO_VALUE, np.nan, 10.0 ** (levels / 1000.0))
        padded = np.full((part.height, -(-bins // group) * group), np.nan)
        padded[:, :bins] = power
        blocks = padded.reshape(part.height, -1, group)
        told_by = np.isfinite(blocks).sum(axis=(0, 2))
        mean = np.where(told_by > 0, np.nansum(blocks, axis=(0, 2)) / np.maximum(told_by, 1), np.nan)
        found.append(
            {name: first[name] for name in ("pass", *same)}
            | {
                "time": first["hour"],
                "start_hz": round(first["start_hz"] + (group - 1) / 2 * first["step_hz"]),
                "step_hz": first["step_hz"] * group,
                "mean_cdb": np.frombuffer(cdb_of(mean), "<i2").tolist(),
                "low_cdb": [],
                "segments": int(part["segments"].sum()),
                "gaps": int(part["gaps"].sum()),
                "clipped": max(part["clipped"].to_list()),
                "envelope_cdb": [],
            }
        )
    return pl.DataFrame(found, schema=schema()) if found else empty()
