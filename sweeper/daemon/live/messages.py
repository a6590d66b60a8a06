"""What a running daemon publishes and what it understands: the shapes of the live messages, as JSON.

Shapes only: no socket, no thread. A published message has two frames, its topic (the `kind`) and the
JSON of one of `Visited`, `PassOver` and `State`. A request to the control socket is one frame, the JSON of a
`Request`, and is answered by one frame, the JSON of an `Answer`. Keys are those of the readings table where
there is one (``pass``, ``for``). A reader ignores keys it does not know; a change that would mislead such a
reader gets a new `format`.
"""

from collections.abc import Sequence
from datetime import datetime
from math import inf, log10
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from sweeper.daemon.run.states import Doing
from sweeper.words import Labelled, Outcome, PassRecord, Purpose, Reading, Route, Source, Visit

LIVE: Final = "sweeper-live-1"
CONTROL: Final = "sweeper-control-1"

Command = Literal["status", "pause", "resume", "note", "stop"]

POINTS = 240
"""Of a spectrum that is shown while it is taken."""
NOTE_LIMIT = 2000
"""Characters in a note: a paragraph, not a book."""


class _Message(BaseModel):
    # Written by name, read by alias: `pass` and `for` are words that Python keeps for itself.
    model_config = ConfigDict(
        frozen=True, populate_by_name=True, serialize_by_alias=True, ser_json_timedelta="float"
    )


class OneReading(_Message):
    """One value of a visit; `reading` in the meter's own unit, `dbm` None when uncalibrated."""

    time: datetime
    reading: float
    dbm: float | None
    flags: str = ""


class OneSpectrum(_Message):
    """What a visit heard, thinned to `POINTS`: of neighbouring bins the strongest, dB of full scale."""

    start_hz: float
    step_hz: float
    levels_db: tuple[float | None, ...]


class Visited(_Message):
    """One visit is over. Not yet stored: only `PassOver` with outcome ``done`` says that."""

    format: Literal["sweeper-live-1"] = LIVE
    kind: Literal["visit"] = "visit"
    station: str
    pass_number: int = Field(alias="pass")
    nth: int = Field(description="visits of this pass so far, this one included")
    visits: int = Field(description="visits that the pass will have")
    band: str
    hz: int
    purpose: Purpose = Field(alias="for")
    source: Source
    route: Route
    bandwidth_hz: int
    readings: tuple[OneReading, ...]
    spectrum: OneSpectrum | None = None


class PassOver(_Message):
    """What became of a pass; sent after the store has it."""

    format: Literal["sweeper-live-1"] = LIVE
    kind: Literal["pass"] = "pass"
    station: str
    pass_number: int = Field(alias="pass")
    started: datetime
    ended: datetime
    outcome: Outcome
    because: str
    readings: int
    relay_operations: int
    left_over: tuple[str, ...] = ()
    unknown_settings: tuple[str, ...] = ()


class Wear(_Message):
    """Relay operations for life: of the relay that moved most, and what it is rated for."""

    operations: int
    rated: int
    share: float = Field(description="operations ÷ rated")
    warning: str = ""


class State(_Message):
    """How the daemon is; sent at every change and every ten seconds, and as the answer to ``status``."""

    format: Literal["sweeper-live-1"] = LIVE
    kind: Literal["state"] = "state"
    station: str
    time: datetime
    doing: Doing
    because: str = Field("", description="one sentence on why it waits, yields or is paused")
    since: datetime
    next_pass: datetime | None = None
    last_pass: PassOver | None = None
    done: int = Field(0, description="passes since the daemon started, by outcome")
    skipped: int = 0
    failed: int = 0
    wear: Wear | None = None
    health: str = Field("", description="the last night in one sentence, and what it means for the findings")
    trouble: str = Field("", description="the last thing a person should know that belongs to no pass")


Live = Annotated[Visited | PassOver | State, Field(discriminator="kind")]
_LIVE: TypeAdapter[Visited | PassOver | State] = TypeAdapter(Live)


class Request(_Message):
    """What a person asks of the daemon. `text` belongs to ``note`` and is empty otherwise."""

    model_config = ConfigDict(extra="forbid", strict=True)

    format: Literal["sweeper-control-1"] = CONTROL
    command: Command
    text: str = Field("", max_length=NOTE_LIMIT)


class Answer(_Message):
    """The daemon's word on a request: done or not, a sentence for the person, and how it is now."""

    format: Literal["sweeper-control-1"] = CONTROL
    ok: bool
    sentence: str
    state: State | None = None


class NotUnderstood(ValueError):
    """A message that is none of the above. Its text is one sentence for whoever sent it."""


def frames(message: Visited | PassOver | State) -> tuple[bytes, bytes]:
    """Topic and body, as published."""
    return message.kind.encode(), message.model_dump_json(by_alias=True).encode()


def read_live(body: bytes) -> Visited | PassOver | State:
    """A published body read back; `NotUnderstood` when it is none."""
    try:
        return _LIVE.validate_json(body)
    except ValidationError as invalid:
        raise NotUnderstood(_first(invalid)) from invalid


def read_request(body: bytes) -> Request:
    """A request as it came in from outside; `NotUnderstood` when it is none."""
    try:
        return Request.model_validate_json(body)
    except ValidationError as invalid:
        raise NotUnderstood(_first(invalid)) from invalid


def read_answer(body: bytes) -> Answer:
    """The daemon's answer; `NotUnderstood` when something else answered."""
    try:
        return Answer.model_validate_json(body)
    except ValidationError as invalid:
        raise NotUnderstood(_first(invalid)) from invalid


def _first(invalid: ValidationError) -> str:
    problem = invalid.errors(include_input=False, include_url=False)[0]
    place = ".".join(str(part) for part in problem["loc"])
    return f"{place}: {problem['msg']}" if place else str(problem["msg"])


def seen(one: Labelled | None) -> OneSpectrum | None:
    """The spectrum of a visit as it is published; None where there is none."""
    if one is None:
        return None
    mean = one.spectrum.mean
    many = -(-len(mean) // POINTS)
    strongest = [float(mean[first : first + many].max()) for first in range(0, len(mean), many)]
    return OneSpectrum(
        start_hz=one.spectrum.start_hz + (many - 1) / 2 * one.spectrum.step_hz,
        step_hz=one.spectrum.step_hz * many,
        levels_db=tuple(round(10.0 * log10(power), 1) if 0.0 < power < inf else None for power in strongest),
    )


def visited(
    station: str,
    pass_number: int,
    nth: int,
    visits: int,
    visit: Visit,
    readings: Sequence[Reading],
    spectrum: OneSpectrum | None = None,
) -> Visited:
    """The message for one visit."""
    return Visited(
        station=station,
        pass_number=pass_number,
        nth=nth,
        visits=visits,
        band=visit.channel.band,
        hz=visit.channel.hz,
        purpose=visit.channel.purpose,
        source=visit.path.source,
        route=visit.path.route,
        bandwidth_hz=visit.channel.bandwidth_hz,
        readings=tuple(
            OneReading(time=one.time, reading=one.reading, dbm=one.dbm, flags=one.flags) for one in readings
        ),
        spectrum=spectrum,
    )


def pass_over(station: str, record: PassRecord, readings: int) -> PassOver:
    """The message for one pass; `readings` is how many were stored."""
    return PassOver(
        station=station,
        pass_number=record.number,
        started=record.started,
        ended=record.ended,
        outcome=record.outcome,
        because=record.because,
        readings=readings,
        relay_operations=record.relay_operations,
        left_over=record.left_over,
        unknown_settings=record.unknown_settings,
    )
