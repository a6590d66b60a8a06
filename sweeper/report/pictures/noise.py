"""How noisy is it, and what sets the floor? All paths of a band over the day, the load as the floor."""

from collections.abc import Mapping, Sequence
from datetime import date

import polars as pl
from matplotlib.axes import Axes

from sweeper.analysis import BandFinding, Findings
from sweeper.report import wording
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import colour, drawing, inline, sheet

PATHS = {
    "antenna-stage": ("antenna", "--", "antenna, stage in"),
    "antenna-bypass": ("antenna", "-", "antenna, bypass"),
    "load-stage": ("load", "--", "load, stage in"),
    "load-bypass": ("load", "-", "load, bypass"),
}


def noise(
    findings: Findings,
    levels: pl.DataFrame,
    expected: pl.DataFrame,
    standing: Mapping[str, str],
    zone: str,
    unit: str,
) -> tuple[Picture, ...]:
    """One picture for each band that has levels; below it, where the station is calibrated, what P.372 expects."""
    found = []
    on = findings.end.date()
    for band in findings.bands:
        here = levels.filter(levels["band"] == band.band)
        if not here.height:
            continue
        hours = wording.night_order(here["hour_utc"].to_list(), zone, on)
        name = wording.anchor("noise", band.band)
        outside = expected.filter(expected["band"] == band.band).drop_nulls("fa_db")
        title = _title(band) + _against_expected(outside)
        with drawing():
            svg = _draw(here, outside, hours, zone, on, unit, name, title)
        caption = (
            f"Solid lines: bypass; dashed: stage in. {_intervals(here)} What the load reads is the floor: "
        )
        caption += "nothing from outside is heard below it."
        if outside.height:
            caption += (
                " Below: external noise over kT₀b as measured, and in grey the median and the deciles in time of the "
                f"{outside['causes'][0]} noise that ITU-R P.372 expects of such a place in these months."
            )
            if not outside["whole"].all():
                caption += (
                    " Atmospheric noise, on this band often the greatest part, at night most of all, is not among it: "
                    "grey is the least to expect, and whether the place is noisy cannot be told from it. The program's "
                    "extra “atmospheric” brings it."
                )
        if band.band in standing:
            caption += f" In the middle one of these hours {standing[band.band]}."
        found.append(Picture(name, title, svg, caption, _numbers(here, outside, hours, zone, on, unit)))
    return tuple(found)


def _intervals(here: pl.DataFrame) -> str:
    """What the shaded intervals are, where there are any."""
    drawn = here.drop_nulls(["low", "high"])["path"].unique().to_list()
    if any(path.startswith("load") for path in drawn):
        return "Bands about the lines are intervals over the nights."
    if drawn:
        return (
            "Bands about the antenna's lines are intervals of these nights alone, from their passes; intervals over "
            "nights take three of them."
        )
    return "Too few nights for intervals: they take three."


def _draw(
    here: pl.DataFrame,
    outside: pl.DataFrame,
    hours: Sequence[int],
    zone: str,
    on: date,
    unit: str,
    name: str,
    title: str,
) -> str:
    figure = sheet(8.2, 5.2 if outside.height else 3.3)
    panels = figure.subplots(
        2 if outside.height else 1,
        1,
        squeeze=False,
        sharex=True,
        height_ratios=[3, 2] if outside.height else None,
    )
    axes = panels[0, 0]
    ends: list[tuple[float, str, str]] = []
    reach: list[float] = []
    for path, (ink, line, label) in PATHS.items():
        rows = {row["hour_utc"]: row for row in here.filter(here["path"] == path).iter_rows(named=True)}
        if not rows:
            continue
        levels = [rows[hour]["level"] if hour in rows else float("nan") for hour in hours]
        low = [_or_nan(rows.get(hour), "low") for hour in hours]
        high = [_or_nan(rows.get(hour), "high") for hour in hours]
        places = range(len(hours))
        axes.fill_between(places, low, high, color=colour(ink), alpha=0.18, linewidth=0)
        axes.plot(places, levels, color=colour(ink), linestyle=line, linewidth=1.7, marker=".", markersize=5)
        known = [level for level in levels if level == level]
        reach += known + [end for end in (*low, *high) if end == end]
        ends.append((known[-1], ink, label))
        if path == "load-bypass":
            axes.fill_between(places, levels, min(known) - 100, color=colour("floor"), linewidth=0, zorder=0)
    if reach:
        axes.set_ylim(min(reach) - 2, max(reach) + 2)
    _label_ends(axes, ends, len(hours))
    axes.set_ylabel(f"noise level, {unit}")
    axes.grid(axis="y")
    if outside.height:
        _outside(panels[1, 0], outside, hours)
    foot = panels[-1, 0]
    foot.set_xticks(range(len(hours)), [wording.local_hour(hour, zone, on)[:2] for hour in hours])
    foot.set_xlim(-0.4, len(hours) - 0.6)
    foot.set_xlabel(f"hour beginning, local time ({zone})")
    return inline(figure, name, title, _alternative(here, unit))


