"""`find-source` at a terminal: the questions as a person meets them, and what is left behind when it is cut short."""

import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

pytestmark = pytest.mark.wires
LONGEST_S = 600
"""Far more than it takes; a test that has to wait so long has failed."""
PROMPT = re.compile(r"(Which one\?.*\] |Which circuit or device next\?.*\) |Switch (?:off|on)[^\n]*end\) )$")


class AtTerminal:
    """The command on a terminal of its own, read as far as its next question."""

    def __init__(self, folder: Path, *asked: str) -> None:
        self.folder, self.said, self._read = folder, "", 0
        self._master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.whole.searched_station", str(folder), *asked],
            stdin=slave, stdout=slave, stderr=slave, start_new_session=True, env={**os.environ, "COLUMNS": "500"},
        )  # fmt: skip
        os.close(slave)

    def questions(self) -> Iterator[str]:
        """Each question when it is asked; ends with the command."""
        end = time.monotonic() + LONGEST_S
        while time.monotonic() < end:
            if select.select([self._master], [], [], 0.2)[0]:
                try:
                    piece = os.read(self._master, 65_536)
                except OSError:  # nobody at its other end any more
                    return
                self.said += piece.decode("utf-8", "replace").replace("\r\n", "\n")
            elif found := PROMPT.search(self.said[self._read :]):
                self._read = len(self.said)
                yield found[1]
        raise AssertionError(f"it did not end: {self.said}")

    def answer(self, text: str) -> None:
        os.write(self._master, f"{text}\n".encode())

    def over(self) -> int:
        code = self.process.wait(LONGEST_S)
        os.close(self._master)
        return code


@pytest.fixture
def at_terminal(tmp_path: Path) -> Iterator[Callable[..., AtTerminal]]:
    begun: list[AtTerminal] = []

    def begin(*asked: str) -> AtTerminal:
        begun.append(AtTerminal(tmp_path, *asked))
        return begun[-1]

    yield begin
    for each in begun:
        each.process.kill()
        each.process.wait()


def answered(person: AtTerminal, obeys: bool, devices: list[str]) -> None:
    """Answer all questions; a person who obeys switches what is asked for before Enter."""
    for question in person.questions():
        if question.startswith("Which circuit"):
            person.answer(devices.pop(0) if devices else "")
            continue
        if obeys and "the charger" in question:
            (person.folder / "off").write_text("the charger\n" if "Switch off" in question else "")
        person.answer("")


def test_a_person_who_obeys_hears_which_device_it_is(at_terminal: Callable[..., AtTerminal]) -> None:
    person = at_terminal()
    answered(person, True, ["the kettle", "the charger"])
    assert person.over() == 0, person.said
    assert person.said.index("Before you begin") < person.said.index("looking at all bands")
    assert "did not change with the kettle" in person.said
    assert "went away each time the charger was off" in person.said
    assert "Is everything switched on again?" in person.said and "Still off" not in person.said
    assert "RELAYS antenna-bypass FORBIDDEN 0" in person.said


def test_a_control_run_in_which_nothing_is_switched_claims_nothing(
    at_terminal: Callable[..., AtTerminal],
) -> None:
    person = at_terminal("--device", "the kettle", "--device", "the charger")
    answered(person, False, [])
    assert person.over() == 0, person.said
    assert (
        "followed none of the 2 that were tried" in person.said and "it comes from there" not in person.said
    )
    assert "Switch on again: the charger" in person.said


def test_ctrl_c_puts_everything_back_and_claims_nothing(at_terminal: Callable[..., AtTerminal]) -> None:
    person = at_terminal()
    for question in person.questions():
        if question.startswith("Switch on"):
            person.process.send_signal(signal.SIGINT)
        elif question.startswith("Which circuit"):
            person.answer("the charger")
        else:
            person.answer("")
    assert person.over() == 1, person.said
    assert "RELAYS antenna-bypass FORBIDDEN 0" in person.said and "it comes from there" not in person.said
    assert "Traceback" not in person.said
    assert "the receiver is put back" in person.said and "everything switched on again" in person.said
    assert "Still off, as far as you said: the charger." in person.said


def test_answers_that_end_are_no_answers(at_terminal: Callable[..., AtTerminal]) -> None:
    person = at_terminal()
    for question in person.questions():
        person.answer("\x04" if question.startswith("Which circuit") else "")
    assert person.over() == 2 and "nothing is claimed" in person.said
    assert "RELAYS antenna-bypass FORBIDDEN 0" in person.said
