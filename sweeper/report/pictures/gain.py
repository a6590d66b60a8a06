"""Do the ways to measure gain agree? Each way's gain with its interval, band by band."""

from collections.abc import Mapping, Sequence
from html import escape
from math import ceil, floor
from typing import Any

import polars as pl

from sweeper.analysis import listed
from sweeper.report import wording
from sweeper.report.pictures.picture import Numbers, Picture

MARKS = {
    "carriers": "m-3 0a3 3 0 1 0 6 0a3 3 0 1 0-6 0",
    "load": "m-3-3h6v6h-6z",
    "bend": "m0-4l4 7h-8z",
    "noise": "m0-4l4 4-4 4-4-4z",
    "rated": "m-3-3l6 6m0-6l-6 6",
    "channel": "m-1 0h2",
    "combined": "m0-5v10",
}
"""Each way's mark, drawn from its middle."""
WIDE, LEFT, RIGHT, STEP, EVERY_DB = 360, 84, 10, 13, 5
"""Width, margins and a line's height; decibels between two marks of the scale."""
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
    varied = gains.filter(gains["method"] == "channel")["band"].unique(maintain_order=True).to_list()
    title = (
        f"The ways to measure gain disagree on {listed(apart)}"
        if apart
        else "The ways to measure gain agree within their uncertainty on every band"
    )
    if varied:
        title += f"; on {listed(varied)} the gain is not the same for all channels"
    rows = list(gains.iter_rows(named=True))
    svg = _drawn(rows, title, _alternative(rows, varied))
    caption = "Each line is an interval; the heavy one is all methods together, which the S/N change goes by."
    if varied:
        caption += (
            " Where channels differ it is the mean of theirs; dots are the channels, and each one's S/N change is "
            "computed with its own gain."
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


def _drawn(rows: Sequence[Mapping[str, Any]], title: str, alternative: str) -> str:
    """A line and a mark for each row, band under band, dB; marks are named once, above."""
    known = [float(row[key]) for row in rows for key in ("gain_db", "low", "high") if row[key] is not None]
    low, high = min(known) - 1.0, max(known) + 1.0

    def x(gain_db: float) -> float:
        return LEFT + (WIDE - LEFT - RIGHT) * (gain_db - low) / (high - low)

    parts, y = _legend(list(dict.fromkeys(str(row["method"]) for row in rows)))
    top, band = y + 4, None
    for row in rows:
        y += STEP
        if row["band"] != band:
            y += 5
            band = row["band"]
            parts.append(f'<text class="name" x="2" y="{y + 4}">{escape(str(band))}</text>')
        kind = "apart" if not row["agrees"] else "together" if row["method"] == "combined" else "way"
        if row["low"] is not None and row["high"] is not None:
            parts.append(f'<path class="{kind} reach" d="M{x(row["low"]):.1f} {y}H{x(row["high"]):.1f}"/>')
        parts.append(f'<path class="{kind}" d="M{x(row["gain_db"]):.1f} {y}{MARKS[row["method"]]}"/>')
    foot = y + 8
    for at in range(ceil(low / EVERY_DB) * EVERY_DB, floor(high) + 1, EVERY_DB):
        parts.append(f'<path class="grid" d="M{x(at):.1f} {top}V{foot}"/>')
        words = f"{at:+d}".replace("-", wording.MINUS) if at else "0"
        parts.append(f'<text class="hour" x="{x(at):.1f}" y="{foot + 12}">{words}</text>')
    middle = (LEFT + WIDE - RIGHT) / 2
    axis = "gain of the stage with its relays and cables, dB"
    parts.append(f'<text class="hour" x="{middle}" y="{foot + 26}">{axis}</text>')
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="picture whole small" viewBox="0 0 {WIDE} {foot + 32}" '
        f'width="{WIDE * 1.6:.0f}" role="img" aria-labelledby="gain-title gain-desc">'
        f'<title id="gain-title">{escape(title)}</title><desc id="gain-desc">{escape(alternative)}</desc>'
        f"{''.join(parts)}</svg>"
    )


def _legend(methods: Sequence[str]) -> tuple[list[str], int]:
    """Marks with their names in two columns, and where they end."""
    parts = []
    for nth, method in enumerate(methods):
        x, y = 12 + 180 * (nth % 2), 10 + 14 * (nth // 2)
        kind = "together" if method == "combined" else "way"
        parts.append(f'<path class="{kind}" d="M{x} {y}{MARKS[method]}"/>')
        parts.append(f'<text x="{x + 9}" y="{y + 3}">{WORDS[method]}</text>')
    return parts, 10 + 14 * ((len(methods) - 1) // 2)


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
