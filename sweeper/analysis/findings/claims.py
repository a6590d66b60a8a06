"""Every sentence that says what a stage does, costs or is worth, each from an interval that is valid at every look.

The one place for them: whatever is claimed here was decided in `verdict` and measured in `cells`. A test reads all
source for such sentences and holds each of these to its condition.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sweeper.analysis.findings.stretches import Stretch, bears, mean_of
from sweeper.analysis.results import PeriodFinding
from sweeper.analysis.states import STATES, State
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.thresholds import FRESH_DB, SMALL_DB, STOPPED_READS_DB
from sweeper.analysis.wording import decibels, nights_of, on_nights_measured, plain, s_units

if TYPE_CHECKING:  # whoever words an answer, such as the page that is served, has no use for what computes it
    from collections.abc import Sequence

    from sweeper.analysis.band.cells import Cell
    from sweeper.analysis.band.switching_threshold import SwitchingThreshold
    from sweeper.analysis.verdict.judge import Judged

SETTLED = "settled"
"""What is said of nights to come where the state is theirs too."""

HELPS = "it helps, how much is not settled"
COSTS = "it costs, how much is not settled"
"""Where the whole interval lies on one side of no change, and reaches over what matters."""


TROUBLES = {
    "overload": "the stage or the receiver behind it overloads, and overload looks like gain",
    "compression": "strong carriers drive the stage into compression",
    "stuck-relay": "the relay of the stage does not seem to move",
    "swapped": "stage and bypass seem to be swapped, or the stage has no supply",
    "load-above-antenna": "the load reads above the antenna, so the two may be swapped",
    "load-follows-antenna": "the load follows the antenna, so its relay may not move",
    "load-too-low": "the load reads lower through the stage than is possible",
    "meter-unit": "the meter's unit in the station file cannot be right",
    "meter-stuck": "the meter does not move",
    "meter-dead-zone": "the meter hardly moves at these levels, where noise must make it move",
    "scale-untested": "nothing tested whether this meter's decibels are decibels at these levels: calibrate first "
    "(`sweeper calibrate`, ten minutes with an attenuator), or let a load position tell the gain",
    "routes-disagree": "what is measured directly and what the noise rise predicts do not agree",
    "gain-moved": "the receiver's gain did not stand still from one route to the other",
    "hours-disagree": "hours do not agree on the stage's gain, and nothing tells what it is at this one",
    "channels-disagree": "the noise channels differ in what the stage does, and no load tells which is right",
    "mismatch": "antenna and load do not seem to match the stage alike",
    "implausible-calibration": "the calibration gives a receiver that none can be",
}


def reason_of(cell: Cell, judged: Judged, worthwhile_db: float, rated_gain_db: float | None = None) -> str:
    """One sentence on why the hour has its verdict; what the label promises is told where nothing measured the gain."""
    interval, since = judged.snr_change_db, cell.nights > cell.looked
    nights = f"the first {cell.looked} of {nights_of(cell.nights)}" if since else nights_of(cell.nights)
    about = on_nights_measured(cell.nights) if cell.about_these_nights_only else f"over {nights}"
    if judged.withheld:
        return f"No answer: {TROUBLES[judged.withheld]}."
    if judged.by_physics and cell.ceiling is not None:
        rise = (
            f"noise from outside stands {cell.noise_rise.value:.0f} dB above the receiver's own; "
            if (cell.noise_rise is not None)
            else ""
        )
        return (
            f"No difference that matters: {rise}"
            f"the best of stages could give {max(cell.ceiling.value, 0.0):.1f} dB here ({about})."
        )
    if cell.bound and judged.verdict == "undecided":
        return "Not settled yet: the meter stood on the end of its scale, which gives a bound and no value."
    if cell.snr_change is None:
        if "no-gain-known" in cell.flags:
            return (
                "Not settled yet: nothing measured the stage's gain yet; a load position or a steady carrier would."
                + (_by_label(cell, rated_gain_db))
            )
        return "Not settled yet: one pass says nothing yet, since fading and drift look alike in it."
    if judged.verdict == "undecided":
        return _undecided(judged, interval, about, worthwhile_db)
    if interval is None:
        way = "loses" if judged.verdict == "bypass" else "gains"
        return f"The stage {way} at least {abs(cell.snr_change.value):.1f} dB; the meter's scale ends there."
    if judged.verdict == "stage":
        fresh = _fresh(interval.value, interval.low, worthwhile_db)
        return f"The stage improves signal-to-noise ratio by {decibels(interval)}, {about}{fresh}."
    if judged.verdict == "bypass":
        turned = Interval(-interval.value, -interval.high, -interval.low)
        fresh = _fresh(turned.value, turned.low, worthwhile_db)
        return f"The stage costs {decibels(turned)} of signal-to-noise ratio, {about}{fresh}."
    span = f"{plain(interval.low)} to {plain(interval.high)} dB"
    return f"No difference that matters: {span}, {about}."


def _fresh(value_db: float, nearest_db: float, worthwhile_db: float) -> str:
    """What to know of a small figure that has only just become a verdict: stopping there chooses by the answer."""
    if value_db - worthwhile_db > SMALL_DB or nearest_db - worthwhile_db > FRESH_DB:
        return ""
    return (
        f"; whoever stops measuring as soon as this shows reads it about {STOPPED_READS_DB:g} dB too large, further "
        "nights mend that"
    )


def _by_label(cell: Cell, rated_gain_db: float | None) -> str:
    """What to expect if the stage does what it is rated at. An expectation: no verdict rests on it."""
    if rated_gain_db is None or cell.difference is None:
        return ""
    expected = f"{rated_gain_db - cell.difference.value:+.1f}".replace("-", "−")
    return f" If its label is right ({rated_gain_db:+.0f} dB), the change is about {expected} dB.".replace(
        "(-", "(−"
    )


def _undecided(judged: Judged, interval: Interval | None, about: str, worthwhile_db: float) -> str:
    if interval is None:
        return "Not settled yet."
    span = f"anything from {plain(interval.low)} to {plain(interval.high)} dB"
    if judged.held_back:
        return (
            f"Not settled yet: {about} this hour looks clear ({span}), but among so many hours "
            "one looks clear by chance; another night or two will tell."
        )
    return f"Not settled yet: {about} the change could be {span}, where {worthwhile_db:g} dB is what matters."


def outlook_words(state: State, to_come_db: Interval | None, settled: bool, worthwhile_db: float) -> str:
    """What nights to come will bring, in a few words, from the interval of the mean; nothing where it is not known."""
    if to_come_db is None:
        return ""
    if settled and bears(state, to_come_db, worthwhile_db):
        return SETTLED
    # An end that is shown as 0.0 is beside nothing, whichever side of it the digits beyond lie.
    if round(to_come_db.low, 1) > 0:
        return HELPS
    if round(to_come_db.high, 1) < 0:
        return COSTS
    return STATES["open"].words


def of_nights_to_come(parts: Sequence[Stretch], worthwhile_db: float) -> str:
    """A clause on nights to come, where what to do rests on those measured though there are three or more."""
    waiting = [part for part in parts if part.state in ("in", "out", "same") and not part.settled]
    mean = mean_of([part.to_come_db for part in waiting if part.to_come_db is not None])
    if mean is None:
        return ""
    words = {outlook_words(part.state, part.to_come_db, False, worthwhile_db) for part in waiting}
    told = words.pop() if len(words) == 1 else STATES["open"].words
    return f"on nights to come {plain(mean.low)} to {plain(mean.high)} dB: {told}"


def of_hours(
    words: str, parts: Sequence[Stretch], periods: Sequence[PeriodFinding], where: str, next_step: str
) -> str:
    """One thing to do: at which hours, what it is worth, and on which nights where that is all that is known."""
    settled = any(part.settled for part in parts)
    each = [hour.to_come_db if settled else hour.change_db for part in parts for hour in part.hours]
    worth = mean_of([one for one in each if one is not None])
    few = "" if settled else f", {on_nights_measured(max(p.nights for p in periods))}"
    if words == STATES["in"].words:
        return f"{words} {where}{', worth ' + decibels(worth) if worth else ''}{few}"
    if words == STATES["out"].words:
        cost = f", it costs {decibels(Interval(-worth.value, -worth.high, -worth.low))}" if worth else ""
        return f"{words} {where}{cost}{few}"
    if words == STATES["same"].words:
        rises = [p.noise_rise_db.value for p in periods if p.noise_rise_db is not None]
        middle = sorted(rises)[len(rises) // 2] if rises else 0.0
        why = f": noise from outside is {middle:.0f} dB above the receiver's own" if middle >= 6 else ""
        return f"{words} {where}{why}{few}"
    if words == STATES["open"].words:
        return f"{words} {where}{' (' + next_step + ')' if next_step else ''}"
    trouble = min(TROUBLES.keys() & set(periods[0].flags))
    return f"{words} {where}, because {TROUBLES[trouble]}"


def rule_by_eye(threshold: SwitchingThreshold, unit: str, worthwhile_db: float) -> str:
    """The switching threshold as a rule by meter reading, or why there is none."""
    if threshold.crossing_db is None:
        return _at_most(threshold.best_db, worthwhile_db)
    if threshold.reading is None:
        return "No rule by eye: the reading that it would name lies off the meter's curve."
    return (
        f"Stage in while the noise in bypass reads below {_on_the_meter(threshold.reading, unit)}: "
        f"there it brings {worthwhile_db:g} dB or more."
    )


_UNITS = {"dBm": "dBm", "raw": "on the meter"}


def _on_the_meter(at: Interval, unit: str) -> str:
    """A reading as the meter shows it, with its uncertainty; on an S-meter as the needle stands."""
    reading, reach = at.value, max(at.high - at.value, at.value - at.low)
    if unit == "dB-over-S9":
        return f"about {s_units(reading)} ({plain(reading)} dB over S9, give or take {reach:.1f} dB)"
    return f"{plain(reading)} {_UNITS[unit]} (give or take {reach:.1f})"


def _at_most(best: Interval, worthwhile_db: float) -> str:
    """What the S/N change without noise from outside, the most that there is, says of all meter readings."""
    if best.high < 0.0:
        return (
            "The stage never helps here: even with no noise from outside it costs "
            f"{-best.high:.1f} dB or more. Leave it out."
        )
    if best.high < worthwhile_db:
        return (
            f"Even with no noise from outside the stage would bring {best.high:.1f} dB at most, less than the "
            f"{worthwhile_db:g} dB that matter: no meter reading calls for it."
        )
    return (
        f"Not settled yet whether any meter reading calls for the stage: with no noise from outside it would bring "
        f"{best.low:+.1f} to {best.high:+.1f} dB."
    )
