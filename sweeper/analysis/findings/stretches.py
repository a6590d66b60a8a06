"""The hours of a band judged together, for showing: neighbouring hours of one state joined as a person would.

A change of state needs evidence. An hour that is not settled belongs to the settled hours beside it as long as the
mean over all of them, hours and neighbours, still bears their state and its own interval does not contradict that mean.
Both questions are kept apart: what the nights measured were like, and what nights to come will be like.
A stretch's S/N change is that mean over its hours; hours share nights and gain, so their intervals are averaged and not
narrowed. Hours that were hardly measured belong to no stretch. The verdicts of single hours stay what they are.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from sweeper.analysis.results import PeriodFinding
from sweeper.analysis.states import State, state_of_period, words_of_period
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.thresholds import HARDLY_MEASURED


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour of a band as it is joined: its state with words for it, and its S/N change in dB.

    `change_db` is that of the nights measured, `to_come_db` that of nights to come (None while nothing is known there).
    `settled`: the state is about nights to come.
    """

    hour_utc: int
    state: State
    words: str
    change_db: Interval | None
    to_come_db: Interval | None = None
    settled: bool = False

    @classmethod
    def of(cls, period: PeriodFinding) -> Self:
        """The hour as it was found."""
        about_these = "these-nights-only" in period.flags
        return cls(
            period.hour_utc,
            state_of_period(period),
            words_of_period(period),
            period.measured_db or period.snr_change_db,
            None if about_these else period.snr_change_db,
            period.verdict != "undecided" and not about_these,
        )


@dataclass(frozen=True, slots=True)
class Stretch:
    """Neighbouring hours of one state."""

    state: State
    words: str
    hours: tuple[Hour, ...]

    @property
    def change_db(self) -> Interval | None:
        """The mean over the hours on the nights measured, dB; None where no hour has one."""
        return mean_of([each.change_db for each in self.hours if each.change_db is not None])

    @property
    def to_come_db(self) -> Interval | None:
        """The mean over the hours on nights to come, dB; None while nothing is known of them."""
        return mean_of([each.to_come_db for each in self.hours if each.to_come_db is not None])

    @property
    def settled(self) -> bool:
        """Whether any of its hours has its state for nights to come: where none has, all is about those measured."""
        return any(each.settled for each in self.hours)

    @property
    def hours_utc(self) -> tuple[int, ...]:
        """Its hours in order."""
        return tuple(each.hour_utc for each in self.hours)


def mean_of(known: Sequence[Interval]) -> Interval | None:
    """Mean of intervals that may err together: middle and ends are averaged; None of none."""
    if not known:
        return None
    return Interval(
        sum(each.value for each in known) / len(known),
        sum(each.low for each in known) / len(known),
        sum(each.high for each in known) / len(known),
    )


def bears(state: State, mean: Interval, worthwhile_db: float) -> bool:
    """Whether an interval lies where the state says."""
    if state == "in":
        return mean.low > worthwhile_db
    if state == "out":
        return mean.high < -worthwhile_db
    return state == "same" and -worthwhile_db < mean.low and mean.high < worthwhile_db


def hardly_measured(periods: Sequence[PeriodFinding]) -> frozenset[int]:
    """Hours of the band (UTC) with far fewer passes than its usual hour has."""
    counts = sorted(period.passes for period in periods)
    usual = counts[len(counts) // 2] if counts else 0
    return frozenset(period.hour_utc for period in periods if period.passes < HARDLY_MEASURED * usual)


def stretches(
    periods: Sequence[PeriodFinding], worthwhile_db: float, order: Sequence[int] = range(24)
) -> tuple[Stretch, ...]:
    """The stretches of a band. `order`: hours of UTC as the night goes by; none joins its last hour to its first."""
    hours = {period.hour_utc: Hour.of(period) for period in periods}
    return join(hours, hardly_measured(periods), worthwhile_db, order)


def join(
    hours: dict[int, Hour], hardly: frozenset[int], worthwhile_db: float, order: Sequence[int]
) -> tuple[Stretch, ...]:
    """Stretches of these hours, by hour of UTC; those `hardly` measured part nothing and belong nowhere."""
    found: list[Stretch] = []
    for block in _unbroken(hours, hardly, order):
        found += _joined(block, worthwhile_db)
    return tuple(found)


def _unbroken(hours: dict[int, Hour], hardly: frozenset[int], order: Sequence[int]) -> list[list[Hour]]:
    """Hours that follow each other without a gap."""
    blocks: list[list[Hour]] = [[]]
    for place, hour in enumerate(order):
        if hour not in hours or (place and (order[place - 1] + 1) % 24 != hour):
            blocks.append([])
        if hour in hours and hour not in hardly:
            blocks[-1].append(hours[hour])
    return [block for block in blocks if block]


def _joined(block: Sequence[Hour], worthwhile_db: float) -> list[Stretch]:
    """The block in stretches: like hours first, then those not settled to their neighbours, the shortest first."""
    parts: list[Stretch] = []
    for hour in block:
        if parts and parts[-1].words == hour.words:
            parts[-1] = Stretch(hour.state, hour.words, (*parts[-1].hours, hour))
        else:
            parts.append(Stretch(hour.state, hour.words, (hour,)))
    while (better := _one_step(parts, worthwhile_db)) is not None:
        parts = better
    return parts


def _one_step(parts: list[Stretch], worthwhile_db: float) -> list[Stretch] | None:
    """The parts with one of those not settled joined to what is beside it; None where none can be."""
    waiting = [place for place, part in enumerate(parts) if part.state == "open"]
    for place in sorted(waiting, key=lambda at: len(parts[at].hours)):
        before = place - 1 if place else None
        after = place + 1 if place + 1 < len(parts) else None
        sides = [at for at in (before, after) if at is not None and parts[at].state in ("in", "out", "same")]
        choices = [(at, at) for at in sides]
        if len(sides) == 2:
            if parts[sides[0]].state != parts[sides[1]].state:
                continue  # between two states, the change lies somewhere in here
            choices = [(sides[0], sides[1]), *choices]
        for first, last in choices:
            low, high = min(first, place), max(last, place)
            whole = tuple(hour for part in parts[low : high + 1] for hour in part.hours)
            joined = Stretch(parts[first].state, parts[first].words, whole)
            if _bears(joined, parts[place], worthwhile_db):
                return [*parts[:low], joined, *parts[high + 1 :]]
    return None


def _bears(joined: Stretch, added: Stretch, worthwhile_db: float) -> bool:
    """Whether the mean over the whole bears its state, and no hour that was added contradicts the mean."""
    mean = joined.change_db
    if mean is None:
        return False
    return bears(joined.state, mean, worthwhile_db) and all(
        each.change_db is not None and each.change_db.low <= mean.high and each.change_db.high >= mean.low
        for each in added.hours
    )
