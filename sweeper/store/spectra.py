"""Spectra of finished days: one Parquet file a day in ``spectra/``, thinned to a picture an hour when they are old.

Levels are stored in hundredths of a decibel of full scale, as whole numbers of 16 bits; −32768 is no value. Noise
cells and carriers of every hour stay in the readings, whatever becomes of the spectra.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweeper.store.files import make_folder, set_aside, told, write_whole
from sweeper.store.finished import file_name, is_file_of_days, list_days
from sweeper.tables import pl
from sweeper.words import ROUTES, SOURCES, Labelled

if TYPE_CHECKING:
    from numpy.typing import NDArray

FORMAT = "sweeper-spectra-1"
NO_VALUE = -32768
POINTS = 200
"""Of the picture of a tuning that stays when its spectra go."""
WHOLE, THINNED = "whole", "thinned"


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
        cdb_of(it.envelope),
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


def write_day(folder: Path, day: date, new: pl.DataFrame, aside: Path) -> str:
    """Put spectra of a day into its file, beside those of other passes that are there; what a person should know."""
    make_folder(folder)
    file, said = folder / file_name(day), ""
    before = scan_day(file)
    if before is None and file.exists():
        said = f"{file}: it was set aside as {set_aside(file, aside)}."
    if before is not None:
        written = before.collect()
        new = written.vstack(new.filter(~pl.col("pass").is_in(written["pass"].unique().implode())))
        if new.height == written.height:
            return said
    _write(file, new.sort("pass", "time", maintain_order=True), WHOLE)
    return said


def _write(file: Path, spectra: pl.DataFrame, kind: str) -> None:
    content = io.BytesIO()
    told_of = {"sweeper": FORMAT, "day": file.stem, "kind": kind}
    spectra.write_parquet(content, compression="zstd", metadata=told_of)
    write_whole(file, content.getvalue())


def scan_day(file: Path) -> pl.LazyFrame | None:
    """The spectra of a finished day; None where the file is none of ours."""
    return pl.scan_parquet(file).cast(schema()) if _kind(file) else None


def _kind(file: Path) -> str:
    """`WHOLE` or `THINNED`; empty for what is no file of spectra of the day that its name says."""
    if not is_file_of_days(file):
        return ""
    try:
        said = pl.read_parquet_metadata(file)
        columns = list(pl.read_parquet_schema(file))
    except (OSError, pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return ""
    ours = (said.get("sweeper"), said.get("day")) == (FORMAT, file.stem) and columns == list(schema())
    return said.get("kind", "") if ours else ""


def days_in(folder: Path) -> dict[date, Path]:
    """The finished days that have spectra, in order."""
    return list_days(folder)[0]


def thin_old(folder: Path, today: date, keep_days: int) -> None:
    """Make pictures of the days that are older than `keep_days`; repeatable."""
    for day, file in days_in(folder).items():
        if day < today - timedelta(days=keep_days) and _kind(file) == WHOLE:
            with told("thin it", file):
                _write(file, thinned(pl.read_parquet(file).cast(schema())), THINNED)


def thinned(spectra: pl.DataFrame) -> pl.DataFrame:
    """An hour's spectra of a tuning through a path as one, of `POINTS` points at most; powers are averaged."""
    import numpy as np

    found: list[dict[str, Any]] = []
    same = ("band", "source", "route", "start_hz", "step_hz")
    hours = spectra.with_columns(hour=pl.col("time").dt.truncate("1h"), bins=pl.col("mean_cdb").list.len())
    for _, part in hours.group_by("hour", "bins", *same, maintain_order=True):
        first = part.row(0, named=True)
        bins = int(first["bins"])
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
