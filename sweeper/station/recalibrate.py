"""Writing a new meter curve into the text of a station file, dated, with the old one kept beside it as a comment."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from sweeper.station.rewrite import with_values

METER = ("receiver", "meter")


def with_curve(
    text: str,
    curve: Sequence[tuple[float, float]],
    on: date,
    others: Mapping[str, float] | None = None,
    temperature_c: float | None = None,
) -> str:
    """The station file's text with `curve` ([reading, dBm] pairs) under ``receiver: meter:``.

    `others` are further keys of the meter to set, such as uncertainty_db, floor or top. Everything else, comments
    and order included, stays as it was.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.comments import CommentedSeq

    section: Any = YAML(typ="safe", pure=True).load(text) or {}
    for key in METER:
        section = section.get(key) or {}
    before = section.get("curve") or []
    pairs = CommentedSeq([list(pair) for pair in curve])
    pairs.fa.set_flow_style()
    values: dict[tuple[str | int, ...], Any] = {(*METER, "curve"): pairs}
    values |= {(*METER, key): value for key, value in (others or {}).items()}
    warmth = "" if temperature_c is None else f" at {temperature_c:g} °C"
    said = [f"# calibrated {on.isoformat()}{warmth}"]
    if before:
        said.append(f"# curve before: {[[float(x) for x in pair] for pair in before]}")
    return _said_before_curve(with_values(text, values), said)


def _said_before_curve(text: str, said: Sequence[str]) -> str:
    lines = text.splitlines(keepends=True)
    inside = False
    for at, line in enumerate(lines):
        stripped = line.strip()
        if stripped.startswith("meter:"):
            inside = True
        if inside and stripped.startswith("curve:"):
            indent = line[: len(line) - len(line.lstrip())]
            lines[at:at] = [f"{indent}{words}\n" for words in said]
            break
    return "".join(lines)
