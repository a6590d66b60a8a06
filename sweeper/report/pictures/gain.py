"""Do the ways to measure gain agree? Each way's gain with its interval, band by band."""

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from sweeper.analysis import listed
from sweeper.report import wording
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import NARROW, colour, drawing, inline, sheet

MARKS = {
    "carriers": "o",
    "load": "s",
    "bend": "^",
    "noise": "D",
    "rated": "x",
    "channel": ".",
    "combined": "|",
}
WORDS = {
    "carriers": "carriers",
    "bend": "bend of the noise over nights",
    "load": "noise over the load",
    "noise": "noise source",
    "rated": "rated",
    "channel": "one channel",
    "combined": "combined",
}


def gain(gains: pl.DataFrame) -> tuple[Picture, ...]:
    """One picture, if any gain is known."""
    if not gains.height:
        return ()
    apart = gains.filter(~gains["agrees"])["band"].unique(maintain_order=True).to_list()
    bands = gains["band"].unique(maintain_order=True).to_list()
    varied = gains.filter(gains["method"] == "channel")["band"].unique(maintain_order=True).to_list()
    title = (
        f"The ways to measure gain disagree on {listed(apart)}"
        if apart
        else "The ways to measure gain agree within their uncertainty on every band"
    )
    if varied:
        title += f"; on {listed(varied)} the gain is not the same for all channels"
    rows = list(gains.iter_rows(named=True))
    with drawing():
        figure = sheet(NARROW, 1.0 + 0.2 * (len(rows) + len(bands)))
        axes = figure.subplots()
        _intervals(axes, rows)
        svg = inline(figure, "gain", title, _alternative(rows, varied))
    caption = (
        "Each line is an interval; the heavy one is all ways together, which the S/N change is reckoned with."
    )
    if varied:
        caption += (
            " Where channels differ it is the mean of theirs; dots are the channels, and each one's S/N change is "
            "reckoned with its own gain."
        )
    numbers = Numbers(
        ("Band", "Way", "Gain, dB", "low", "high", "Agrees"),
        tuple(
            (
                row["band"],
                _way(row, varied),
                wording.decibel(row["gain_db"], True),
                wording.decibel(row["low"], True),
                wording.decibel(row["high"], True),
                "yes" if row["agrees"] else "no",
            )
            for row in rows
        ),
    )
    return (Picture("gain", title, svg, caption, numbers),)


def _intervals(axes: Axes, rows: Sequence[Mapping[str, Any]]) -> None:
    """A line and a mark for each row, band under band, dB; marks are named once, above."""
    ticks, y = [], 0.0
    shown: dict[str, Line2D] = {}
    for row, earlier in zip(rows, [None, *rows], strict=False):
        begins = earlier is None or earlier["band"] != row["band"]
        y += 1.8 if begins and earlier is not None else 1.0
        if begins:
            ticks.append(y)
        ink = colour("mark" if not row["agrees"] else "in" if row["method"] == "combined" else "ink")
        heavy = 3.2 if row["method"] == "combined" else 1.3
        if row["low"] is not None and row["high"] is not None:
            axes.plot([row["low"], row["high"]], [y, y], color=ink, linewidth=heavy, alpha=0.75)
        (mark,) = axes.plot(
            [row["gain_db"]],
            [y],
            color=ink,
            marker=MARKS[row["method"]],
            markersize=9 if row["method"] == "combined" else 6,
            markeredgewidth=2 if row["method"] == "combined" else 1,
            markerfacecolor="none",
            linestyle="none",
        )
        shown.setdefault(WORDS[row["method"]], mark)
    axes.set_yticks(ticks, list(dict.fromkeys(row["band"] for row in rows)))
    axes.invert_yaxis()
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x")
    axes.set_xlabel("gain of the stage with its relays and cables, dB")
    # Marks are named once, above: a phone has no room for the words beside every line.
    axes.legend([*shown.values()], [*shown], loc="lower left", bbox_to_anchor=(0, 1), ncols=2, frameon=False)


def _way(row: Mapping[str, object], varied: Sequence[str]) -> str:
    """What a row shows, in words: the way of measuring, or the channel."""
    hz, method = row["hz"], str(row["method"])
    if isinstance(hz, int):
        return f"channel at {wording.megahertz(hz)}"
    return "mean of channels" if method == "combined" and row["band"] in varied else WORDS[method]


def _alternative(rows: list[dict[str, object]], varied: Sequence[str]) -> str:
    parts = []
    for row in rows:
        value = row["gain_db"]
        if row["method"] == "combined" and isinstance(value, float):
            mean = ", mean of channels that differ" if row["band"] in varied else ""
            parts.append(f"{row['band']}: {wording.decibel(value, True)} dB{mean}")
    return "Combined gain. " + "; ".join(parts) + "."
