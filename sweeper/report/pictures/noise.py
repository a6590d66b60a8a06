"""How noisy is it, and what sets the floor? All paths of every band over the night, the load as the floor."""

import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import polars as pl

from sweeper.analysis import S_UNIT_DB, BandFinding, Findings, Interval, listed, s_units
from sweeper.report import wording
from sweeper.report.pictures.multiples import Line, Panel, Scale, multiples
from sweeper.report.pictures.picture import Numbers, Picture

PATHS = {
    "antenna-stage": "antenna, stage in",
    "antenna-bypass": "antenna, bypass",
    "load-stage": "load, stage in",
    "load-bypass": "load, bypass",
}
EVERY_HOURS = 6
"""Local hours between two marks."""
MARGIN_DB = 2.0


def noise(
    findings: Findings,
    levels: pl.DataFrame,
    expected: pl.DataFrame,
    standing: Mapping[str, str],
    zone: str,
    unit: str,
) -> tuple[Picture, ...]:
    """Small pictures of all bands that have levels, on one scale, and where calibrated what P.372 expects."""
    on = findings.end.date()
    bands = [band for band in findings.bands if (levels["band"] == band.band).any()]
    if not bands:
        return ()
    order = wording.night_order(levels["hour_utc"].to_list(), zone, on)
    found = [_levels(findings, bands, levels, order, zone, unit)]
    outside = expected.drop_nulls("fa_db")
    if outside.height:
        found.append(_outside(findings, outside, standing, order, zone))
    return tuple(found)


def _levels(
    findings: Findings,
    bands: Sequence[BandFinding],
    levels: pl.DataFrame,
    order: Sequence[int],
    zone: str,
    unit: str,
) -> Picture:
    on = findings.end.date()
    title = _title(bands)
    ends = levels.select(
        pl.min_horizontal("level", "low").min().alias("low"),
        pl.max_horizontal("level", "high").max().alias("high"),
    ).row(0)
    scale = _scale(ends, order, zone, on, unit)
    panels = []
    for band in bands:
        here = levels.filter(levels["band"] == band.band)
        lines = [_line(here.filter(here["path"] == path), path, order) for path in PATHS]
        panels.append(
            Panel(band.band, _alternative(here, unit), [line for line in lines if set(line.values) - {None}])
        )
    caption = (
        f"{unit}, all bands on one scale. Dark: antenna; violet: load. Solid: bypass; dashed: stage in. "
        f"{_intervals(levels)} What the load reads is the floor: nothing from outside is heard below it."
    )
    numbers = _numbers(bands, levels, order, zone, on, unit)
    return Picture("noise", title, multiples("noise", panels, scale), caption, numbers)


def _line(
    rows: pl.DataFrame, kind: str, order: Sequence[int], keys: tuple[str, ...] = ("level", "low", "high")
) -> Line:
    by_hour = {row["hour_utc"]: row for row in rows.iter_rows(named=True)}
    values, low, high = ([by_hour[hour][key] if hour in by_hour else None for hour in order] for key in keys)
    return Line(kind, values, low, high)


def _scale(ends: tuple[float, float], order: Sequence[int], zone: str, on: date, unit: str) -> Scale:
    """Marks every ten decibels; in S-units beside decibels for a meter that shows them."""
    low, high = ends[0] - MARGIN_DB, ends[1] + MARGIN_DB
    s_meter = unit == "dB over S9"
    every = 2 * S_UNIT_DB if s_meter else 10.0
    if high - low < 2 * every:
        every /= 2
    marks = [nth * every for nth in range(math.ceil(low / every), math.floor(high / every) + 1)]
    words = {at: f"{s_units(at)} {at:.0f}" if s_meter else f"{at:.0f}" for at in marks}
    hours = {
        float(place): (wording.local_hour(hour, zone, on)[:2], f"{hour:02d}")
        for place, hour in enumerate(order)
        if int(wording.local_hour(hour, zone, on)[:2]) % EVERY_HOURS == 0
    }
    return Scale(
        hours, len(order) - 1, {at: text.replace("-", wording.MINUS) for at, text in words.items()}, low, high
    )


def _outside(
    findings: Findings,
    outside: pl.DataFrame,
    standing: Mapping[str, str],
    order: Sequence[int],
    zone: str,
) -> Picture:
    """External noise as measured over what P.372 expects."""
    on = findings.end.date()
    bands = outside["band"].unique(maintain_order=True).to_list()
    keys = ("fa_db", "fa_low", "fa_high", "expected_db", "expected_low", "expected_high")
    ends = outside.select(
        pl.min_horizontal(keys).min().alias("low"), pl.max_horizontal(keys).max().alias("high")
    ).row(0)
    panels = []
    for band in bands:
        here = outside.filter(outside["band"] == band)
        lines = [_line(here, "expected", order, keys[3:]), _line(here, "antenna-bypass", order, keys[:3])]
        panels.append(Panel(band, f"{band}{_against_expected(here) or ': see the table'}.", lines))
    told = [f"{band}{_against_expected(outside.filter(outside['band'] == band))}" for band in bands]
    known = [text for text, band in zip(told, bands, strict=True) if text != band]
    title = "; ".join(known) or "External noise beside what ITU-R P.372 expects"
    caption = (
        "Fa, dB over kT₀b. Dark: as measured; grey: the median and the deciles in time of the "
        f"{outside['causes'][0]} noise that ITU-R P.372 expects of such a place in these months."
    )
    if not outside["whole"].all():
        caption += (
            " Atmospheric noise, often the greatest part on low bands, at night most of all, is not among it: grey is "
            "the least to expect there, and whether the place is noisy cannot be told from it. The program's "
            "extra “atmospheric” brings it."
        )
    caption += "".join(
        f" In the middle one of the hours {standing[band]}." for band in bands if band in standing
    )
    svg = multiples("outside", panels, _scale(ends, order, zone, on, "dB"))
    return Picture("outside", title, svg, caption, _numbers_outside(outside, order, zone, on))


