"""What does each band look like? Median spectra through every path on one scale, small first and large on demand.

Written as SVG by hand, each line once: the small picture shows the same paths as the large one.
"""

from collections.abc import Iterator, Sequence
from html import escape
from math import ceil, floor
from statistics import median
from typing import TYPE_CHECKING

from sweeper.noise.shown import Shown
from sweeper.report import wording
from sweeper.report.pictures import marked
from sweeper.report.pictures.picture import Numbers, Picture

if TYPE_CHECKING:
    from sweeper.spectra.over_passes import SeenLine, TuningSeen

WIDE, HIGH, LEFT, RIGHT, TOP, FOOT = 700, 250, 42, 58, 30, 22
POINTS = 300
"""Of a line: two of the picture's points each."""
PATHS = {
    "load-bypass": "load, out",
    "load-stage": "load, in",
    "antenna-bypass": "out",
    "antenna-stage": "in",
}
APART = 11
"""Between two words at the right."""
LABEL_WIDE = 24
MARKS = {
    "signal": "",
    "leakage": "m-3-3h6v6h-6z",
    "birdie": "m-3-3l6 6m0-6l-6 6",
    "image": "m0-4l4 4-4 4-4-4z",
    "converter": "m0-4l4 4-4 4-4-4z",
    "stage only": "m0-4l4 7h-8z",
}
WHAT = {
    "signal": "signal",
    "leakage": "signal, also heard on the load",
    "birdie": "the receiver's own",
    "image": "image",
    "converter": "the converter's",
    "stage only": "with the stage in only",
}
SAID = {
    "stage only": "Stands with the stage in only, as products of overload do",
    "birdie": "Stands on the load as well, so the receiver made it",
    "leakage": "Is also heard on the load, weaker, so it gets past the relay",
    "image": "Moves twice as far as the samples' centre, so it is an image of a line across it",
    "converter": "Moves with the samples' centre, so the converter made it",
}
CAPTION = (
    "Levels in dB of full scale, the median of the passes; of neighbouring bins the strongest. Ochre: antenna, stage "
    "out; teal: in; violet: load. Numbers above: by how much the stage changes each line's level, dB; the bar at the "
    "right: the noise's change. × the receiver's own, ◇ moves with the samples' centre, △ stands with the stage in "
    "only, □ also heard on the load. Open a band to see it large."
)
MARKED = (
    "Below: ticks at a comb's lines, a bracket at a hump's edges. A line with an hour beside it: the one pass, stage "
    "out, in which they stood out most."
)


def spectra(
    seen: Sequence["TuningSeen"], shown: Sequence[Shown] = (), zone: str = "UTC"
) -> tuple[Picture, ...]:
    """One picture of all tunings, if spectra are stored, with the sources of noise that are `shown` marked in it.

    It says nothing of S/N: the findings do, with intervals.
    """
    if not seen:
        return ()
    bands = [each.band for each in seen]
    svg = "".join(
        _fold(
            f"spectrum-{nth}",
            each.band if bands.count(each.band) == 1 else _part(each),
            each,
            [one for one in shown if (one.band, one.start_hz) == (each.band, each.start_hz)],
            zone,
        )
        for nth, each in enumerate(seen)
    )
    rows = tuple(row for each in seen for row in _rows(each))
    headings = ("Band", "kHz", "What", "S/N with the stage out, dB in 2.4 kHz", "Change of its level, dB")
    looks = f'<div class="looks">{svg}</div>'
    caption = f"{CAPTION} {MARKED}" if shown else CAPTION
    return (Picture("spectra", "The bands as they were heard", looks, caption, Numbers(headings, rows)),)


def named_lines(seen: Sequence["TuningSeen"]) -> tuple[str, ...]:
    """A sentence for each kind of line that did not come in as a signal comes in, with all their places."""
    said = []
    for kind, words in SAID.items():
        places = [
            f"{_unbroken(each.band)} {', '.join(_khz(line) for line in mine)}\u00a0kHz"
            for each in seen
            if (mine := [line for line in each.lines if line.kind == kind])
        ]
        if places:
            said.append(f"{words}: {'; '.join(places)}.")
    return tuple(said)


def _unbroken(words: str) -> str:
    return words.replace(" ", "\u00a0")


def _khz(line: "SeenLine") -> str:
    both = "" if line.twin_hz is None else f" and {line.twin_hz / 1e3:.1f}"
    return f"{line.hz / 1e3:.1f}{both}"


