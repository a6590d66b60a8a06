"""The answer as both pages show it at their top: one line, and for each band a ribbon of the night with what to do.

Puts stretches of hours into words and places; decides and draws nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from sweeper.analysis import (
    COSTS,
    HELPS,
    SETTLED,
    STATES,
    BandFinding,
    Findings,
    Interval,
    State,
    Stretch,
    listed,
    mean_of,
    outlook_words,
    shown_verdict,
    stretches,
)
from sweeper.report import wording

TOLD_FIRST: tuple[State, ...] = ("in", "out", "fault", "same", "open")
"""The order in which states of one band are told: what asks for something first."""
BRIEFLY = {HELPS: "helps, how much is open", COSTS: "costs, how much is open"}
EVERY_HOURS = 3
"""Hours between two marks of the ribbons' scale."""


class Times(NamedTuple):
    """Hours on the kitchen clock and in UTC."""

    local: str
    utc: str


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch on the ribbon: its first hour's place, its length in hours, its state, and whether that is settled for
    nights to come.
    """

    place: int
    hours: int
    state: State
    settled: bool


@dataclass(frozen=True, slots=True)
class Deed:
    """What to do on a band. `where`: at which hours; none where it is all of those measured.

    `measured` and `to_come`: the S/N change on the nights measured and on nights to come; `outlook`: how far the latter
    is settled. Empty while nothing is known of nights to come.
    """

    state: State
    sign: str
    words: str
    where: tuple[Times, ...]
    measured: str
    to_come: str
    outlook: str

    @property
    def briefly(self) -> str:
        """The outlook where there is no room."""
        return BRIEFLY.get(self.outlook, self.outlook)


@dataclass(frozen=True, slots=True)
class Row:
    """A band: its ribbon, in words too, and what to do."""

    id: str
    name: str
    pieces: tuple[Piece, ...]
    in_words: str
    deeds: tuple[Deed, ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark of the scale over the ribbons."""

    place: int
    time: Times


@dataclass(frozen=True, slots=True)
class Answer:
    """The top of a page. `hours`: how many hours wide the ribbons are."""

    line: str
    rows: tuple[Row, ...]
    hours: int
    marks: tuple[Mark, ...]

    @property
    def looks_ahead(self) -> bool:
        """Whether anything is known of nights to come."""
        return any(deed.to_come for row in self.rows for deed in row.deeds)


def answer(findings: Findings, zone: str) -> Answer:
    """The answer of these findings, in the listener's time `zone`."""
    on = findings.end.date()
    order = _scale(findings, zone, on)
    rows = tuple(_row(band, findings, order, zone, on) for band in findings.bands)
    marks = tuple(
        Mark(place, Times(wording.local_hour(hour, zone, on)[:2], f"{hour:02d}"))
        for place, hour in enumerate(order)
        if int(wording.local_hour(hour, zone, on)[:2]) % EVERY_HOURS == 0
    )
    return Answer(answer_line(findings, zone), rows, len(order), marks)


def _scale(findings: Findings, zone: str, on: date) -> list[int]:
    """Hours of UTC from the first to the last of the night that any band has, none left out between."""
    measured = {period.hour_utc for band in findings.bands for period in band.periods}
    whole = wording.night_order(range(24), zone, on)
    places = [place for place, hour in enumerate(whole) if hour in measured]
    return whole[places[0] : places[-1] + 1] if places else []


def _row(band: BandFinding, findings: Findings, order: Sequence[int], zone: str, on: date) -> Row:
    parts = stretches(band.periods, findings.worthwhile_db, order)
    place = {hour: nth for nth, hour in enumerate(order)}
    edge_db = findings.worthwhile_db
    pieces = tuple(
        Piece(
            place[part.hours_utc[0]],
            _length(part),
            part.state,
            outlook_words(part.state, part.to_come_db, part.settled, edge_db) == SETTLED,
        )
        for part in parts
    )
    told = [f"{_span(part, zone, on).local} {part.words}" for part in parts]
    return Row(
        wording.anchor("do", band.band),
        band.band,
        pieces,
        "; ".join(told) or "nothing measured",
        _deeds(parts, edge_db, max((p.passes for p in band.periods), default=0), zone, on),
    )


def _short(span: str) -> str:
    """``18–23`` for ``18:00–23:00``."""
    return span.replace(":00", "") if span.count(":00") == 2 else span


def _length(part: Stretch) -> int:
    """Hours from the first to the last, with what was hardly measured between them."""
    return (part.hours_utc[-1] - part.hours_utc[0]) % 24 + 1