def _intervals(levels: pl.DataFrame) -> str:
    """What the shaded intervals are, where there are any."""
    drawn = levels.drop_nulls(["low", "high"])["path"].unique().to_list()
    if any(path.startswith("load") for path in drawn):
        return "Shaded: intervals over the nights."
    if drawn:
        return "Shaded: intervals of these nights alone; intervals over nights take three of them."
    return "Intervals over nights take three of them."


def _title(bands: Sequence[BandFinding]) -> str:
    """What sets the floor, band by band, from how far the antenna stands above the load."""
    kinds: dict[str, list[str]] = {"noise from outside": [], "both": [], "the receiver's own noise": []}
    for band in bands:
        rises = [p.noise_rise_db.value for p in band.periods if p.noise_rise_db is not None]
        if rises:
            kind = (
                "noise from outside"
                if min(rises) >= 10
                else "the receiver's own noise"
                if max(rises) <= 3
                else "both"
            )
            kinds[kind].append(band.band)
    told = [f"{kind} on {listed(names)}" for kind, names in kinds.items() if names]
    return (
        f"What sets the floor: {'; '.join(told)}"
        if told
        else "Noise levels; without a load the floor is not known"
    )


def _against_expected(outside: pl.DataFrame) -> str:
    """How many hours lie above, within and below what P.372 expects, in words for the title."""
    hours = outside.height
    if not hours or not outside["whole"].all():
        return ""
    above = outside.filter(outside["fa_db"] > outside["usual_high"]).height
    below = outside.filter(outside["fa_db"] < outside["usual_low"]).height
    if above == below == 0:
        return ", as is usual for such a place"
    parts = [f"noisier than usual for such a place in {above} of {hours} hours"] if above else []
    parts += [f"quieter than usual in {below} of {hours}"] if below else []
    return f", {' and '.join(parts)}"


def _alternative(here: pl.DataFrame, unit: str) -> str:
    parts = []
    for path, label in PATHS.items():
        levels = here.filter(here["path"] == path)["level"].drop_nulls().to_list()
        if levels:
            parts.append(
                f"{label}: from {wording.decibel(min(levels))} to {wording.decibel(max(levels))} {unit}"
            )
    return "; ".join(parts) + "."


def _numbers(
    bands: Sequence[BandFinding], levels: pl.DataFrame, order: Sequence[int], zone: str, on: date, unit: str
) -> Numbers:
    """One row for each band and hour, a column for each path."""
    cells = {(row["band"], row["hour_utc"], row["path"]): row for row in levels.iter_rows(named=True)}
    rows: list[tuple[str, ...]] = []
    for band in bands:
        for hour in order:
            here = {path: cells[band.band, hour, path] for path in PATHS if (band.band, hour, path) in cells}
            if not here:
                continue
            crackle = here.get("antenna-bypass", {}).get("impulsiveness_db")
            rows.append(
                (
                    band.band,
                    wording.local_hour(hour, zone, on),
                    f"{hour:02d}:00",
                    *(_with_ends(here.get(path)) for path in PATHS),
                    wording.decibel(crackle),
                    str(max(row["nights"] for row in here.values())),
                )
            )
    headings = ("Band", f"Hour ({zone})", "UTC", *(f"{words}, {unit}" for words in PATHS.values()))
    return Numbers((*headings, "Impulsive part, dB", "Nights"), tuple(rows))


def _with_ends(row: Mapping[str, Any] | None) -> str:
    if row is None:
        return ""
    if row["low"] is None:
        return wording.decibel(row["level"])
    return wording.interval(Interval(row["level"], row["low"], row["high"]), False)


def _numbers_outside(outside: pl.DataFrame, order: Sequence[int], zone: str, on: date) -> Numbers:
    rows = [
        (
            row["band"],
            wording.local_hour(row["hour_utc"], zone, on),
            f"{row['hour_utc']:02d}:00",
            wording.interval(Interval(row["fa_db"], row["fa_low"], row["fa_high"]), False),
            wording.interval(Interval(row["expected_db"], row["expected_low"], row["expected_high"]), False),
        )
        for row in sorted(
            outside.iter_rows(named=True), key=lambda row: (row["band"], order.index(row["hour_utc"]))
        )
    ]
    headings = (
        "Band",
        f"Hour ({zone})",
        "UTC",
        "External noise, dB over kT₀b",
        "P.372 expects (deciles), dB",
    )
    return Numbers(headings, tuple(rows))
