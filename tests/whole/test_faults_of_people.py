"""A person at the switch or at the dial who walks away, stops or types anything, at each question of a pass.

As in the fault matrix: nothing is stored of a pass that is not whole, and the next one is whole once they are back.
Nobody but the person can put the switch to rest; the sentence asks them to.
"""

import threading
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from sweeper.clock import JumpingClock
from sweeper.daemon.rig import instruments
from sweeper.daemon.run.campaign import Campaign, run_passes
from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.receivers.audio import Audio, Hearing
from sweeper.station import load
from sweeper.store import Store
from tests.drivers.switches.test_person import Somebody, somebody
from tests.sweeper.engine.heard import Heard
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


BY_HAND = """\
station: {{name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
  driver: dial-by-hand
  link: {terminal}
  receive_only: true
  bell: false
  timeout_s: {timeout_s}
  mode: USB
  settle_s: 0.05
  audio: {{device: rx.monitor, agc_off: true}}
switch:
  driver: modbus
  link: {switch}
  settle_s: 0.03
  paths: {{antenna-bypass: {{0: off}}, antenna-stage: {{0: on}}}}
stage: {{rated_gain_db: 15, rated_noise_figure_db: 3}}
bands:
  - {{name: 10 m, channels: [{{hz: 28070000, for: noise}}, {{hz: 28870000, for: noise}}]}}
"""
DIALS = {"the first channel": 1, "the second, with the stage in and out": 2}
"""The dial is asked for once a channel: the relays move while it stands."""


@pytest.mark.parametrize("question", DIALS)
@pytest.mark.parametrize("fault", FAULTS)
def test_a_dial_that_nobody_sets_costs_the_pass_and_bends_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, somebody: Somebody, fault: str, question: str
) -> None:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock) as served:
        served.receiver.mode, served.receiver.agc_off = "USB", True
        hearing = Hearing(world, served.receiver, clock, rate_hz=12_000, block=120)
        hearing.audio = Audio(full_scale_dbm=-25.0)
        monkeypatch.setattr(instruments, "open_samples", lambda station: Heard(hearing, clock))
        file = tmp_path / "byhand.yaml"
        waits_s = 5.0 if "walks away" in fault else 60.0
        text = BY_HAND.format(terminal=somebody.terminal, switch=served.switch_link, timeout_s=waits_s)
        file.write_text(text, encoding="utf-8")
        station = load(file)
        dials = {
            f"{station.receiver.dial_hz(each.hz) / 1e3:.3f} kHz".encode(): station.receiver.dial_hz(each.hz)
            for each in station.channels()
        }
        hand = Hand(somebody, served.receiver.tune, dials, DIALS[question], FAULTS[fault])
        with Store(tmp_path / "data", "Saltmarsh", 8.1) as store:
            campaign = Campaign(station, store, clock)
            (record,) = run_passes(campaign, [None])
            assert hand.asked >= DIALS[question]
            assert served.board.path == "antenna-bypass"
            if fault == "types garbage":  # asked again for an Enter and nothing else, which then comes
                assert record.outcome == "done", record.because
            else:
                assert record.outcome != "done" and "person at the dial" in record.because
                assert store.readings().collect().is_empty() and store.spectra().collect().is_empty()
            (record,) = run_passes(campaign, [None])
            assert record.outcome == "done", record.because
            assert store.readings().collect()["pass"].to_list().count(record.number) > 0
        hand.gone = True


class Hand:
    """Somebody who turns the dial where they are asked to and says so, but for the nth question."""

    def __init__(
        self,
        somebody: Somebody,
        turn: Callable[[int], object],
        dials: Mapping[bytes, int],
        nth: int,
        other: bytes,
    ) -> None:
        self._somebody, self._turn, self._dials = somebody, turn, dials
        self._nth, self._other = nth, other
        self.asked, self.gone = 0, False
        threading.Thread(target=self._answer, daemon=True).start()

    def _answer(self) -> None:
        try:
            while True:
                self._somebody.read_until(b"to stop.")
                shown, self._somebody.shown = self._somebody.shown, b""
                self.asked += 1
                if self.gone:
                    return
                if self.asked == self._nth:
                    self._somebody.types(self._other)
                    if b"\xff" not in self._other:
                        continue
                    self._somebody.read_until(b"Only Enter")
                self._turn(next(hz for words, hz in self._dials.items() if words in shown))
                self._somebody.types(b"\n")
        except (OSError, AssertionError):
            return  # the terminal is closed, or nobody asks any more