def _outside(axes: Axes, outside: pl.DataFrame, hours: Sequence[int]) -> None:
    """External noise as measured over what P.372 expects."""
    rows = {row["hour_utc"]: row for row in outside.iter_rows(named=True)}
    columns = {
        key: [_or_nan(rows.get(hour), key) for hour in hours]
        for key in ("fa_db", "fa_low", "fa_high", "expected_db", "expected_low", "expected_high")
    }
    places = range(len(hours))
    axes.fill_between(
        places,
        columns["expected_low"],
        columns["expected_high"],
        color=colour("soft"),
        alpha=0.22,
        linewidth=0,
    )
    axes.plot(places, columns["expected_db"], color=colour("soft"), linewidth=1.3, linestyle=":")
    axes.fill_between(
        places, columns["fa_low"], columns["fa_high"], color=colour("antenna"), alpha=0.18, linewidth=0
    )
    axes.plot(places, columns["fa_db"], color=colour("antenna"), linewidth=1.7, marker=".", markersize=5)
    ends = [(columns["fa_db"], "antenna", "measured"), (columns["expected_db"], "soft", "P.372")]
    _label_ends(
        axes,
        [(known[-1], ink, label) for line, ink, label in ends if (known := [v for v in line if v == v])],
        len(hours),
    )
    axes.set_ylabel("Fa, dB over kT₀b")
    axes.grid(axis="y")


def _or_nan(row: dict[str, object] | None, key: str) -> float:
    value = row[key] if row is not None else None
    return float(value) if isinstance(value, float) else float("nan")


def _label_ends(axes: Axes, ends: list[tuple[float, str, str]], columns: int) -> None:
    """Each line's name at its right end, pushed apart where lines meet."""
    low, high = axes.get_ylim()
    gap, last = (high - low) * 0.075, float("-inf")
    for level, ink, label in sorted(ends):
        last = max(level, last + gap)
        axes.annotate(
            label,
            (columns - 1, last),
            xytext=(12, 0),
            textcoords="offset points",
            va="center",
            color=colour(ink),
            annotation_clip=False,
        )


def _title(band: BandFinding) -> str:
    rises = [p.noise_rise_db.value for p in band.periods if p.noise_rise_db is not None]
    if not rises:
        return f"{band.band}: noise levels; without a load the floor is not known"
    low, high = min(rises), max(rises)
    span = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    if low >= 10:
        what = "noise from outside sets the floor"
    elif high <= 3:
        what = "the receiver's own noise counts"
    else:
        what = "noise from outside and the receiver's own both count"
    return f"{band.band}: {what}; the antenna stands {span} dB above the load"


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
    for path, (_, _, label) in PATHS.items():
        levels = here.filter(here["path"] == path)["level"].drop_nulls().to_list()
        if levels:
            parts.append(
                f"{label}: from {wording.decibel(min(levels))} to {wording.decibel(max(levels))} {unit}"
            )
    return "; ".join(parts) + "."


def _numbers(
    here: pl.DataFrame, outside: pl.DataFrame, hours: Sequence[int], zone: str, on: date, unit: str
) -> Numbers:
    rows: list[tuple[str, ...]] = []
    for hour in hours:
        for path, (_, _, label) in PATHS.items():
            cell = here.filter((here["path"] == path) & (here["hour_utc"] == hour))
            for row in cell.iter_rows(named=True):
                rows.append(
                    (
                        wording.local_hour(hour, zone, on),
                        label,
                        wording.decibel(row["level"]),
                        wording.decibel(row["low"]),
                        wording.decibel(row["high"]),
                        wording.decibel(row["impulsiveness_db"]),
                        str(row["nights"]),
                    )
                )
        for row in outside.filter(outside["hour_utc"] == hour).iter_rows(named=True):
            at = wording.local_hour(hour, zone, on)
            for label, keys in _OUTSIDE.items():
                rows.append((at, label, *(wording.decibel(row[key]) for key in keys), "", ""))
    headings = (
        f"Hour ({zone})", "Path", f"Level, {unit}", "low", "high", "Impulsive part, dB", "Nights"
    )  # fmt: skip
    return Numbers(headings, tuple(rows))


_OUTSIDE = {
    "external noise over kT₀b, dB": ("fa_db", "fa_low", "fa_high"),
    "P.372 expects, dB": ("expected_db", "expected_low", "expected_high"),
}
