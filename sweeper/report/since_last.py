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
from sweeper.analysis import BandFinding, Findings, Verdict, findings_object
from sweeper.outside import json_of
from sweeper.report import wording

Json = Mapping[str, Any]

MOST_BYTES = 64_000_000

_CARRIED = re.compile(r'<script type="application/json" id="findings">(.*?)</script>', re.DOTALL)


@dataclass(frozen=True, slots=True)
class Changed:
    """`since` is the end of the earlier findings (empty: there are none); `nothing` is said when no line is there."""

    since: str
    lines: tuple[str, ...]
    nothing: str


def carried_json(findings: Findings, previous: Json | None) -> str:
    """Findings and those before them as JSON that may stand inside a ``<script>`` element."""
    text = json.dumps({"findings": findings_object(findings), "previous": previous}, ensure_ascii=False)
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


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
            _verdicts(each)
        same = _night(datetime.fromisoformat(old["to"]), zone) == _night(findings.end, zone)
        return older if same else old
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError):
        return None  # Somebody else's page, or one that was edited: there is nothing to compare with.


def _night(end: datetime, zone: str) -> date:
    """The day on which the night began whose last hour ends at `end`: nights run from noon to noon."""
    return (end.astimezone(ZoneInfo(zone)) - timedelta(hours=12, seconds=1)).date()


def _verdicts(previous: Json) -> dict[tuple[str, int], Verdict]:
    """The verdict of each band and hour; ValueError, KeyError or TypeError where that is not what is written."""
    found: dict[tuple[str, int], Verdict] = {}
    for band in previous["bands"]:
        for period in band["periods"]:
            if period["verdict"] not in wording.VERDICT_WORDS:
                raise ValueError("no verdict")
            found[str(band["band"]), int(period["hour_utc"])] = period["verdict"]
    return found


def changed(findings: Findings, previous: Json | None, zone: str) -> Changed:
    """One line for each band whose verdicts moved."""
    if previous is None:
        return Changed(
            "", (), "This is the first report of this station here; the next one will say what moved."
        )
    on = findings.end.date()
    since = f"{str(previous['to'])[:16].replace('T', ' ')} UTC"
    before = _verdicts(previous)
    known = {band["band"] for band in previous["bands"]}
    lines = []
    for band in findings.bands:
        if band.band not in known:
            lines.append(f"{band.band} is new.")
        else:
            lines += _of_band(band, before, zone, on)
    gone = known - {band.band for band in findings.bands}
    lines += [f"{name} is no longer measured." for name in sorted(gone)]
    return Changed(
        since, tuple(lines), "No verdict has changed; the intervals have had more nights to close in."
    )


def _of_band(
    band: BandFinding, before: Mapping[tuple[str, int], Verdict], zone: str, on: date
) -> Sequence[str]:
    moves: dict[tuple[Verdict | None, Verdict], list[str]] = {}
    for hour in wording.night_order((p.hour_utc for p in band.periods), zone, on):
        period = next(p for p in band.periods if p.hour_utc == hour)
        was = before.get((band.band, hour))
        if was != period.verdict and (was is not None or period.verdict != "undecided"):
            moves.setdefault((was, period.verdict), []).append(wording.local_hour(hour, zone, on))
    return [
        f"{band.band}, {', '.join(hours)}: now “{wording.VERDICT_WORDS[now]}”, "
        + (f"was “{wording.VERDICT_WORDS[was]}”." if was is not None else "not measured before.")
        for (was, now), hours in moves.items()
    ]
