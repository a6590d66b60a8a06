"""What the columns of a table mean: delimiter, header and units, as far as its first lines tell. Pure."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sweeper.store.csv_in.asked import Asked, FrequencyUnit, LevelUnit
from sweeper.store.csv_in.lines import cells_of
from sweeper.store.csv_in.mistakes import Mistake
from sweeper.store.errors import Unclear

NEEDED = ("time", "pass", "band", "hz", "for", "source", "route", "reading")
OPTIONAL = ("dbm", "bandwidth_hz", "flags")
DELIMITERS = ",;\t|"
ALMOST = 6
"""So many names of `NEEDED` make a header that of an export with a mistake in it."""
MOST_COLUMNS = 256
"""A line of more cells is no header of ours."""
HEADER_WITHIN = 10
"""Lines among which a header is looked for: a title or two may stand above it."""

_NAMES: dict[str, tuple[str, ...]] = {
    "date": ("date", "day"),
    "time": ("time", "datetime", "date time", "timestamp", "when", "clock", "utc", "gmt", "local time", "utc time",
             "time utc", "time local", "time gmt"),
    "pass": ("pass", "round"),
    "frequency": ("frequency", "freq", "qrg", "dial", "f", "hz", "khz", "mhz"),
    "band": ("band",),
    "for": ("for", "purpose", "kind", "what"),
    "source": ("source", "input", "antenna load", "ant load"),
    "route": ("route", "stage", "in out", "out in", "position", "switch", "path", "preamp", "preamplifier", "amplifier",
              "lna", "preselector", "filter", "attenuator", "choke"),
    "reading": ("reading", "level", "meter", "s", "s meter", "smeter", "s value", "s units", "s unit", "signal",
                "strength", "db", "dbm", "db over s9"),
    "dbm": (),
    "bandwidth_hz": ("bandwidth hz", "bandwidth"),
    "flags": ("flags",),
}  # fmt: skip
"""Headers as people write them, in small letters, without their units and signs."""

MEANINGS = tuple(_NAMES)

_PATHS = {
    "out": "antenna-bypass", "bypass": "antenna-bypass", "without": "antenna-bypass", "stage out": "antenna-bypass",
    "in": "antenna-stage", "with": "antenna-stage", "stage in": "antenna-stage", "load out": "load-bypass",
    "load bypass": "load-bypass", "load in": "load-stage", "load stage": "load-stage",
}  # fmt: skip
"""Headers of tables that have a column for each path."""

_UNITS = ("khz", "mhz", "hz", "dbm", "db over s9", "db", "s units", "s", "utc", "gmt", "local")


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each meaning stands in a line (places from 0), what units the header names, and what was not understood.

    `exported` says that the header is that of `export`; `paths` gives the place of the readings of each path where
    they have columns of their own.
    """

    delimiter: str
    header_line: int
    columns: Mapping[str, int]
    paths: Mapping[str, int]
    width: int
    exported: bool
    frequency: FrequencyUnit | None
    level: LevelUnit | None
    utc: bool
    unused: tuple[str, ...]


def layout_of(first: Sequence[str], asked: Asked) -> Layout:
    """The layout that the first lines of a table show; `Mistake` where they show none."""
    if not any(line.strip() for line in first):
        raise Mistake("there is no table in it")
    best: Layout | None = None
    for number, line in enumerate(first[:HEADER_WITHIN], 1):
        for delimiter in DELIMITERS:
            try:
                found = _of_header(cells_of(line, delimiter), delimiter, number, asked)
            except Mistake:
                continue
            if best is None or _known(found) > _known(best):
                best = found
    if best is None or not _known(best):
        wanted = ", ".join(("date", "time", "frequency", "stage (in or out)", "reading"))
        raise Mistake(
            f"no header is among its first lines; name the columns, such as {wanted}", first[0].strip()
        )
    _refuse_gaps(best, first[best.header_line - 1])
    return best


def _known(layout: Layout) -> int:
    return len(layout.columns) + len(layout.paths)


def _of_header(header: Sequence[str], delimiter: str, line: int, asked: Asked) -> Layout:
    if len(header) > MOST_COLUMNS:
        raise Mistake(f"the header has more than {MOST_COLUMNS} columns")
    names = [cell.strip().strip('"') for cell in header]
    exported = len(set(NEEDED) & set(names)) >= ALMOST and ("pass" in names or "reading" not in names)
    columns: dict[str, int] = {}
    paths: dict[str, int] = {}
    unused: list[str] = []
    frequency, level, utc = asked.frequency, asked.level, False
    named = {header.casefold(): meaning for meaning, header in asked.columns.items()}
    for place, name in enumerate(names):
        bare, unit = _bare(name)
        meaning = named.get(name.casefold())
        if exported or (meaning is None and "reading" in names and name in NEEDED + OPTIONAL):
            meaning = {"hz": "frequency"}.get(name, name) if name in NEEDED + OPTIONAL else None
        elif meaning is None and bare in _PATHS:
            paths.setdefault(_PATHS[bare], place)
            level = level or _level(unit)
            continue
        elif meaning is None:
            meaning = next((each for each, known in _NAMES.items() if bare in known), None)
        if meaning is None or meaning in columns:
            unused.append(f"{name} a second time" if exported and meaning in columns else name)
            continue
        columns[meaning] = place
        if meaning == "frequency":
            frequency = frequency or _frequency(unit or bare)
        elif meaning == "reading":
            level = level or _level(unit or bare)
        elif meaning == "time":
            utc = (unit or bare.replace("time", "").strip()) in ("utc", "gmt")
    if exported:
        frequency, level = "Hz", asked.level
    return Layout(
        delimiter, line, columns, paths, len(names), exported, frequency, level, utc,
        tuple(name for name in unused if name),
    )  # fmt: skip


def _refuse_gaps(layout: Layout, header: str) -> None:
    if layout.exported:
        there = {"hz" if each == "frequency" else each for each in layout.columns}
        if missing := [name for name in NEEDED if name not in there]:
            raise Mistake(f"the header lacks {', '.join(missing)}", header.strip())
        if layout.unused:
            raise Mistake("the header has unknown columns", ", ".join(layout.unused))
        return
    gaps = [
        told
        for told, there in (
            ("time", "time" in layout.columns),
            ("frequency", "frequency" in layout.columns or "band" in layout.columns),
            ("reading", bool(layout.paths) or "reading" in layout.columns),
            ("route", bool(layout.paths) or "route" in layout.columns),
        )
        if not there
    ]
    if gaps:
        words = {"route": "route (the stage: in or out)"}
        raise Mistake(
            f"the header names no column for {', '.join(words.get(each, each) for each in gaps)}; rename one, or "
            f"say which it is with --column {gaps[0]}=HEADER",
            header.strip(),
            Unclear("columns", meaning=gaps[0], headers=layout.unused),
        )


def _bare(name: str) -> tuple[str, str]:
    """A header in small letters without brackets and signs, and the unit in it."""
    plain = re.sub(r"[^a-z0-9]+", " ", name.casefold()).strip()
    for unit in _UNITS:
        if plain != unit and plain.endswith(" " + unit):
            return plain.removesuffix(" " + unit), unit
    return plain, ""


def _frequency(unit: str) -> FrequencyUnit | None:
    known: dict[str, FrequencyUnit] = {"hz": "Hz", "khz": "kHz", "mhz": "MHz"}
    return known.get(unit)


def _level(unit: str) -> LevelUnit | None:
    if unit == "dbm":
        return "dBm"
    if unit in ("db", "db over s9"):
        return "dB"
    return "S" if unit in ("s", "s units", "s unit", "s meter", "smeter", "s value") else None
