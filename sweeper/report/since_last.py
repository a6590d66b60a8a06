"""What changed since the last report: verdicts that came, went or turned. Words only.

A report carries its findings with it, so the report that is about to be replaced says what was found before.
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from drivers.ordinary_files import content_of
from sweeper.analysis import (
    FAULTS,
    OF_VERDICT,
    BandFinding,
    Findings,
    Verdict,
    findings_object,
    shown_verdict,
    state_of_period,
    words_of,
    words_of_period,
)
from sweeper.outside import json_of
from sweeper.report import wording

Json = Mapping[str, Any]

Answered = tuple[Verdict, frozenset[str]]
KEPT = ("hour_utc", "verdict", "verdict_measured")
KEPT_FLAGS = frozenset({"withheld", *FAULTS})
"""Flags that say what is wrong in an hour, of those that a report carries to the next."""
MOST_BYTES = 64_000_000

_CARRIED = re.compile(r'<script type="application/json" id="findings">(.*?)</script>', re.DOTALL)


@dataclass(frozen=True, slots=True)
class Changed:
    """`since` is the end of the earlier findings (empty: there are none); `nothing` is said when no line is there."""

    since: str
    lines: tuple[str, ...]
    nothing: str


def carried_json(findings: Findings, previous: Json | None) -> str:
    """What was found, and what was found before, as JSON that may stand inside a ``<script>`` element."""
    text = json.dumps(
        {"findings": carried(findings_object(findings)), "previous": previous and carried(previous)},
        ensure_ascii=False,
        separators=(",", ":"),
    )
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def carried(findings: Json) -> Json:
    """Of a ``sweeper-findings-1`` object what the next report compares with: the verdict and flags of each hour."""
    return {
        **{key: findings[key] for key in ("format", "station", "to")},
        "bands": [
            {
                "band": band["band"],
                "periods": [
                    {key: period[key] for key in KEPT if key in period}
                    | {"flags": [flag for flag in period.get("flags", ()) if flag in KEPT_FLAGS]}
                    for period in band["periods"]
                ],
            }
            for band in findings["bands"]
        ],
    }


def previous_findings(file: Path, findings: Findings, zone: str) -> Json | None:
    """What the report now lying at `file` found; None without one that can be read. One that ends in the same night
    passes on its own predecessor, so that drawing anew after every pass does not forget the night before."""
    try:
        text = content_of(file, MOST_BYTES).decode()
    except (OSError, UnicodeDecodeError):
        return None
    found = _CARRIED.search(text)
    if found is None:
        return None
    try:
        carried = json_of(found[1])
        old: dict[str, Any] = carried["findings"]
        older: dict[str, Any] | None = carried["previous"]
        for each in (old, older) if older is not None else (old,):
            if each["format"] != "sweeper-findings-1" or each["station"] != findings.station:
                return None
            _answers(each)
        same = _night(datetime.fromisoformat(old["to"]), zone) == _night(findings.end, zone)
        return older if same else old
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError):
        return None  # Somebody else's page, or one that was edited: there is nothing to compare with.


def _night(end: datetime, zone: str) -> date:
    """The day on which the night began whose last hour ends at `end`: nights run from noon to noon."""
    return (end.astimezone(ZoneInfo(zone)) - timedelta(hours=12, seconds=1)).date()


def _answers(previous: Json) -> dict[tuple[str, int], Answered]:
    """Verdict and flags of each band and hour; ValueError, KeyError or TypeError where that is not what is written."""
    found: dict[tuple[str, int], Answered] = {}
    for band in previous["bands"]:
        for period in band["periods"]:
            # Reports of before there were two questions have one verdict.
            verdicts = period["verdict"], period.get("verdict_measured", "undecided")
            if not set(verdicts) <= OF_VERDICT.keys():
                raise ValueError("no verdict")
            flags = KEPT_FLAGS.intersection(str(flag) for flag in period.get("flags", ()))
            found[str(band["band"]), int(period["hour_utc"])] = shown_verdict(*verdicts), flags
    return found


def changed(findings: Findings, previous: Json | None, zone: str) -> Changed:
    """One line for each band whose answers moved; nothing for the first report of a station."""
    if previous is None:
        return Changed("", (), "")
    on = findings.end.date()
    since = wording.local_time(datetime.fromisoformat(previous["to"]), zone)
    before = _answers(previous)
    known = {band["band"] for band in previous["bands"]}
    lines = []
    for band in findings.bands:
        if band.band not in known:
            lines.append(f"{band.band} is new.")
        else:
            lines += _of_band(band, before, zone, on)
    gone = known - {band.band for band in findings.bands}
    lines += [f"{name} is no longer measured." for name in sorted(gone)]
    return Changed(since, tuple(lines), "No answer has changed; the intervals rest on more nights.")


def _of_band(
    band: BandFinding, before: Mapping[tuple[str, int], Answered], zone: str, on: date
) -> Sequence[str]:
    moves: dict[tuple[str, str], list[int]] = {}
    for hour in wording.night_order((p.hour_utc for p in band.periods), zone, on):
        period = next(p for p in band.periods if p.hour_utc == hour)
        was, now = before.get((band.band, hour)), words_of_period(period)
        told = f"was “{words_of(*was)}”" if was is not None else "not measured before"
        moved = state_of_period(period) in ("in", "out", "same") if was is None else words_of(*was) != now
        if moved:
            moves.setdefault((now, told), []).append(hour)
    return [
        f"{band.band}, {', '.join(wording.hour_spans(hours, zone, on))}: now “{now}”, {told}."
        for (now, told), hours in moves.items()
    ]
