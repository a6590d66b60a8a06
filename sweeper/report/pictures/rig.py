"""Is the rig healthy? What became of the passes of each night, and how much of the relays' life is spent."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import polars as pl
from matplotlib.axes import Axes

from sweeper.report import wording
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import colour, drawing, inline, sheet
from sweeper.words import Outcome, PassRecord

INKS: dict[Outcome, str] = {"done": "in", "skipped": "rule", "failed": "mark"}


def rig(
    passes: Sequence[PassRecord],
    health: pl.DataFrame,
    busiest_relay: int,
    rated_operations: int | None,
    zone: str,
) -> tuple[Numbers | None, tuple[Picture, ...]]:
    """What became of the passes measured here, night by night: a picture from two nights on, a table of one.

    Counts: there is no uncertainty to draw.
    `busiest_relay`: operations in the life of the relay that moved most.
    """
    passes = [record for record in passes if not record.brought_in]
    if not passes:
        return None, ()
    counts: dict[date, Counter[Outcome]] = {}
    operations: Counter[date] = Counter()
    for record in passes:
        night = _night(record, zone)
        counts.setdefault(night, Counter())[record.outcome] += 1
        operations[night] += record.relay_operations
    nights = sorted(counts)
    trouble = {row["night"]: row for row in health.iter_rows(named=True)}
    signs = ("floor", "clipped", "occupied", "stale", "overload")
    rows = tuple(
        (
            night.isoformat(),
            *(str(counts[night][outcome]) for outcome in INKS),
            str(operations[night]),
            *(str(trouble[night][sign]) if night in trouble else "–" for sign in signs),
        )
        for night in nights
    )
    headings = (
        "Night of", "Passes done", "skipped", "failed", "Operations of all relays", "On the floor", "Clipped",
        "Occupied", "Stale", "Hours with overload",
    )  # fmt: skip
    numbers = Numbers(headings, rows)
    if len(nights) == 1:
        return numbers, ()
    title = _title(passes, busiest_relay, rated_operations)
    with drawing():
        figure = sheet(8.2, 2.4)
        _bars(figure.subplots(), counts)
        svg = inline(figure, "rig", title, f"{title}. {_troubles(passes)}")
    return None, (Picture("rig", title, svg, _troubles(passes), numbers),)


def _bars(axes: Axes, counts: Mapping[date, Counter[Outcome]]) -> None:
    """A bar for each night, what became of its passes one over the other; the sums beside it."""
    nights = sorted(counts)
    first, span = nights[0], (nights[-1] - nights[0]).days + 1
    for night in nights:
        base = 0
        for outcome, ink in INKS.items():
            number = counts[night][outcome]
            if number:
                axes.bar((night - first).days, number, 0.85, base, color=colour(ink), linewidth=0)
            base += number
    step = max(1, span // 8)
    marks = list(range(0, span, step))
    days = [first + timedelta(days=mark) for mark in marks]
    axes.set_xticks(marks, [f"{day.day} {day:%b}" for day in days])
    axes.set_xlim(-0.6, max(span, 6) - 0.4)
    axes.set_xlabel("night, by the day that it began on")
    axes.set_ylabel("passes")
    axes.grid(axis="y")
    total = sum(counts.values(), Counter[Outcome]())
    for nth, (outcome, ink) in enumerate(INKS.items()):
        axes.text(
            1.02,
            0.9 - 0.14 * nth,
            f"{outcome}: {total[outcome]}",
            transform=axes.transAxes,
            color=colour("soft" if ink == "rule" else ink),
        )


def _night(record: PassRecord, zone: str) -> date:
    """The day a night began on: what is before noon belongs to the evening before."""
    return (record.started.astimezone(ZoneInfo(zone)) - timedelta(hours=12)).date()


def _title(passes: Sequence[PassRecord], busiest: int, rated: int | None) -> str:
    done = sum(record.outcome == "done" for record in passes)
    text = f"{done} of {wording.count(len(passes), 'pass', 'passes')} done"
    if rated is None or not busiest:
        return text
    used = f"{busiest:,} of {rated:,}".replace(",", " ")
    return f"{text}; the busiest relay has made {used} rated operations"


def _troubles(passes: Sequence[PassRecord]) -> str:
    because = Counter(record.because for record in passes if record.because)
    if not because:
        return "Nothing went wrong."
    told = "; ".join(
        f"{reason.rstrip('.')} ({wording.count(times, 'time')})" for reason, times in because.most_common(3)
    )
    return f"Most often: {told}."
