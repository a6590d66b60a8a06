"""An attended test on planted stations at a clock that jumps: by relay, by hand, with a load, and what can go wrong."""

import io
import json
import re
import threading
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from drivers.errors import LinkLost, Unsupported
from sweeper.ab import as_json
from sweeper.ab.intervals import FIRST_SHOWN
from sweeper.attended.at_station import BY_HAND_S
from sweeper.attended.listening import PersonHands, Pressed, RelayHands, attend
from sweeper.attended.session import Asked, Session
from sweeper.attended.stays import relay_order
from sweeper.attended.view import View
from sweeper.attended.witness import Witness
from sweeper.clock import JumpingClock
from sweeper.errors import UserFacingError
from sweeper.report.ab_picture import Picture
from sweeper.simulation.recordings import Chain, Planted, Receiving, Signal, Stay, truth
from sweeper.simulation.recordings.planted import Modulation, over_noise
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE
from tests.sweeper.attended.on_air_now import START, PlantedSound
from tests.sweeper.attended.person import Person

pytestmark = pytest.mark.slow

CHAIN = Chain(external=10**2.6, receiver=10**1.6, stage=10**0.3, gain=10**1.2)
"""Noise 10.4 dB over the load's, so that no stage brings more than 0.4 dB; this one does nothing that matters."""
DEAF = Chain(external=10**1.1, receiver=10**1.8, stage=10**0.3, gain=10**1.5)
"""A receiver deafer than the sky: the stage brings 6 dB."""


def planted(chain: Chain, seconds: float = 200.0) -> Planted:
    signals = (Signal(1000.0, over_noise(chain, 20.0), "carrier", 0.15, 2.0),)
    stays = (Stay(0.0, ANTENNA_BYPASS),)
    return Planted("audio", 12_000, seconds, 7_100_000, stays, chain, signals, Receiving(), seed=3)


class Test:
    """One run; `at_view` is called with every view."""

    __test__ = False

    def __init__(self, chain: Planted | Chain, **asked: object) -> None:
        self.planted = planted(chain) if isinstance(chain, Chain) else chain
        self.clock = JumpingClock(START)
        self.sound = PlantedSound(self.planted, self.clock)
        told = {"seconds": 60.0, "every_s": 2.0, "by_hand": False, "gain_known": True, **asked}
        self.session = Session(Asked(**told), self.clock.monotonic())  # type: ignore[arg-type]
        self.views: list[View] = []
        self.stop = threading.Event()

    def by_relay(self) -> Session:
        order = relay_order(self.session.asked.has_load)
        hands = RelayHands(self.session, self.sound, order, 0.1, self.clock)
        attend(self.sound, self.session, hands, self.clock, self.stop, self.views.append)
        return self.session

    def by_hand(self, **person: object) -> Session:
        pressed = Pressed()
        hand = Person(self.sound, pressed, self.clock.monotonic, **person)  # type: ignore[arg-type]

        def told(view: View) -> None:
            hand(view)
            self.views.append(view)

        hands = PersonHands(self.session, pressed, self.clock)
        attend(self.sound, self.session, hands, self.clock, self.stop, told)
        return self.session

    @property
    def change_db(self) -> float:
        return float(truth(self.planted)["snr_change_db"])  # type: ignore[arg-type]


@pytest.mark.quick
def test_by_relay_it_stops_as_soon_as_it_is_decided_and_every_interval_on_the_way_holds_the_truth() -> None:
    test = Test(DEAF)
    session = test.by_relay()
    result = session.finish().result
    assert result.verdict == "stage" and result.source == "now"
    assert session.elapsed_s < 60.0
    shown = [view.snr_change for view in test.views if view.snr_change is not None]
    assert shown and all(it.low <= test.change_db <= it.high for it in shown)
    assert (
        test.views[0].elapsed_s == 0.0
        and test.views[0].answer == f"Too early: {FIRST_SHOWN} more switchings."
    )
    assert test.views[-1].answer.startswith("It helps: S/N +")
    assert "sees the switch" in test.views[-1].sight
    assert '"from": "now"' in as_json(result)


