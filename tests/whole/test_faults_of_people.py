"""A person at the switch who walks away, stops or types anything, at each question of a pass.

As in the fault matrix: nothing is stored of a pass that is not whole, and the next one is whole once they are back.
Nobody but the person can put the switch to rest; the sentence asks them to.
"""

import threading
from pathlib import Path

import pytest

from tests.drivers.switches.test_person import Somebody, somebody
from tests.whole.faulty_station import WHOLE, faulty_station

__all__ = ["somebody"]
pytestmark = pytest.mark.wires

QUESTIONS = {"to rest before all": 1, "to the stage": 2, "back to the bypass": 3}
FAULTS = {
    "walks away": b"",
    "stops": b"q\n",
    "says no and walks away": b"no\n",
    "types garbage": b"\xff\x1b[A\n",
}
SECTION = "driver: person, bell: false, paths: {antenna-bypass: all left, antenna-stage: stage right}"


class Answers:
    """Somebody at a terminal who answers each question with Enter, and the nth in another way."""

    def __init__(self, somebody: Somebody, nth: int, other: bytes) -> None:
        self._somebody, self._nth, self._other = somebody, nth, other
        self.asked, self.gone = 0, False
        threading.Thread(target=self._answer, daemon=True).start()

    def _answer(self) -> None:
        try:
            while True:
                self._somebody.read_until(b"Enter to stop.")
                self._somebody.shown = b""
                self.asked += 1
                if self.gone:
                    return
                self._somebody.types(self._other if self.asked == self._nth else b"\n")
        except (OSError, AssertionError):
            return  # the terminal is closed, or nobody asks any more


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("fault", FAULTS)
def test_a_person_who_does_not_set_the_switch_costs_the_pass_and_bends_nothing(
    tmp_path: Path, somebody: Somebody, fault: str, question: str
) -> None:
    with faulty_station(
        tmp_path,
        "rigctl-net",
        "modbus-tcp",
        switch_timeout_s=3.0,
        switch_section=SECTION,
        switch_link=somebody.terminal,
    ) as station:
        answers = Answers(somebody, QUESTIONS[question], FAULTS[fault])
        record = station.one_pass()
        assert answers.asked >= QUESTIONS[question]
        if record.outcome != "done":
            assert station.stored(record) == [] and "person at the switch" in record.because
        record = station.one_pass()
        assert (record.outcome, len(station.stored(record))) == ("done", WHOLE), record.because
        answers.gone = True