def _deeds(
    parts: Sequence[Stretch], worthwhile_db: float, passes: int, zone: str, on: date
) -> tuple[Deed, ...]:
    """One for each thing to do, with the hours where there are several. `passes`: the most in an hour of the band."""
    if not parts:
        return (Deed("open", "–", "nothing measured", (), "–", "", ""),)
    by_words: dict[str, list[Stretch]] = {}
    for part in sorted(parts, key=lambda each: TOLD_FIRST.index(each.state)):
        by_words.setdefault(part.words, []).append(part)
    found: list[Deed] = []
    for words, alike in by_words.items():
        if found and alike[0].state == "open":
            continue  # the ribbon shows them; there is nothing to do about them
        hours = [hour for part in alike for hour in part.hours]
        measured = mean_of([hour.change_db for hour in hours if hour.change_db is not None])
        to_come = mean_of([hour.to_come_db for hour in hours if hour.to_come_db is not None])
        spans = [_span(part, zone, on) for part in alike]
        where = tuple(Times(_short(each.local), _short(each.utc)) for each in spans)
        state = alike[0].state
        settled = any(part.settled for part in alike)
        found.append(
            Deed(
                state,
                STATES[state].sign,
                words,
                where if len(by_words) > 1 else (),
                "–" if state == "fault" else _told(measured, passes),
                _told(to_come, passes) if to_come else "",
                outlook_words(state, to_come, settled, worthwhile_db),
            )
        )
    return tuple(found)


def _told(change_db: Interval | None, passes: int) -> str:
    """The S/N change; ``nothing yet`` of one pass, or where the interval is wider than any change could be."""
    wide = change_db is not None and change_db.high - change_db.low > wording.SAYS_NOTHING_DB
    if passes == 1 and (wide or change_db is None):
        return "one pass: nothing yet"
    return "nothing yet" if wide else wording.interval(change_db)


def _span(part: Stretch, zone: str, on: date) -> Times:
    first, hours = part.hours_utc[0], _length(part)
    return Times(wording.span_words(first, hours, zone, on), wording.span_words(first, hours, "UTC", on))


def answer_line(findings: Findings, zone: str = "UTC") -> str:
    """What to do, in one line: where the stage belongs in, where out, where something is wrong; no full stop.

    Claims no hour and no night beyond those that have an answer.
    """
    on = findings.end.date()
    order = wording.night_order(range(24), zone, on)
    parts = {band.band: stretches(band.periods, findings.worthwhile_db, order) for band in findings.bands}
    told = []
    for state in TOLD_FIRST[:3]:
        by_words: dict[str, list[str]] = {}
        for band, here in parts.items():
            alike = [part for part in here if part.state == state]
            for words in dict.fromkeys(part.words for part in alike):
                mine = [part for part in alike if part.words == words]
                whole = all(part.words == words for part in here)
                hours = _span(mine[0], zone, on).local if len(mine) == 1 else "at some hours"
                by_words.setdefault(words, []).append(band if whole else f"{band} {hours}")
        told += [f"{words} on {listed(places)}" for words, places in by_words.items()]
    rest = {
        state: [band for band, here in parts.items() if any(part.state == state for part in here)]
        for state in ("open", "same")
    }
    told += _of_the_rest(parts, rest, bool(told))
    if not told:
        return "Nothing usable measured yet"
    return _on_nights(findings, "; ".join(told))


def _of_the_rest(parts: dict[str, tuple[Stretch, ...]], rest: dict[str, list[str]], after: bool) -> list[str]:
    """Bands not settled and those without a difference; ``elsewhere`` for the larger of them, no hour left out."""
    whole = {
        state: [band for band in bands if all(part.state == state for part in parts[band])]
        for state, bands in rest.items()
    }
    open_words, same_words = STATES["open"].words, STATES["same"].words
    if not rest["open"]:
        return [f"{same_words} {'elsewhere' if after else 'on any band'}"] if rest["same"] else []
    if not rest["same"]:
        return [f"{open_words} {'elsewhere' if after else 'on any band'}"]
    if not whole["open"]:
        return [] if after else [f"{same_words} or {open_words} on any band"]
    if len(whole["open"]) >= len(whole["same"]):
        return [_where(same_words, rest["same"], whole["same"]), f"{open_words} elsewhere"]
    return [_where(open_words, rest["open"], whole["open"]), f"{same_words} elsewhere"]


def _where(words: str, bands: Sequence[str], whole: Sequence[str]) -> str:
    partly = [band for band in bands if band not in whole]
    where = [f"on {listed(whole)}"] if whole else []
    where += [f"at some hours on {listed(partly)}"] if partly else []
    return f"{words} {' and '.join(where)}"


def _on_nights(findings: Findings, text: str) -> str:
    """The sentence, with the nights that it speaks of where it says nothing of others."""
    kinds = {
        (period.verdict != "undecided" and "these-nights-only" not in period.flags)
        for band in findings.bands
        for period in band.periods
        if not period.withheld and shown_verdict(period.verdict, period.measured_verdict) != "undecided"
    }
    if kinds == {False}:
        what = wording.what_was_measured(findings)
        return f"{what[0].upper()}{what[1:]}: {text}"
    return text[0].upper() + text[1:] + ("; in part for the nights measured only" if False in kinds else "")
