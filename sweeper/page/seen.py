"""From what the page knows to what it shows: plain words and numbers as JSON, put into the page as text.

Pure: no socket, no clock but the one handed in. The browser only paints.
"""

from datetime import date
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from sweeper.analysis import STATES, Findings, PeriodFinding, state_of_period, words_of_period
from sweeper.daemon.live.messages import State, Visited
from sweeper.page.feed import Now
from sweeper.page.tonight import Tonight
from sweeper.report import wording
from sweeper.report.answer import answer
from sweeper.report.noise_words import worth_acting
from sweeper.station import Station

if TYPE_CHECKING:
    from sweeper.noise.told import NoiseTold

Json = dict[str, Any]

DOING = {
    "starting": "Starting",
    "waiting": "Waiting for the next pass",
    "measuring": "Measuring",
    "yielding": "Standing back",
    "stopping": "Stopping",
}
HOLDER = {
    "measuring": "sweeper, until the pass is over",
    "yielding": "you, or another program; sweeper keeps off",
    "starting": "sweeper, for a moment",
    "stopping": "nobody: it is being restored to its saved state",
}
UNKNOWN = "Nothing is known of the rig while no daemon runs."
PASSES_SHOWN = 12


def now_seen(now: Now, station: Station, noise: "NoiseTold | None" = None) -> Json:
    """What it is doing, the last readings of each path, relays, receiver, passes; humps of `noise` in its spectrum."""
    zone = station.station.timezone
    state = now.state if now.alive else None
    return {
        "alive": now.alive,
        "heading": _heading(now, state, zone),
        "why": _why(now, state, zone),
        "doing": state.doing if state else "gone",
        "progress": _progress(now.visiting),
        "next": _next(state, zone),
        "holder": HOLDER.get(state.doing, "you: nothing is being measured") if state else "you",
        "relays": _relays(now, state, station),
        "health": (state.health or "No pass is over yet.") if state else UNKNOWN,
        "trouble": state.trouble if state else "",
        "wear": _wear(state),
        "paths": _paths(now, station),
        "spectrum": _spectrum(now, noise),
        "passes": [
            {
                "number": over.pass_number,
                "time": wording.clock(over.started, zone),
                "outcome": over.outcome,
                "because": over.because,
                "readings": over.readings,
            }
            for over in list(now.passes)[: -PASSES_SHOWN - 1 : -1]
        ],
    }


def tonight_seen(tonight: Tonight, station: Station) -> Json:
    """Each band's hour: the S/N change, its interval, how it closed in, and the verdict."""
    if tonight.reduced is None:
        worthwhile_db = station.analysis.worthwhile_db
        return {
            "trouble": tonight.trouble,
            "answer": None,
            "local_noise": "",
            "bands": [],
            "worthwhile_db": worthwhile_db,
        }
    findings = tonight.reduced.findings
    zone, on = station.station.timezone, findings.end.date()
    bands = []
    for band in findings.bands:
        period = tonight.latest.get(band.band)
        steps = tonight.steps.get(band.band, ())
        bands.append(
            {
                "band": band.band,
                "change": _change(period, zone, on),
                "seen": _seen(period),
                "state": state_of_period(period) if period else "open",
                "words": _words(period),
                "reason": period.reason if period else band.recommendation,
                "steps": [
                    [round(end, 2) for end in (step.change_db.value, step.change_db.low, step.change_db.high)]
                    for step in steps
                ],
            }
        )
    return {
        "trouble": tonight.trouble,
        "answer": _answer(findings, zone),
        "local_noise": worth_acting(tonight.noise, findings.worthwhile_db) if tonight.noise else "",
        "bands": bands,
        "worthwhile_db": findings.worthwhile_db,
    }


def _answer(findings: Findings, zone: str) -> Json | None:
    """The line, and each band's ribbon with what to do; None before the first usable pass."""
    told = answer(findings, zone)
    if not told.hours:
        return None
    return {
        "line": f"{told.line}.",
        "nights": wording.what_was_measured(findings),
        "hours": told.hours,
        "looks_ahead": told.looks_ahead,
        "marks": [[mark.place, *mark.time] for mark in told.marks],
        "rows": [
            {
                "name": row.name,
                "in_words": row.in_words,
                "pieces": [[piece.place, piece.hours, piece.state, piece.settled] for piece in row.pieces],
                "deeds": [
                    {
                        "state": deed.state,
                        "words": f"{deed.sign} {deed.words}",
                        "where": [list(span) for span in deed.where],
                        "measured": deed.measured,
                        "to_come": deed.to_come,
                        "outlook": deed.outlook,
                        "briefly": deed.briefly,
                    }
                    for deed in row.deeds
                ],
            }
            for row in told.rows
        ],
    }


def _words(period: PeriodFinding | None) -> str:
    if period is None:
        return f"{STATES['open'].sign} {STATES['open'].words}"
    return f"{wording.sign_of(period)} {words_of_period(period)}"


def _change(period: PeriodFinding | None, zone: str, on: date) -> str:
    if period is None:
        return "–"
    known = period.snr_change_db
    wide = known is not None and known.high - known.low > wording.SAYS_NOTHING_DB
    value = "nothing yet" if wide or known is None else f"{wording.interval(known)} dB"
    return f"{wording.local_hour(period.hour_utc, zone, on)}: {value}"


