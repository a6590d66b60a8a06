"""Small pictures of one kind beside each other, all on one scale: lines and shaded spans over the hours of the night.

Written as SVG by hand: forty lines a picture need no drawing library, which would take a second to load and ten times
the bytes. Whatever is text is escaped here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

WIDE, HIGH = 230, 110
LEFT, TOP, RIGHT, FOOT = 46, 16, 6, 16


@dataclass(frozen=True, slots=True)
class Line:
    """Values by place on the scale, None where there is none; `low` and `high` shade an interval about it.

    `at`: the places; without them they are 0, 1, 2, …
    """

    kind: str
    values: Sequence[float | None]
    low: Sequence[float | None] = ()
    high: Sequence[float | None] = ()
    at: Sequence[float] = ()

    @property
    def places(self) -> Sequence[float]:
        """Where each value stands."""
        return self.at or range(len(self.values))


@dataclass(frozen=True, slots=True)
class Strokes:
    """Short upright lines (place, from, to), all of one kind; of no length they are dots."""

    kind: str
    each: Sequence[tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Panel:
    """One small picture. `in_words` is for who cannot see it."""

    name: str
    in_words: str
    lines: Sequence[Line]
    strokes: Sequence[Strokes] = ()


@dataclass(frozen=True, slots=True)
class Scale:
    """What all share: marks by place (in local time and UTC, where they are hours), marks of the levels with their
    words, and the ends of both."""

    marks: Mapping[float, tuple[str, str]]
    last: float
    levels: Mapping[float, str]
    low: float
    high: float

    def x(self, place: float) -> float:
        """Where an hour stands."""
        return LEFT + (WIDE - LEFT - RIGHT) * place / max(self.last, 1.0)

    def y(self, level: float) -> float:
        """Where a level stands, kept inside."""
        share = (min(max(level, self.low), self.high) - self.low) / (self.high - self.low)
        return TOP + (HIGH - TOP - FOOT) * (1.0 - share)


def multiples(kind: str, panels: Sequence[Panel], scale: Scale) -> str:
    """The panels as markup; `kind` makes their ids unique in the page."""
    drawn = "".join(_panel(f"{kind}-{nth}", panel, scale) for nth, panel in enumerate(panels))
    return f'<div class="multiples">{drawn}</div>'


def _panel(name: str, panel: Panel, scale: Scale) -> str:
    right = WIDE - RIGHT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="small" viewBox="0 0 {WIDE} {HIGH}" role="img" '
        f'aria-labelledby="{name}-title {name}-desc"><title id="{name}-title">{escape(panel.name)}</title>'
        f'<desc id="{name}-desc">{escape(panel.in_words)}</desc>'
        f'<text class="name" x="{LEFT}" y="11">{escape(panel.name)}</text>'
    ]
    for level, words in scale.levels.items():
        y = scale.y(level)
        parts.append(f'<path class="grid" d="M{LEFT} {y:.1f}H{right}"/>')
        parts.append(f'<text class="level" x="{LEFT - 4}" y="{y + 3:.1f}">{escape(words)}</text>')
    for place, (local, utc) in scale.marks.items():
        for clock, words in (("lt", local), ("ut", utc)) if local != utc else (("both", local),):
            parts.append(
                f'<text class="hour {clock}" x="{scale.x(place):.0f}" y="{HIGH - 4}">{escape(words)}</text>'
            )
    for line in panel.lines:
        parts.append(_shade(line, scale))
    for line in panel.lines:
        parts.append(f'<path class="{line.kind}" d="{_path(line, scale)}"/>')
    for strokes in panel.strokes:
        inside = [each for each in strokes.each if 0 <= each[0] <= scale.last]
        path = "".join(f"M{scale.x(x):.1f} {scale.y(low):.1f}V{scale.y(high):.1f}" for x, low, high in inside)
        parts.append(f'<path class="{strokes.kind}" d="{path}"/>')
    return "".join(parts) + "</svg>"


def _path(line: Line, scale: Scale) -> str:
    """A broken line through what is known; one value alone is a short dash."""
    found, pen = [], False
    for nth, (place, value) in enumerate(zip(line.places, line.values, strict=True)):
        if value is None:
            pen = False
            continue
        alone = not pen and (nth + 1 == len(line.values) or line.values[nth + 1] is None)
        at = f"{scale.x(place):.0f} {scale.y(value):.1f}"
        found.append(f"{'L' if pen else 'M'}{at}{'h2' if alone else ''}")
        pen = True
    return "".join(found)


def _shade(line: Line, scale: Scale) -> str:
    """The interval about a line, piece by piece where hours are missing."""
    pieces: list[list[tuple[str, str]]] = [[]]
    for place, low, high in zip(line.places, line.low, line.high, strict=False):
        if low is None or high is None:
            pieces.append([])
        else:
            pieces[-1].append(
                (f"{scale.x(place):.0f} {scale.y(high):.1f}", f"{scale.x(place):.0f} {scale.y(low):.1f}")
            )
    found = []
    for piece in pieces:
        if len(piece) > 1:
            above, below = zip(*piece, strict=True)
            found.append(f"M{'L'.join([*above, *reversed(below)])}z")
    return f'<path class="{line.kind} shade" d="{"".join(found)}"/>' if found else ""
