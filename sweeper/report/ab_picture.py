"""One moment of an attended A/B test, drawn for a terminal of any size. Draws, and computes nothing.

What is said stands whole, from the top; the two spectra take what is left of the screen's height.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil
from textwrap import wrap

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from sweeper.ab import Interval
from sweeper.attended.view import Curve, Route, View
from sweeper.report import wording
from sweeper.report.console import open_table
from sweeper.words import SignalPath

WIDEST, MARGIN = 80, 8
COLUMNS, ROWS = 64, 4
BESIDE = 7
"""To the right of a spectrum: its top in dB."""
LINE, ENDS = 41, 11
EIGHTHS = " ▁▂▃▄▅▆▇█"
BOTTOM_DB = -3.0
REACH_DB, MOST_DB = 6.0, 30.0
OUT, IN = "yellow", "cyan"


@dataclass(frozen=True, slots=True)
class Picture:
    """Fits the console it is printed on, and 80 columns."""

    view: View

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType | Segment]:
        width = min(options.max_width, WIDEST)
        told = [*_head(self.view), *_said(self.view, width)]
        fitted = options.update(width=width, height=None)
        lines = [line for each in told for line in console.render_lines(each, fitted, pad=False)]
        rows = min((options.max_height - len(lines) - 2) // 2, ROWS)
        for line in lines:
            yield from line
            yield Segment.line()
        if rows > 0:
            yield from _spectra(self.view, width - MARGIN - BESIDE, rows)


def _head(view: View) -> Iterator[RenderableType]:
    where = f"{view.hz_dial / 1000:.10g} kHz · " if view.hz_dial is not None else ""
    how = "by hand" if view.by_hand else "by relay"
    yield Text(f"{where}{how} · {clock(view.elapsed_s)}, {clock(view.left_s)} left", "bold")
    yield Text("space: I have switched   L: load   q: end" if view.by_hand else "q: end", "dim")
    now = Text.assemble(("NOW     ", "bold"), (name_of(view.path), IN if view.path.route == "stage" else OUT))
    if view.to is not None:
        soon = "now" if not view.switch_in_s else f"in {view.switch_in_s:.0f} s"
        now.append(f"  →  {name_of(view.to)} {soon}")
    now.append(f"   {view.edges} of {view.planned} switchings")
    yield now
    yield _levels(view)


def _said(view: View, width: int) -> Iterator[RenderableType]:
    if view.snr_change is not None:
        yield bar(view.snr_change, min(LINE, (width - MARGIN - ENDS) // 2 * 2 - 1))
    for sign, text in (
        ("ANSWER", view.answer), ("NEXT", view.next), ("", view.hint), ("ODD", view.trouble), ("TAKES", view.still),
        ("CAP", view.cap), ("SEEN", view.sight),
    ):  # fmt: skip
        if text:
            lines = wrap(text, max(width - MARGIN, MARGIN), break_on_hyphens=False)
            yield Text.assemble((f"{sign:{MARGIN}}", "bold"), f"\n{'':{MARGIN}}".join(lines))


def _spectra(view: View, columns: int, rows: int) -> Iterator[RenderableType]:
    columns = min(columns, COLUMNS)
    drawn = [_columns(curve, columns) for curve in (view.out_curve, view.in_curve)]
    top_db = max([10.0, *drawn[0], *drawn[1]])
    for name, style, values in (("OUT", OUT, drawn[0]), ("IN", IN, drawn[1])):
        yield spectrum(name, values, style, rows, top_db)
    if view.hz:
        low, high = view.hz[0], view.hz[-1]
        near = high < 100e3
        ends = [f"{hz:.0f} Hz" if near else f"{hz / 1e3:.2f} kHz" for hz in (low, high)]
        width = len(drawn[0]) or len(drawn[1])
        yield Text(" " * MARGIN + ends[0] + ends[1].rjust(width - len(ends[0])), "dim")


def spectrum(name: str, values: list[float], style: str, rows: int, top_db: float) -> Text:
    """A spectrum in blocks, both on one scale. `values`: dB, one a column."""
    if not values:
        return Text(f"{name:{MARGIN}}not heard yet", "dim")
    told = Text()
    for row in range(rows - 1, -1, -1):
        told.append(f"{name if row == rows - 1 else '':{MARGIN}}", "bold")
        shares = ((value - BOTTOM_DB) / (top_db - BOTTOM_DB) * rows - row for value in values)
        told.append("".join(EIGHTHS[round(8 * min(max(each, 0.0), 1.0))] for each in shares), style)
        told.append(f" {top_db:.0f} dB\n" if row == rows - 1 else "\n", "dim")
    told.right_crop(1)
    return told


def _columns(curve: Curve, most: int) -> list[float]:
    """The strongest of each column."""
    count = len(curve.db)
    width = max(min(most, count), 1)
    return (
        [max(curve.db[nth * count // width : (nth + 1) * count // width]) for nth in range(width)]
        if count
        else []
    )


def bar(it: Interval, length: int = LINE) -> Text:
    """The interval on a line as long as it needs, from −6 to +6 dB at the least. `length`: odd."""
    farthest = min(max(abs(it.low), abs(it.high)), MOST_DB)
    reach = REACH_DB * max(ceil(farthest / REACH_DB), 1)
    told = Text.assemble(("S/N     ", "bold"), f"−{reach:.0f} ")
    drawn = ""
    for nth in range(length):
        db = (nth / (length - 1) * 2.0 - 1.0) * reach
        half = reach / (length - 1)
        inside = it.low - half <= db <= it.high + half
        drawn += "●" if abs(db - it.value) <= half else "━" if inside else "┼" if abs(db) < half else "·"
    told.append(f"{drawn} +{reach:.0f} dB")
    return told


def clock(seconds: float) -> str:
    """``2 min 10 s``."""
    whole = int(seconds)
    return f"{whole // 60} min {whole % 60:02d} s" if whole >= 60 else f"{whole} s"


def name_of(path: SignalPath) -> str:
    """``OUT``, ``IN``, ``LOAD, OUT``."""
    route = "IN" if path.route == "stage" else "OUT"
    return route if path.source == "antenna" else f"{path.source.upper()}, {route}"


def _levels(view: View) -> Table:
    table = open_table(("", "left"), ("OUT", "right"), ("IN", "right"), ("difference", "left"))
    rows = (
        ("signal", "signal_db", _value(view.signal_change)),
        ("noise", "noise_db", _value(view.noise_change)),
        ("S/N", "snr_db", "–" if view.snr_change is None else f"{wording.interval(view.snr_change)} dB"),
    )
    for name, key, change in rows:
        table.add_row(name, _level(view.out, key), _level(view.within, key), change)
    if view.meter is not None:
        table.add_row("meter", *view.meter)
    return table


def _level(route: Route, key: str) -> str:
    value: float | None = getattr(route, key)
    return "–" if value is None else f"{wording.decibel(value)} dB"


def _value(it: Interval | None) -> str:
    """Without its ends: only those of S/N hold at every moment."""
    return "–" if it is None else f"{wording.decibel(it.value, True)} dB"
