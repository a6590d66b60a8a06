"""An attended A/B test on the terminal: how it goes, and its result. Prints, and computes nothing."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from math import ceil

from rich.console import Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from sweeper.ab import Interval
from sweeper.attended.view import Attended, Curve, Route, View
from sweeper.report import wording
from sweeper.report.ab_terminal import show_result
from sweeper.report.ab_words import remarks
from sweeper.report.terminal import open_console, open_table
from sweeper.words import SignalPath

COLUMNS, ROWS = 64, 4
EIGHTHS = " ▁▂▃▄▅▆▇█"
REACH_DB, MOST_DB = 6.0, 30.0
LINE = 41
STANDING_S = 10.0
"""Without a terminal so often how it stands."""
OUT, IN = "yellow", "cyan"

CLAIM = "This holds for this tuning and this hour."


@contextmanager
def live() -> Iterator[Callable[[View], None]]:
    """A picture that is drawn anew; gone at the end."""
    with Live(console=open_console(on_stderr=True), auto_refresh=False, transient=True) as shown:
        yield lambda view: shown.update(picture(view), refresh=True)


@contextmanager
def lines() -> Iterator[Callable[[View], None]]:
    """A line when there is something new to do, and now and then how it stands."""
    console = open_console(on_stderr=True)
    said: dict[str, str] = {}
    stood_s = -STANDING_S

    def say(view: View, sign: str, text: str) -> None:
        if text and said.get(sign) != text:
            console.print(Text(f"{clock(view.elapsed_s)} {sign} {text}"), soft_wrap=True)
        said[sign] = text

    def tell(view: View) -> None:
        nonlocal stood_s
        if not view.by_hand or not view.next.startswith("Wait: "):
            say(view, "NEXT", view.next)
        else:
            said["NEXT"] = ""
        say(view, "ODD", view.trouble)
        if view.elapsed_s >= stood_s + STANDING_S:
            stood_s = view.elapsed_s
            say(view, "ANSWER", view.answer)
            if "SEEN" not in said or not view.sight:
                say(view, "SEEN", view.sight)

    yield tell


def clock(seconds: float) -> str:
    """``2 min 10 s``."""
    whole = int(seconds)
    return f"{whole // 60} min {whole % 60:02d} s" if whole >= 60 else f"{whole} s"


def name_of(path: SignalPath) -> str:
    """``OUT``, ``IN``, ``LOAD, OUT``."""
    route = "IN" if path.route == "stage" else "OUT"
    return route if path.source == "antenna" else f"{path.source.upper()}, {route}"


def picture(view: View) -> RenderableType:
    """One moment, at most 80 columns wide."""
    where = f"{view.hz_dial / 1000:.10g} kHz · " if view.hz_dial is not None else ""
    how = "by hand" if view.by_hand else "by relay"
    head = Text(f"{where}{how} · {clock(view.elapsed_s)}, {clock(view.left_s)} left", "bold")
    keys = "space: I have switched   L: load   q: end" if view.by_hand else "q: end"
    now = Text.assemble(("NOW     ", "bold"), (name_of(view.path), IN if view.path.route == "stage" else OUT))
    if view.to is not None:
        soon = "now" if not view.switch_in_s else f"in {view.switch_in_s:.0f} s"
        now.append(f"  →  {name_of(view.to)} {soon}")
    now.append(f"      {view.edges} of {view.planned} switches")
    parts: list[RenderableType] = [head, Text(keys, "dim"), now, _levels(view)]
    parts += [spectrum("OUT", view.out_curve, OUT, view), spectrum("IN", view.in_curve, IN, view)]
    parts.append(_scale(view))
    if view.snr_change is not None:
        parts.append(bar(view.snr_change))
    for sign, text in (
        ("ANSWER", view.answer), ("NEXT", view.next), ("", view.hint), ("TAKES", view.still), ("SEEN", view.sight),
        ("CAP", view.cap), ("ODD", view.trouble),
    ):  # fmt: skip
        if text:
            line = Table.grid(padding=(0, 1))
            line.add_column(width=7)
            line.add_column()
            line.add_row(Text(sign, "bold"), Text(text))
            parts.append(line)
    return Group(*parts)


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


def spectrum(name: str, curve: Curve, style: str, view: View) -> Text:
    """A spectrum in blocks, strongest of each column; both on one scale."""
    told = Text(f"{name}\n", style)
    drawn = _columns(curve)
    if not drawn:
        return Text(f"{name}: not heard yet", "dim")
    top = max([10.0, *(_columns(view.out_curve) or [0.0]), *(_columns(view.in_curve) or [0.0])])
    bottom = -3.0
    for row in range(ROWS - 1, -1, -1):
        for value in drawn:
            share = (value - bottom) / (top - bottom) * ROWS - row
            told.append(EIGHTHS[round(8 * min(max(share, 0.0), 1.0))])
        told.append(f" {top:.0f} dB\n" if row == ROWS - 1 else "\n")
    told.right_crop(1)
    return told


def _columns(curve: Curve) -> list[float]:
    count = len(curve.db)
    width = min(COLUMNS, count)
    return (
        [max(curve.db[nth * count // width : (nth + 1) * count // width]) for nth in range(width)]
        if count
        else []
    )


def _scale(view: View) -> Text:
    if not view.hz:
        return Text("")
    low, high = view.hz[0], view.hz[-1]
    ends = (
        (f"{low:.0f} Hz", f"{high:.0f} Hz")
        if high < 100e3
        else (f"{low / 1e3:.2f} kHz", f"{high / 1e3:.2f} kHz")
    )
    return Text(ends[0] + ends[1].rjust(COLUMNS - len(ends[0])), "dim")


def bar(it: Interval) -> Text:
    """The interval on a line as long as it needs, from −6 to +6 dB at the least."""
    farthest = min(max(abs(it.low), abs(it.high)), MOST_DB)
    reach = REACH_DB * max(ceil(farthest / REACH_DB), 1)
    told = Text("S/N     ", "bold")
    told.append(f"−{reach:.0f} ")
    for nth in range(LINE):
        db = (nth / (LINE - 1) * 2.0 - 1.0) * reach
        half = reach / (LINE - 1)
        inside = it.low - half <= db <= it.high + half
        told.append("●" if abs(db - it.value) <= half else "━" if inside else "┼" if abs(db) < half else "·")
    told.append(f" +{reach:.0f} dB")
    return told


def show_attended(attended: Attended, station_file: str | None) -> None:
    """The result: its sentence, the figures, what was odd, and how far it holds."""
    console = open_console()
    show_result(console, attended.result)
    console.print()
    for line in remarks(attended):
        console.print(Text(line, "dim"))
    more = (
        f"`sweeper run {station_file}`" if station_file is not None else "`sweeper run`, with a station file,"
    )
    console.print(Text(f"{CLAIM} {more} tells about nights."))