def _rows(each: "TuningSeen") -> Iterator[tuple[str, ...]]:
    noise_db = each.noise_change_db
    if noise_db is not None:
        yield each.band, "", "noise", "", wording.decibel(noise_db, True)
    for line in each.lines:
        words = wording.decibel(line.snr_db), wording.decibel(line.change_db, True)
        yield (each.band, _khz(line), WHAT[line.kind], *words)


def _span(each: "TuningSeen") -> tuple[float, float]:
    bins = len(each.levels_db["antenna-bypass"])
    return each.start_hz, each.start_hz + each.step_hz * (bins - 1)


def _megahertz(each: "TuningSeen") -> str:
    lowest, highest = _span(each)
    return f"{lowest / 1e6:.3f} to {highest / 1e6:.3f} MHz"


def _part(each: "TuningSeen") -> str:
    """A tuning of a band that takes several."""
    return f"{each.band}, {_megahertz(each)}"


def _in_words(each: "TuningSeen", marks: Sequence[Shown], zone: str) -> str:
    parts = [f"{_megahertz(each)}, median of {wording.count(each.passes, 'pass', 'passes')}"]
    if each.noise_change_db is not None:
        parts.append(
            f"with the stage in the noise changes by {wording.decibel(each.noise_change_db, True)} dB"
        )
    if changed := [
        line.change_db for line in each.lines if line.kind == "signal" and line.change_db is not None
    ]:
        ends = f"{wording.decibel(min(changed), True)} to {wording.decibel(max(changed), True)} dB"
        parts.append(f"{wording.count(len(changed), 'line')} by {ends}")
    parts += marked.in_words(marks, zone)
    return f"{'; '.join(parts)}."


def _fold(name: str, title: str, each: "TuningSeen", marks: Sequence[Shown], zone: str) -> str:
    """Small in the fold's heading, large within it. `title`: what no other picture is called."""
    noise = each.noise_change_db
    told = [] if noise is None else [f"noise {wording.decibel(noise, True)}\u00a0dB"]
    told += dict.fromkeys(mark.kind for mark in marks)
    plot = _Plot(each, marks, zone)
    uses = "".join(f'<use href="#{name}-{path}"/>' for path in plot.lines)
    small = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="small" viewBox="{LEFT} {TOP} {WIDE - LEFT - RIGHT} '
        f'{HIGH - TOP - FOOT}" preserveAspectRatio="none" aria-hidden="true">{uses}</svg>'
    )
    heading = f'<b>{escape(title)}</b> <span class="soft">{escape(", ".join(told))}</span>{small}'
    frame = f'<div class="scroll" tabindex="0" role="region" aria-label="Spectra of {escape(title)}">'
    return f"<details><summary>{heading}</summary>{frame}{_large(name, title, each, plot)}</div></details>"


def _large(name: str, title: str, each: "TuningSeen", plot: "_Plot") -> str:
    right = WIDE - RIGHT
    parts = [*_scale(plot), *_lines(name, plot), *_marks(plot, each), *_at_the_right(plot)]
    parts += marked.rows(plot.marks, plot.x, LEFT - 1, HIGH - FOOT)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="small large" viewBox="0 0 {WIDE} {plot.foot}" role="img" '
        f'aria-labelledby="{name}-title {name}-desc"><title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(_in_words(each, plot.marks, plot.zone))}</desc>'
        f'<path class="grid" d="M{LEFT} {HIGH - FOOT}H{right}"/>{"".join(parts)}</svg>'
    )


class _Plot:
    """Where frequencies and levels stand."""

    def __init__(self, each: "TuningSeen", marks: Sequence[Shown], zone: str) -> None:
        self.marks, self.zone, self.foot = marks, zone, HIGH + marked.ROW * len(marks)
        self.lines = {path: _points(each.levels_db[path]) for path in PATHS if path in each.levels_db}
        self.words = dict(PATHS)
        for mark in marks:
            if mark.levels_db:
                path = f"pass-{mark.time:.0f}"
                self.lines[path], self.words[path] = _points(mark.levels_db), marked.clock(mark, zone)
        known = [level for line in self.lines.values() for level in line if level is not None]
        self.low, self.high = floor(min(known) - 1.0), ceil(max(known) + 1.0)
        self.first_hz, last_hz = _span(each)
        self.width_hz = max(last_hz - self.first_hz, 1.0)
        self.a_db = (HIGH - TOP - FOOT) / (self.high - self.low)

    def x(self, hz: float) -> float:
        return LEFT + (WIDE - LEFT - RIGHT) * (hz - self.first_hz) / self.width_hz

    def y(self, level_db: float) -> float:
        return TOP + (self.high - level_db) * self.a_db