def test_the_load_by_relay_tells_what_no_stage_can_exceed() -> None:
    test = Test(CHAIN, has_load=True)
    attended = test.by_relay().finish()
    cap_db = attended.result.cap_db
    assert cap_db == pytest.approx(0.41, abs=0.1)
    told = f"No stage can bring more than {cap_db:.1f} dB here at this hour: noise from outside is "
    assert attended.notes[0] in (f"{told}10 dB over your own.", f"{told}at least 10 dB over your own.")
    assert set(test.sound.moved) == {"antenna-bypass", "antenna-stage", "load-bypass"}


def test_by_hand_with_keys_the_answer_is_the_same() -> None:
    test = Test(DEAF, by_hand=True, keys=True, every_s=BY_HAND_S, seconds=120.0, gain_known=None)
    result = test.by_hand().finish().result
    assert result.snr_change_db is not None
    assert result.snr_change_db.low <= test.change_db <= result.snr_change_db.high
    assert result.verdict == "stage"


def test_by_hand_without_keys_the_steps_are_heard() -> None:
    test = Test(DEAF, by_hand=True, every_s=BY_HAND_S, seconds=120.0)
    result = test.by_hand(presses=False).finish().result
    assert result.verdict == "stage" and result.snr_change_db is not None
    assert result.snr_change_db.low <= test.change_db <= result.snr_change_db.high


def test_a_load_by_hand_once_each_way_tells_the_cap() -> None:
    test = Test(CHAIN, by_hand=True, keys=True, every_s=BY_HAND_S, seconds=150.0)
    attended = test.by_hand(load_at=8).finish()
    assert attended.result.cap_db == pytest.approx(0.41, abs=0.5)
    assert attended.notes[0].startswith("No stage can bring more than 0.")


@pytest.mark.parametrize("person", [{"twice_at": (4, 9)}, {"late_s": 1.5}], ids=["twice", "late"])
def test_who_presses_twice_or_late_gets_the_right_answer_or_none(person: dict[str, object]) -> None:
    test = Test(DEAF, by_hand=True, keys=True, every_s=BY_HAND_S, seconds=120.0)
    result = test.by_hand(**person).finish().result
    it = result.snr_change_db
    assert result.verdict in ("stage", "undecided")
    assert it is None or it.low <= test.change_db <= it.high


@pytest.mark.parametrize("amplifies", [True, False])
def test_who_begins_with_the_stage_in_is_told(amplifies: bool) -> None:
    test = Test(DEAF, by_hand=True, keys=True, every_s=BY_HAND_S, seconds=100.0, amplifies=amplifies)
    test.sound.select("antenna-stage")
    session = test.by_hand()
    if amplifies:
        with pytest.raises(UserFacingError, match="the other way round"):
            session.finish()
    else:
        assert "the answer is the other way round" in session.finish().notes[0]


def test_who_walks_away_gets_no_claim() -> None:
    test = Test(DEAF, by_hand=True, keys=True, every_s=BY_HAND_S, seconds=40.0)
    pressed = Pressed()
    hands = PersonHands(test.session, pressed, test.clock)
    attend(test.sound, test.session, hands, test.clock, test.stop, test.views.append)
    assert test.session.elapsed_s >= 40.0
    assert test.views[-1].next == "Switch IN now, then press the space bar."
    with pytest.raises(UserFacingError, match="Nothing is claimed: the switch was never flipped"):
        test.session.finish()


@pytest.mark.quick
def test_silence_ends_it_with_what_to_do() -> None:
    test = Test(planted(DEAF))
    test.sound._through = lambda path, first, count: np.zeros(count, np.float32)  # type: ignore[method-assign]
    with pytest.raises(UserFacingError, match="silence"):
        test.by_relay()


def test_sound_that_goes_ends_it() -> None:
    test = Test(DEAF)
    heard = test.sound._through

    def cut(path: str, first: int, count: int) -> np.ndarray:  # type: ignore[type-arg]
        return heard(path, first, count) * np.float32(1e-3 if first > 15 * 12_000 else 1.0)

    test.sound._through = cut  # type: ignore[method-assign]
    with pytest.raises(UserFacingError, match="cable"):
        test.by_relay()