def _seen(period: PeriodFinding | None) -> str:
    if period is None:
        return ""
    return f"{wording.count(period.passes, 'pass', 'passes')}, {wording.count(period.nights, 'night')}"


def _heading(now: Now, state: State | None, zone: str) -> str:
    if state is None:
        return "No daemon is running"
    visiting = now.visiting
    if state.doing == "measuring" and visiting is not None:
        return f"Measuring {visiting.band}, {_path_words(visiting.source, visiting.route)}"
    if state.doing == "paused":
        return f"Paused by you at {wording.clock(state.since, zone)}"
    return DOING[state.doing]


def _why(now: Now, state: State | None, zone: str) -> str:
    if state is not None:
        return "" if state.doing == "paused" else state.because
    if now.heard is None:
        return "Nothing has been heard from it. Start it with `sweeper run`; this page will notice."
    return f"Last heard of at {wording.clock(now.heard, zone)}. Start it with `sweeper run`; this page will notice."


def _progress(visiting: Visited | None) -> Json | None:
    if visiting is None:
        return None
    return {"pass": visiting.pass_number, "nth": visiting.nth, "visits": max(visiting.visits, visiting.nth)}


def _next(state: State | None, zone: str) -> str:
    if state is not None and state.next_pass is not None:
        return wording.clock(state.next_pass, zone)
    return wording.no_next_pass("" if state is None else state.doing)


def _relays(now: Now, state: State | None, station: Station) -> str:
    if state is None:
        return "as the daemon left them: at rest, unless it was cut off"
    if now.visiting is not None:
        return _path_words(now.visiting.source, now.visiting.route)
    left = state.last_pass.left_over if state.last_pass is not None else ()
    if "relays" in left:
        return "not at rest: the board could not be reached; it is tried again first"
    return f"at rest, {station.switch.rest}"


def _wear(state: State | None) -> str:
    if state is None or state.wear is None:
        return ""
    wear = state.wear
    text = f"{wear.operations:,} of {wear.rated:,} operations ({wear.share:.1%})".replace(",", " ")
    return f"{text}. {wear.warning}" if wear.warning else text


def _paths(now: Now, station: Station) -> list[Json]:
    """One row for each channel visited, one cell for each path: the mean of what the meter read last."""
    zone = station.station.timezone
    rows: dict[tuple[str, int], Json] = {}
    for channel in station.channels():
        rows[channel.band, channel.hz] = {
            "band": channel.band,
            "channel": f"{wording.megahertz(channel.hz)} {channel.purpose}",
            "cells": {},
        }
    for (band, hz, path), visit in now.last_visits.items():
        row = rows.get((band, hz))
        if row is None or not visit.readings:
            continue
        values = sorted(one.reading for one in visit.readings)
        flags = " ".join(sorted({flag for one in visit.readings for flag in one.flags.split()}))
        row["cells"][path] = {
            "low": wording.decibel(values[0]),
            "high": wording.decibel(values[-1]),
            "time": f"{visit.readings[-1].time.astimezone(ZoneInfo(zone)):%H:%M:%S}",
            "flags": flags,
        }
    return [row for row in rows.values() if row["cells"]]


def _spectrum(now: Now, noise: "NoiseTold | None") -> Json | None:
    """What was heard last of the tuning that is being measured, path by path on one scale, and humps known there.

    They stand still; where a comb stands now only this pass could say, and it is not over.
    """
    if now.looked_at is None:
        return None
    heard = {
        path: visit.spectrum
        for (of_band, at_hz, path), visit in now.last_visits.items()
        if (of_band, at_hz) == now.looked_at and visit.spectrum is not None
    }
    known = [level for one in heard.values() for level in one.levels_db if level is not None]
    if not known:
        return None
    lowest, highest = (
        min(one.start_hz for one in heard.values()),
        max(one.start_hz + one.step_hz * (len(one.levels_db) - 1) for one in heard.values()),
    )
    humps = [
        (each.source.name, each.source.last)
        for each in (noise.sources if noise else ())
        if each.source.kind == "hump" and now.looked_at[0] in each.source.bands
    ]
    width = max(highest - lowest, 1.0)
    humps = [each for each in humps if each[1].high_hz > lowest and each[1].low_hz < highest]
    bracket = "".join(f"; bracket: {name}" for name, _ in humps)
    return {
        "heading": f"{now.looked_at[0]}, {lowest / 1e3:.0f} to {highest / 1e3:.0f} kHz{bracket}",
        "humps": [
            [min(max((hz - lowest) / width, 0.0), 1.0) for hz in (found.low_hz, found.high_hz)]
            for _, found in humps
        ],
        "scale": f"{wording.decibel(min(known))} to {wording.decibel(max(known))} dB of full scale",
        "low": min(known),
        "high": max(known),
        "lines": {path: list(one.levels_db) for path, one in heard.items()},
    }


def _path_words(source: str, route: str) -> str:
    where = {"antenna": "antenna", "load": "load", "noise": "noise source"}[source]
    return f"{where}, {'stage in' if route == 'stage' else 'bypass'}"
