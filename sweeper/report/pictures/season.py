"""How did it go, night by night? Every night and hour of every band, gaps left as gaps; and the months."""

from datetime import date, timedelta
from math import ceil

import polars as pl
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from sweeper.analysis import Findings
from sweeper.report import wording
from sweeper.report.hours import REACH_DB
from sweeper.report.palette import step_of
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import colour, drawing, inline, sheet

WIDEST_DB = 8.0
"""An interval of a night (from end to end) from which on its tile is as empty as can be."""
SIZES = 4
"""How full a tile can be: a night alone is not known finely enough for more."""
FEWEST = 21
"""Columns that there is room for at least, so that a tile keeps its shape."""
MOST = 40
"""Columns at most, so that a report has a size: of more nights, some stand together in one."""


def season(findings: Findings, nights: pl.DataFrame, zone: str) -> tuple[Picture, ...]:
    """One picture with a strip for each band, when there are at least two nights."""
    known = nights.drop_nulls("snr_change_db")
    days = known["night"].unique().sort().to_list()
    if len(days) < 2:
        return ()
    bands = [band.band for band in findings.bands if (known["band"] == band.band).any()]
    on = findings.end.date()
    first, last = days[0], days[-1]
    through = (last - first).days + 1
    gaps = through - len(days)
    together = ceil(through / MOST)
    span = ceil(through / together)
    title = (
        f"{wording.count(len(days), 'night')} measured from {first.day} {first:%B} to {last.day} {last:%B %Y}, "
        + (f"{wording.count(gaps, 'night')} missing between" if gaps else "none missing between")
    )
    hours = wording.night_order(known["hour_utc"].to_list(), zone, on)
    known = _in_columns(known, first, together)
    with drawing():
        figure = sheet(8.6, 0.6 + len(bands) * max(0.8, 0.055 * len(hours) + 0.25))
        panels = figure.subplots(len(bands), 1, sharex=True, squeeze=False)
        for axes, band in zip(panels.flat, bands, strict=True):
            _strip(axes, known.filter(known["band"] == band), band, hours, zone, on)
            axes.set_xlim(-0.5, max(span, FEWEST) - 0.5)
        step = max(1, max(span, FEWEST) // 8)
        marks = list(range(0, span, step))
        panels[-1, 0].set_xticks(marks, [_day(first + timedelta(days=mark * together)) for mark in marks])
        panels[-1, 0].set_xlabel("night, by the day that it began on")
        figure.supylabel(f"hour beginning, local time ({zone})", fontsize=11, x=-0.015)
        figure.tight_layout(pad=0.3, h_pad=0.5)
        svg = inline(figure, "season", title, _alternative(known, bands))
    column = "a night" if together == 1 else f"the mean of {together} nights"
    caption = (
        f"Each column is {column}, each row an hour; colour is the S/N change from −{REACH_DB:g} dB (ochre) to "
        f"+{REACH_DB:g} dB (teal). The fuller a tile, the surer a night by itself. Blank: not measured."
    )
    return (Picture("season", title, svg, caption, _numbers(known, bands, hours, together, zone, on)),)


def _in_columns(known: pl.DataFrame, first: date, together: int) -> pl.DataFrame:
    """Nights by `column`, so many `together`: the mean of their values and, shared errors and all, of their ends.
    `night` is the first that belongs to the column.
    """
    column = (pl.col("night") - first).dt.total_days() // together
    return (
        known.group_by("band", "hour_utc", column.alias("column"), maintain_order=True)
        .agg(pl.col("snr_change_db", "low", "high").mean())
        .with_columns((pl.lit(first) + pl.duration(days=pl.col("column") * together)).alias("night"))
        .sort("night")
    )


def _day(day: date) -> str:
    return f"{day.day} {day:%b}"


def _strip(axes: Axes, here: pl.DataFrame, band: str, hours: list[int], zone: str, on: date) -> None:
    """One path for all tiles of a colour and size, so that a season stays small."""
    row_of = {hour: nth for nth, hour in enumerate(hours)}
    tiles: dict[tuple[str, int], list[tuple[float, float]]] = {}
    for row in here.iter_rows(named=True):
        wide = row["high"] - row["low"] if row["low"] is not None else WIDEST_DB
        size = SIZES - round((SIZES - 1) * min(wide, WIDEST_DB) / WIDEST_DB)
        at = (row["column"], row_of[row["hour_utc"]])
        tiles.setdefault((step_of(row["snr_change_db"], REACH_DB), size), []).append(at)
    for (name, size), places in tiles.items():
        full = size / SIZES
        corners, codes = [], []
        for x, y in places:
            left, right, top, foot = x - 0.46, x + 0.46, y + 0.46 - 0.92 * full, y + 0.46
            corners += [(left, top), (right, top), (right, foot), (left, foot), (left, top)]
            codes += [Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY]
        patch = PathPatch(Path(corners, codes), facecolor=colour(name), linewidth=0)
        patch.set_edgecolor("none")
        axes.add_patch(patch)
    axes.set_ylim(len(hours) - 0.5, -0.5)
    ends = [0, len(hours) // 2, len(hours) - 1] if len(hours) > 2 else list(range(len(hours)))
    axes.set_yticks(ends, [wording.local_hour(hours[end], zone, on)[:2] for end in ends], fontsize=9)
    axes.set_title(band, loc="left", fontsize=10, fontweight="bold", pad=3)
    axes.tick_params(length=2)


def _alternative(known: pl.DataFrame, bands: list[str]) -> str:
    parts = []
    for band in bands:
        values = known.filter(known["band"] == band)["snr_change_db"]
        low, high = values.min(), values.max()
        if isinstance(low, float) and isinstance(high, float):
            parts.append(
                f"{band}: nights from {wording.decibel(low, True)} to {wording.decibel(high, True)} dB"
            )
    return "; ".join(parts) + "."


def _numbers(
    known: pl.DataFrame, bands: list[str], hours: list[int], together: int, zone: str, on: date
) -> Numbers:
    """One row for each column of the picture and band, one column for each hour."""
    rows = []
    for band in bands:
        here = known.filter(known["band"] == band)
        cells: dict[date, dict[int, str]] = {}
        for row in here.iter_rows(named=True):
            text = wording.decibel(row["snr_change_db"], True)
            if row["low"] is not None:
                text += f" ± {(row['high'] - row['low']) / 2:.1f}"
            cells.setdefault(row["night"], {})[row["hour_utc"]] = text
        for night, by_hour in cells.items():
            rows.append((band, night.isoformat(), *(by_hour.get(hour, "") for hour in hours)))
    return Numbers(
        (
            "Band",
            "Night of" if together == 1 else f"{together} nights from",
            *(wording.local_hour(hour, zone, on) for hour in hours),
        ),
        tuple(rows),
    )


def months(frame: pl.DataFrame) -> tuple[Picture, ...]:
    """The S/N change month by month, by day and by night, when there are at least two months."""
    known = frame.drop_nulls("snr_change_db")
    if known["month"].n_unique() < 2:
        return ()
    bands = known["band"].unique(maintain_order=True).to_list()
    title = f"The S/N change over {wording.count(known['month'].n_unique(), 'month')}, by day and by night"
    first = known["month"].min()
    if not isinstance(first, date):
        return ()

    def place(month: date) -> int:
        return (month.year - first.year) * 12 + month.month - first.month

    with drawing():
        figure = sheet(8.6, 0.6 + 1.2 * len(bands))
        panels = figure.subplots(len(bands), 1, sharex=True, squeeze=False)
        for axes, band in zip(panels.flat, bands, strict=True):
            for light, ink, mark, aside in (("night", "ink", "o", -0.08), ("day", "out", "D", 0.08)):
                here = known.filter((known["band"] == band) & (known["light"] == light)).sort("month")
                for row in here.iter_rows(named=True):
                    x = place(row["month"]) + aside
                    if row["snr_change_low"] is not None:
                        axes.plot([x, x], [row["snr_change_low"], row["snr_change_high"]], color=colour(ink))
                    axes.plot([x], [row["snr_change_db"]], mark, color=colour(ink), markersize=4)
            axes.axhline(0, color=colour("rule"), linewidth=0.9)
            axes.set_title(band, loc="left", fontsize=10, fontweight="bold", pad=3)
        names = {place(month): f"{month:%b %Y}" for month in known["month"].unique().to_list()}
        panels[-1, 0].set_xticks(list(names), list(names.values()))
        panels[-1, 0].set_xlabel("month")
        figure.supylabel("S/N change, dB", fontsize=11, x=-0.015)
        figure.tight_layout(pad=0.3, h_pad=0.5)
        svg = inline(figure, "months", title, title)
    caption = "Circles: by night; diamonds: by day. Upright lines are intervals."
    return (Picture("months", title, svg, caption, _numbers_by_month(known)),)


def _numbers_by_month(known: pl.DataFrame) -> Numbers:
    """One row for each band, month and light."""
    return Numbers(
        (
            "Band",
            "Month",
            "Light",
            "Nights",
            "S/N change, dB",
            "low",
            "high",
            "Noise, dB",
            "Drift of the meter, dB",
        ),
        tuple(
            (
                row["band"],
                f"{row['month']:%B %Y}",
                row["light"],
                str(row["nights"]),
                wording.decibel(row["snr_change_db"], True),
                wording.decibel(row["snr_change_low"], True),
                wording.decibel(row["snr_change_high"], True),
                wording.decibel(row["noise"]),
                wording.decibel(row["meter_drift_db"], True),
            )
            for row in known.iter_rows(named=True)
        ),
    )
