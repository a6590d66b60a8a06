"""One vocabulary for what a band and hour come to: five states, named alike on every screen, in reasons and in pages.

The one table between these words and the fixed verdicts and flags of the findings. Words only; nothing is decided here.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from sweeper.analysis.results import PeriodFinding, Verdict

State = Literal["in", "out", "same", "open", "fault"]


@dataclass(frozen=True, slots=True)
class StateWords:
    """What a state looks like in one sign, what it says in two or three words, and what that means."""

    sign: str
    words: str
    means: str


STATES: dict[State, StateWords] = {
    "in": StateWords("▲", "stage in", "the stage improves S/N by more than what matters"),
    "out": StateWords("▼", "stage out", "the stage costs more S/N than what matters"),
    "same": StateWords("═", "no difference", "shown to be smaller than what matters: leave the relay alone"),
    "open": StateWords(
        "·", "not settled yet", "the interval reaches over what matters: more nights will tell"
    ),
    "fault": StateWords("×", "no answer", "something is wrong, and named; more nights will not mend it"),
}

OF_VERDICT: dict[Verdict, State] = {"stage": "in", "bypass": "out", "either": "same", "undecided": "open"}

WITHHELD = "withheld"
"""The flag of an hour without an answer, beside the flag of the fault."""

FAULTS: dict[str, str] = {
    "overload": "overload: stage out",
    "compression": "no answer: stage compresses",
    "stuck-relay": "no answer: relay stuck",
    "swapped": "no answer: paths swapped, or stage without supply",
    "load-above-antenna": "no answer: load and antenna swapped",
    "load-follows-antenna": "no answer: relay of the load stuck",
    "load-too-low": "no answer: load reads too low",
    "meter-unit": "no answer: wrong meter unit",
    "meter-stuck": "no answer: meter stuck",
    "meter-dead-zone": "no answer: meter blind here",
    "scale-untested": "no answer: calibrate first",
    "routes-disagree": "no answer: measurements disagree",
    "gain-moved": "no answer: receiver's gain moved",
    "hours-disagree": "no answer: hours disagree",
    "channels-disagree": "no answer: channels disagree",
    "mismatch": "no answer: load unlike the antenna",
    "implausible-calibration": "no answer: wrong calibration",
}
"""What is said in place of ``no answer``, by the flag of the fault."""


def state_of(verdict: Verdict, flags: Collection[str] = ()) -> State:
    """The state of a verdict with these flags."""
    return "fault" if WITHHELD in flags else OF_VERDICT[verdict]


def words_of(verdict: Verdict, flags: Collection[str] = ()) -> str:
    """The state in two or three words; a fault by its name."""
    state = state_of(verdict, flags)
    named = sorted(FAULTS.keys() & set(flags)) if state == "fault" else []
    return FAULTS[named[0]] if named else STATES[state].words


def shown_verdict(verdict: Verdict, on_these: Verdict) -> Verdict:
    """What is to be done: the verdict about nights to come where there is one, else that on the nights measured."""
    return on_these if verdict == "undecided" else verdict


def state_of_period(period: PeriodFinding) -> State:
    """The state of the hour: about nights to come where it is settled, else on the nights measured."""
    return state_of(shown_verdict(period.verdict, period.measured_verdict), period.flags)


def words_of_period(period: PeriodFinding) -> str:
    """The state of the hour in two or three words."""
    return words_of(shown_verdict(period.verdict, period.measured_verdict), period.flags)
