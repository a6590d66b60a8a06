"""The answer as one picture to send or print: station, dates, the line, each band's ribbon with its interval.

Drawn from the answer as the pages show it; nothing is computed.
"""

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweeper.analysis import Findings
from sweeper.report import wording
from sweeper.report.answer import Answer, Deed, Piece, answer
from sweeper.report.palette import LIGHT
from sweeper.report.picture_file import drawn, write_drawn

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

RIBBON_FROM, RIBBON_TO, DEED_AT = 0.17, 0.48, 0.51
"""Shares of the width."""
LINE_IN, LETTERS = 0.27, 84
"""Height of a line of text, and letters in the widest."""


def write_picture(findings: Findings, zone: str, file: Path) -> None:
    """Write the picture to `file`, whole or not at all. `WrongInput` for another kind of file, or no place for it."""
    write_drawn(file, lambda kind: picture_of(findings, zone, kind))


def picture_of(findings: Findings, zone: str, kind: str = "png") -> bytes:
    """The picture as ``png`` or ``svg``, about 1260 pixels wide."""
    told = answer(findings, zone)
    lines = textwrap.wrap(f"{told.line}.", LETTERS)
    rows = sum(len(row.deeds) for row in told.rows)
    high = 0.9 + LINE_IN * (len(lines) + rows * (2 if told.looks_ahead else 1) + 2)

    def fill(figure: "Figure") -> None:
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(0.0, 1.0)
        axes.set_ylim(high, 0.0)
        axes.set_axis_off()
        _head(axes, findings, zone, lines)
        _rows(axes, told, 0.75 + LINE_IN * (len(lines) + 0.6))
        foot = f"S/N change by the stage, dB, with its interval at {findings.confidence:.0%}. Hours: {zone}."
        axes.text(0.025, high - 0.14, foot, fontsize=8, color=LIGHT["soft"])

    return drawn(kind, high, fill)


def _head(axes: "Axes", findings: Findings, zone: str, lines: list[str]) -> None:
    ink: dict[str, Any] = {"color": LIGHT["ink"], "va": "center"}
    axes.text(0.025, 0.3, findings.station, fontsize=16, fontweight="bold", family="serif", **ink)
    nights = f"{wording.nights_measured(findings)}, {wording.dates(findings, zone)}"
    axes.text(0.975, 0.3, nights, fontsize=10, color=LIGHT["soft"], ha="right", va="center")
    for nth, line in enumerate(lines):
        axes.text(0.025, 0.66 + LINE_IN * nth, line, fontsize=11.5, family="serif", **ink)


def _rows(axes: "Axes", told: Answer, top: float) -> None:
    step = LINE_IN * (2 if told.looks_ahead else 1)
    for mark in told.marks:
        x = _x(mark.place, told.hours)
        axes.text(x, top, mark.time.local, fontsize=8, color=LIGHT["soft"], ha="center", va="center")
    y = top + 0.2
    for row in told.rows:
        middle = y + step * len(row.deeds) / 2
        axes.plot([0.025, 0.975], [y, y], color=LIGHT["rule"], linewidth=0.7)
        name: dict[str, Any] = {
            "fontsize": 11,
            "fontweight": "bold",
            "family": "serif",
            "color": LIGHT["ink"],
        }
        axes.text(0.025, middle, row.name[:14], va="center", **name)
        for piece in row.pieces:
            _piece(axes, piece, told.hours, middle)
        for nth, deed in enumerate(row.deeds):
            _deed(axes, deed, y + step * nth, step, told.looks_ahead)
        y += step * len(row.deeds)


def _deed(axes: "Axes", deed: Deed, y: float, step: float, ahead: bool) -> None:
    ink = {"in": "in", "out": "out", "fault": "mark"}.get(deed.state, "ink")
    where = "".join(f" {span.local}" for span in deed.where)
    first = y + (LINE_IN / 2 if ahead else step / 2)
    words = f"{deed.sign} {deed.words}{where}"
    weight = "bold" if ink != "ink" else "normal"
    axes.text(DEED_AT, first, words, fontsize=9.5, color=LIGHT[ink], fontweight=weight, va="center")
    axes.text(0.975, first, deed.measured, fontsize=9.5, color=LIGHT["ink"], ha="right", va="center")
    if ahead and deed.to_come:
        told = f"nights to come {deed.to_come}: {deed.outlook}"
        axes.text(0.975, first + LINE_IN, told, fontsize=8, color=LIGHT["soft"], ha="right", va="center")


def _x(place: float, hours: int) -> float:
    return RIBBON_FROM + (RIBBON_TO - RIBBON_FROM) * place / max(hours, 1)


def _piece(axes: "Axes", piece: Piece, hours: int, middle: float) -> None:
    """One stretch as on the pages: above the middle, below it, two lines, dots, or a zigzag."""
    from matplotlib.patches import Rectangle

    left, right = _x(piece.place, hours), _x(piece.place + piece.hours, hours)
    if piece.state in ("in", "out"):
        foot = middle - 0.11 if piece.state == "in" else middle
        strength = 1.0 if piece.settled else 0.45
        fill = Rectangle((left, foot), right - left, 0.11, facecolor=LIGHT[piece.state], alpha=strength)
        fill.set_linewidth(0)
        axes.add_patch(fill)
    elif piece.state == "same":
        for y in (middle - 0.025, middle + 0.025):
            axes.plot([left, right], [y, y], color=LIGHT["soft"], linewidth=1.3)
    elif piece.state == "open":
        axes.plot([left, right], [middle, middle], ":", color=LIGHT["soft"], linewidth=1.3)
    else:
        teeth = piece.hours * 4
        xs = [left + (right - left) * nth / teeth for nth in range(teeth + 1)]
        ys = [middle + (0.08 if nth % 2 else -0.08) for nth in range(teeth + 1)]
        axes.plot(xs, ys, color=LIGHT["mark"], linewidth=1.0)