def _points(levels: Sequence[float | None]) -> list[float | None]:
    """So many as the picture shows: of neighbouring bins the strongest, so that a line stays to be seen."""
    many = max(ceil(len(levels) / POINTS), 1)
    parts = (levels[first : first + many] for first in range(0, len(levels), many))
    return [max((each for each in part if each is not None), default=None) for part in parts]


def _scale(plot: _Plot) -> Iterator[str]:
    every = next(step for step in (5, 10, 20, 50) if (plot.high - plot.low) / step <= 8 or step == 50)
    for level in range(ceil(plot.low / every) * every, plot.high + 1, every):
        y = plot.y(level)
        words = str(level).replace("-", wording.MINUS)
        yield f'<path class="grid" d="M{LEFT} {y:.0f}H{WIDE - RIGHT}"/>'
        yield f'<text class="level" x="{LEFT - 4}" y="{y + 3:.0f}">{words}</text>'
    steps = [digit * 10**power for power in range(1, 13) for digit in (1, 2, 5)]
    apart = next((step for step in steps if plot.width_hz / step <= 6), steps[-1])
    at = ceil(plot.first_hz / apart) * apart
    while at <= plot.first_hz + plot.width_hz:
        if plot.x(at) > LEFT + LABEL_WIDE:
            yield f'<text class="hour" x="{plot.x(at):.0f}" y="{plot.foot - 8}">{at / 1e3:g}</text>'
        at += apart
    yield f'<text class="level" x="{LEFT - 4}" y="{plot.foot - 8}">kHz</text>'


def _lines(name: str, plot: _Plot) -> Iterator[str]:
    """Each line once, in steps of 0.1 dB, which the picture scales."""
    for path, levels in plot.lines.items():
        wide = (WIDE - LEFT - RIGHT) / max(len(levels) - 1, 1)
        pieces: list[tuple[str, list[str]]] = []
        pen: int | None = None
        for place, level in enumerate(levels):
            if level is None:
                pen = None
                continue
            at = round((plot.high - level) * 10)
            if pen is None:
                pieces.append((f"M{place} {at}", []))
            else:
                pieces[-1][1].append(f"1 {at - pen}".replace(" -", "-"))
            pen = at
        drawn = "".join(f"{begin}l{' '.join(steps)}" if steps else f"{begin}h1" for begin, steps in pieces)
        scale = f"translate({LEFT} {TOP}) scale({wide:.4f} {plot.a_db / 10:.4f})"
        yield f'<path id="{name}-{path}" class="look {_class(path)}-look" transform="{scale}" d="{drawn}"/>'


def _class(path: str) -> str:
    return path if path in PATHS else "pass"


def _marks(plot: _Plot, each: "TuningSeen") -> Iterator[str]:
    """Each line's change in figures, as far as there is room; a sign at each that is no signal of the antenna's."""
    free = float(LEFT)
    for line in each.lines:
        for hz in (line.hz,) if line.twin_hz is None else (line.hz, line.twin_hz):
            if MARKS[line.kind]:
                yield f'<path class="{"at-edge" if line.kind == "stage only" else "way"}" '
                yield f'd="M{plot.x(hz):.1f} {TOP - 6}{MARKS[line.kind]}"/>'
        x = plot.x(line.hz)
        if line.kind == "signal" and line.change_db is not None and x >= free:
            words = wording.decibel(line.change_db, True)
            yield f'<text class="hour" x="{x:.0f}" y="{TOP - 14}">{words}</text>'
            yield f'<path class="span" d="M{x:.1f} {TOP - 11}v8"/>'
            free = x + LABEL_WIDE


def _at_the_right(plot: _Plot) -> Iterator[str]:
    """Which line is which, at its usual level, and how far the noise moves."""
    x = WIDE - RIGHT + 10
    y: dict[str, float] = {}
    for path, levels in plot.lines.items():
        known = [level for level in levels if level is not None]
        if known:
            y[path] = plot.y(median(known))
    lowest = float(TOP) - APART
    for path in sorted(y, key=y.__getitem__):
        lowest = max(lowest + APART, y[path])
        yield f'<text class="{_class(path)}-word" x="{x}" y="{lowest + 3:.0f}">{plot.words[path]}</text>'
    if {"antenna-bypass", "antenna-stage"} <= y.keys():
        yield (f'<path class="together" d="M{x - 5} {y["antenna-bypass"]:.1f}V{y["antenna-stage"]:.1f}"/>')
