"""A person at the switch, asked on a real terminal."""

import os
import stat
import threading
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import ValidationError

from drivers.errors import LinkTimeout, Refused, Unsupported
from drivers.switches.person import DRIVER, PersonOptions

DEADLINE_S = 60
PATHS = {"antenna-bypass": "both switches left", "antenna-stage": "stage switch right"}


class Somebody:
    """Reads what the terminal shows and types."""

    def __init__(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setcbreak(self._slave)
        self.terminal = os.ttyname(self._slave)
        self.shown = b""

    def read_until(self, words: bytes) -> None:
        give_up = time.monotonic() + DEADLINE_S
        while words not in self.shown:
            assert time.monotonic() < give_up, self.shown
            self.shown += os.read(self._master, 1024)

    def types(self, text: bytes) -> None:
        os.write(self._master, text)

    def leave(self) -> None:
        os.close(self._master)
        os.close(self._slave)


@pytest.fixture
def somebody() -> Iterator[Somebody]:
    person = Somebody()
    yield person
    # Terminals of later tests may have the same name: what is asked and not confirmed is known no longer.
    unanswered = opened(person, paths={"antenna-bypass": "as nobody has it"}, timeout_s=0.001)
    with pytest.raises(LinkTimeout):
        unanswered.select("antenna-bypass")
    person.leave()


@pytest.fixture
def switch(somebody):
    return opened(somebody)


def opened(somebody: Somebody, **more):
    return DRIVER.open(
        PersonOptions.model_validate({"paths": PATHS, "link": somebody.terminal, "timeout_s": 5} | more)
    )


def ask(switch, path: str) -> tuple[threading.Thread, list]:
    """Select in a thread of its own; the list gets the count or the fault."""
    outcome: list = []

    def select() -> None:
        try:
            outcome.append(switch.select(path))
        except (LinkTimeout, Refused, Unsupported) as fault:
            outcome.append(fault)

    thread = threading.Thread(target=select, daemon=True)
    thread.start()
    return thread, outcome


def answered(switch, somebody: Somebody, path: str, keys: bytes):
    thread, outcome = ask(switch, path)
    somebody.read_until(PATHS[path].encode())
    somebody.types(keys)
    thread.join(DEADLINE_S)
    return outcome[0]


def test_the_bell_rings_and_the_words_of_the_station_file_are_shown(switch, somebody):
    answered(switch, somebody, "antenna-stage", b"\n")
    assert b"\a" in somebody.shown
    assert b"antenna-stage: stage switch right. Press Enter" in somebody.shown


def test_enter_confirms_and_counts_one_change(switch, somebody):
    assert switch.selected() is None
    assert answered(switch, somebody, "antenna-stage", b"\n") == 1
    assert switch.selected() == "antenna-stage"
    assert "no read-back" in switch.identify()


def test_nobody_is_asked_twice_for_what_they_have_set_even_by_the_next_pass(switch, somebody):
    answered(switch, somebody, "antenna-bypass", b"\n")
    next_pass = opened(somebody)
    assert next_pass.select("antenna-bypass") == 0
    assert next_pass.selected() == "antenna-bypass"


def test_an_enter_from_before_the_question_is_no_answer(somebody):
    switch = opened(somebody, timeout_s=0.2)
    somebody.types(b"\n\n")
    with pytest.raises(LinkTimeout):
        switch.select("antenna-stage")


def test_nobody_there_times_out_and_says_how_to_leave_the_switch(somebody):
    switch = opened(somebody, timeout_s=0.1)
    with pytest.raises(LinkTimeout, match=r"nobody confirmed antenna-stage within 0\.1 s.*set it by hand"):
        switch.select("antenna-stage")
    assert switch.selected() is None


def test_after_a_question_without_answer_nothing_is_believed_any_more(switch, somebody):
    answered(switch, somebody, "antenna-bypass", b"\n")
    hasty = opened(somebody, timeout_s=0.1)
    with pytest.raises(LinkTimeout):
        hasty.select("antenna-stage")
    assert hasty.selected() is None


def test_q_stops(switch, somebody):
    assert isinstance(answered(switch, somebody, "antenna-stage", b"q\n"), Refused)


def test_without_a_terminal_it_is_said(somebody):
    with pytest.raises(Unsupported, match="terminal"):
        opened(somebody, link="/dev/no-such-terminal").select("antenna-stage")


def test_a_path_without_words_is_found_before_anybody_is_asked():
    with pytest.raises(ValidationError):
        PersonOptions.model_validate({"paths": {"antenna-bypass": ""}})


def test_paths_with_the_same_words_can_be_told():
    options = PersonOptions.model_validate({"paths": {"antenna-bypass": "left", "load-bypass": "left"}})
    assert options.relays_of("antenna-bypass") == options.relays_of("load-bypass")


@pytest.mark.parametrize("link", ["/dev/null", "/dev/zero"])
def test_a_device_that_is_no_terminal_is_asked_nothing(somebody: Somebody, link: str) -> None:
    with pytest.raises(Unsupported, match="no terminal"):
        opened(somebody, link=link).select("antenna-stage")


@pytest.mark.parametrize(
    "keys",
    [
        {"link": "/etc/passwd"},
        {"link": "/dev/../etc/passwd"},
        {"link": "tcp://127.0.0.1:4532"},
        {"paths": {"a": "x\n;TX;"}},
    ],
)
def test_only_plain_words_go_to_a_terminal(keys: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        PersonOptions.model_validate({"paths": PATHS} | keys)


@pytest.mark.parametrize(
    ("number", "kind", "sits"),
    [
        ((5, 0), stat.S_IFCHR, True), ((5, 1), stat.S_IFCHR, False), ((4, 1), stat.S_IFCHR, True),
        ((4, 63), stat.S_IFCHR, True), ((4, 64), stat.S_IFCHR, False), ((136, 3), stat.S_IFCHR, True),
        ((143, 0), stat.S_IFCHR, True), ((144, 0), stat.S_IFCHR, False), ((135, 0), stat.S_IFCHR, False),
        ((188, 0), stat.S_IFCHR, False), ((166, 0), stat.S_IFCHR, False), ((136, 3), stat.S_IFREG, False),
    ],
)  # fmt: skip
def test_a_serial_port_is_no_terminal_and_is_not_opened(
    number: tuple[int, int], kind: int, sits: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opening one raises its control lines, to which somebody may have wired the key of a transmitter."""
    found = os.stat_result((kind, 0, 0, 0, 0, 0, 0, 0, 0, 0), {"st_rdev": os.makedev(*number)})
    opened_for = []

    def open_it(*_: object, **__: object) -> None:
        opened_for.append(number)
        raise OSError(5, "nobody sits there")

    monkeypatch.setattr(Path, "stat", lambda *_, **__: found)
    monkeypatch.setattr(Path, "open", open_it)
    switch = DRIVER.open(PersonOptions(paths={"antenna-bypass": "out"}, link="/dev/ttyS0"))
    with pytest.raises(Unsupported, match="nobody sits there" if sits else "no terminal"):
        switch.select("antenna-bypass")
    assert opened_for == [number] * sits


@pytest.mark.parametrize("answer", [b"no", b"wait", b"\x1b[A", b"\xff\x00\xfe", b"qq", b"x" * 5000])
def test_words_that_are_no_answer_confirm_nothing_and_an_enter_after_them_does(
    switch, somebody: Somebody, answer: bytes
) -> None:
    thread, outcome = ask(switch, "antenna-stage")
    somebody.read_until(b"Press Enter")
    for piece in (answer[at : at + 512] for at in range(0, len(answer), 512)):
        somebody.types(piece)
    somebody.types(b"\n")
    somebody.read_until(b"Only Enter")
    assert outcome == [] and switch.selected() is None
    somebody.types(b"\n")
    thread.join(DEADLINE_S)
    assert outcome == [1]
