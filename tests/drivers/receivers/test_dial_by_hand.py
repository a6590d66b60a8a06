"""A person at the dial, asked on a real terminal."""

import threading
from collections.abc import Iterator

import pytest
from pydantic import ValidationError

from drivers.contracts import Tuning
from drivers.errors import LinkTimeout, Refused, Unsupported
from drivers.receivers.dial_by_hand import DRIVER, DialByHand
from tests.drivers.switches.test_person import DEADLINE_S, Somebody


@pytest.fixture
def somebody() -> Iterator[Somebody]:
    person = Somebody()
    yield person
    # Terminals of later tests may have the same name: what is asked and not confirmed is known no longer.
    with pytest.raises(LinkTimeout):
        opened(person, timeout_s=0.001).tune(1)
    person.leave()


def opened(somebody: Somebody, **more: object) -> DialByHand:
    receiver = DRIVER.open(DRIVER.options(link=somebody.terminal, receive_only=True, **more))
    receiver.set_mode("USB", 2400)
    return receiver


def tuned(receiver: DialByHand, hz: int, somebody: Somebody, answer: bytes) -> threading.Thread:
    """Tunes while somebody reads the question and answers it."""
    thread = threading.Thread(target=receiver.tune, args=(hz,), daemon=True)
    thread.start()
    somebody.read_until(f"{hz / 1e3:.3f} kHz".encode())
    somebody.types(answer)
    thread.join(DEADLINE_S)
    return thread


def test_the_dial_is_asked_for_once_and_believed(somebody: Somebody) -> None:
    receiver = opened(somebody)
    tuned(receiver, 9_999_000, somebody, b"\n")
    assert b"Set the dial to 9999.000 kHz, USB" in somebody.shown
    assert receiver.tuning() == Tuning(9_999_000, "USB", None)
    receiver.tune(9_999_000)  # nobody is asked again
    assert somebody.shown.count(b"Set the dial") == 1


def test_another_mode_is_asked_for(somebody: Somebody) -> None:
    receiver = opened(somebody)
    tuned(receiver, 9_999_000, somebody, b"\n")
    receiver.set_mode("LSB", 2400)
    somebody.shown = b""
    tuned(receiver, 9_999_000, somebody, b"\n")
    assert b"LSB" in somebody.shown


def test_somebody_who_walked_away_is_not_waited_for_without_end(somebody: Somebody) -> None:
    with pytest.raises(LinkTimeout, match="nobody set the dial to 7037500 Hz within"):
        opened(somebody, timeout_s=0.05).tune(7_037_500)


def test_somebody_who_stops_is_heard(somebody: Somebody) -> None:
    receiver = opened(somebody)
    told: list[Exception] = []

    def tune() -> None:
        try:
            receiver.tune(7_037_500)
        except Refused as refused:
            told.append(refused)

    thread = threading.Thread(target=tune, daemon=True)
    thread.start()
    somebody.read_until(b"7037.500")
    somebody.types(b"q\n")
    thread.join(DEADLINE_S)
    assert "they stopped" in str(told[0])


def test_nothing_is_known_of_it_and_it_has_no_meter(somebody: Somebody) -> None:
    receiver = opened(somebody)
    assert "AGC" in receiver.prepare()
    assert not receiver.tells_transmit()
    with pytest.raises(Unsupported, match="sound"):
        receiver.read_power()


def test_it_takes_a_persons_word_that_nothing_can_be_keyed() -> None:
    with pytest.raises(ValidationError, match="only if nothing there can be keyed"):
        DRIVER.options(receive_only=False)
    with pytest.raises(ValidationError):
        DRIVER.options()
