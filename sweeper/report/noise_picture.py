"""What makes the noise as one picture: when each source ran and how strong, and each band's noise in its parts."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from sweeper.noise.told import NoiseTold, Told
from sweeper.report.noise_words import PART_WORDS, decibels
from sweeper.report.palette import LIGHT
from sweeper.report.picture_file import drawn, write_drawn

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_SOURCES = 8
ROW_IN = 0.42
DOTS = "Dots: passes that show it, higher where it is stronger; ticks: those that do not."
COLOURS = {
    "receiver": "load",
    "mains": "out",
    "comb": "in",
    "hump": "mark",
    "rest": "rule",
    "birdie": "soft",
}
"""Of the palette, by kind or part."""
ZERO_FORMATS = ["", "%Y", "%b", "%d %b", "%H:%M", "%H:%M"]
OFFSET_FORMATS = ["", "%Y", "%B %Y", "%d %B %Y", "%d %B %Y", "%d %B %Y %H:%M"]
"""Of ticks where a day begins, and of the date that the last ones belong to; as matplotlib lists them."""


def write_noise_picture(station: str, told: NoiseTold, zone: str, file: Path) -> None:
    """Write it to `file`, whole or not at all. `WrongInput` for another kind of file, or no place for it."""
    write_drawn(file, lambda kind: noise_picture(station, told, zone, kind))


def noise_picture(station: str, told: NoiseTold, zone: str, kind: str = "png") -> bytes:
    """The picture as ``png`` or ``svg``."""
    shown = told.sources[:MOST_SOURCES]
    rows, bars = max(len(shown), 1), max(len(told.splits), 1)
    high = 1.9 + ROW_IN * (rows + bars) + 0.5

    def fill(figure: "Figure") -> None:
        top = 1.0 - 0.45 / high
        upper = ROW_IN * rows / high
        runs = figure.add_axes((0.3, top - upper, 0.67, upper))
        lower = ROW_IN * bars / high
        parts = figure.add_axes((0.3, top - upper - 1.4 / high - lower, 0.67, lower))
        figure.text(
            0.02, 1.0 - 0.25 / high, f"{station}: what makes the noise", fontsize=12, color=LIGHT["ink"]
        )
        figure.text(
            0.02,
            top - upper - 0.62 / high,
            f"{DOTS} Hours of {zone}.",
            fontsize=8,
            color=LIGHT["soft"],
            va="center",
        )
        _runs(runs, shown, told, zone)
        _bare(parts)
        draw_parts(parts, told, LIGHT.__getitem__)

    return drawn(kind, high, fill)


def _runs(axes: "Axes", shown: tuple[Told, ...], told: NoiseTold, zone: str) -> None:
    """A line a source: a dot where it was seen, higher where it lifts the noise more; a tick where it was not."""
    import matplotlib.dates as dates

    _bare(axes)
    local = ZoneInfo(zone)
    for row, each in enumerate(shown):
        bands, passes = set(each.source.bands), each.source.passes
        looks = {one.pass_number: one.time for one in told.heard if one.band in bands}
        levels = {one.pass_number: found.level_db for one, found in each.source.seen}
        low, high = min(levels.values()), max(levels.values())
        times = {number: datetime.fromtimestamp(time, UTC) for number, time in looks.items()}
        without = [times[number] for number in times if number not in passes]
        with_it = [number for number in times if number in passes]
        axes.plot(
            [dates.date2num(at) for at in without], np.full(len(without), row + 0.35), "|",  # type: ignore[no-untyped-call]
            color=LIGHT["rule"], markersize=3,
        )  # fmt: skip
        heights = [row + 0.3 - 0.6 * (levels[number] - low) / max(high - low, 3.0) for number in with_it]
        axes.plot(
            [dates.date2num(times[number]) for number in with_it], heights, ".",  # type: ignore[no-untyped-call]
            color=LIGHT[COLOURS[each.source.kind]], markersize=4,
        )  # fmt: skip
    names = [_name(each) for each in shown] or ["no source"]
    axes.set_yticks(range(len(names)), names, fontsize=8, color=LIGHT["ink"])
    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.xaxis_date(local)
    locator = dates.AutoDateLocator(tz=local, minticks=2, maxticks=7)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(
        dates.ConciseDateFormatter(  # type: ignore[no-untyped-call]
            locator, tz=local, zero_formats=ZERO_FORMATS, offset_formats=OFFSET_FORMATS
        )
    )
    axes.tick_params(axis="x", labelsize=8, colors=LIGHT["soft"])
    axes.xaxis.get_offset_text().set(fontsize=8, color=LIGHT["soft"])


def _name(told: Told) -> str:
    cost = "" if told.cost_db is None else f", up to {decibels(told.cost_db)}"
    return f"{told.source.name}{cost}"


def draw_parts(axes: "Axes", told: NoiseTold, ink: Callable[[str], str], size: float = 8.0) -> None:
    """A bar a band, as long as all of its noise. `ink`: of a name of the palette; `size` of letters."""
    drawn = set()
    for row, split in enumerate(told.splits):
        left = 0.0
        for part in split.parts:
            if part.share <= 0.0:
                continue
            label = None if part.name in drawn else PART_WORDS[part.name]
            drawn.add(part.name)
            axes.barh(row, 100 * part.share, 0.62, 100 * left, color=ink(COLOURS[part.name]), label=label)
            left += part.share
    names = [split.band for split in told.splits] or ["no band yet"]
    axes.set_yticks(range(len(names)), names, fontsize=size, color=ink("ink"))
    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.set_xlim(0, 100)
    axes.set_xlabel("share of the noise's power, %", fontsize=size, color=ink("soft"))
    axes.tick_params(axis="x", labelsize=size, colors=ink("soft"))
    axes.tick_params(axis="y", length=0)
    if drawn:
        axes.legend(
            loc="lower left",
            bbox_to_anchor=(0.0, 1.0),
            ncols=3,
            fontsize=size,
            frameon=False,
            labelcolor=ink("ink"),
        )


def _bare(axes: "Axes") -> None:
    axes.set_facecolor(LIGHT["ground"])
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(LIGHT["rule"])
    axes.tick_params(axis="y", length=0)