def test_a_card_that_is_unplugged_is_told_as_it_is() -> None:
    test = Test(DEAF)
    test.sound.fails_at_s, test.sound.fault = (
        10.0,
        LinkLost("sound input", "it is gone.", "Plug it in again."),
    )
    with pytest.raises(UserFacingError, match=r"it is gone\. Plug it in again\."):
        test.by_relay()
    assert "see to plug and cable" in test.views[-1].trouble


def test_whoever_stops_it_gets_what_there_is() -> None:
    test = Test(DEAF)

    class Stopping(list[View]):
        def append(self, view: View) -> None:
            super().append(view)
            if view.elapsed_s > 5.0:
                test.stop.set()

    test.views = Stopping()
    assert test.by_relay().elapsed_s < 7.0
    with pytest.raises(UserFacingError, match="Nothing is claimed"):
        test.session.finish()


@pytest.mark.parametrize("manner", ["carrier", "am"])
def test_a_receiver_in_am_claims_nothing_and_is_told_to_use_a_side_band(manner: Modulation) -> None:
    """Its detector turns the carrier into direct voltage: a silent broadcaster leaves no signal, speech no noise. What
    is seen on the way and what is told at the end give the same reason.
    """
    signals = (Signal(0.0, over_noise(DEAF, 25.0), manner, 0.15, 2.0),)
    heard = replace(
        planted(DEAF), mode="AM", signals=signals, receiving=Receiving(low_hz=100.0, high_hz=3000.0)
    )
    test = Test(heard, seconds=30.0, gain_known=None)
    session = test.by_relay()
    assert any(
        "so far no carrier stands clear" in view.answer for view in test.views if view.edges < FIRST_SHOWN
    )
    told = ""
    if manner == "carrier":
        with pytest.raises(UserFacingError) as end:
            session.finish()
        told = str(end.value)
    else:
        result = session.finish().result
        assert (result.verdict, result.snr_change_db) == ("undecided", None)
        told = json.loads(as_json(result))["reason"]
    last = session.view(ANTENNA_BYPASS, None, None)
    assert last.next.startswith("Tune to where a carrier stands") and last.next.endswith(
        "; then begin again."
    )
    assert last.next[1:].removesuffix("; then begin again.") in told
    assert last.answer.removeprefix("Nothing can be told: ").rstrip(".") in told


class Dial:
    """A receiver's meter: S7 with the stage out, 10 dB over S9 with it in."""

    def __init__(self, sound: PlantedSound) -> None:
        self._sound = sound

    def read_power(self) -> float:
        return 10.0 if self._sound.selected() == "antenna-stage" else -12.0


@pytest.mark.quick
def test_the_receivers_own_meter_is_shown_beside_the_sound() -> None:
    test = Test(DEAF, seconds=8.0)
    test.session.witness = Witness(Dial(test.sound), lambda reading: reading)  # type: ignore[arg-type]
    test.by_relay()
    assert test.views[0].meter is None
    assert test.views[-1].meter == ("S7", "S9+10 dB", "+22 dB")
    console = Console(width=80, record=True, file=io.StringIO())
    console.print(Picture(test.views[-1]))
    assert re.search(r"meter +S7 +S9\+10 dB +\+22 dB", console.export_text())


@pytest.mark.quick
def test_a_meter_whose_unit_nobody_knows_and_one_that_does_not_answer_show_nothing() -> None:
    class Mute:
        def read_power(self) -> float:
            raise Unsupported("receiver", "it has no meter.")

    test = Test(DEAF, seconds=4.0)
    for witness in (
        Witness(Dial(test.sound), lambda reading: None),
        Witness(Mute(), lambda reading: reading),
    ):  # type: ignore[arg-type]
        for path in (ANTENNA_BYPASS, ANTENNA_STAGE):
            witness.look(path)
        assert witness.told() is None


@pytest.mark.quick
def test_how_many_changes_there_is_time_for_goes_by_the_pace_so_far() -> None:
    test = Test(DEAF, seconds=20.0)
    test.by_relay()
    first, last = test.views[0], test.views[-1]
    assert first.planned == int(20.0 / test.session.asked.every_s)
    assert last.edges >= 8 and last.planned == last.edges
    middle = next(view for view in test.views if view.elapsed_s > 10.0)
    assert middle.planned == pytest.approx(last.edges, abs=2)
