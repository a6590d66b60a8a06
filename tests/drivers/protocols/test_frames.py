"""Addressed binary frames on a bus that others use too."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import BadReply, Refused
from drivers.protocols import frames
from drivers.protocols.calls import asking
from drivers.protocols.dialect import Dialect
from drivers.receivers.dialect import load

IC7300 = load("ic7300")
RADIO = 0x94
BODY = st.binary(min_size=1, max_size=12).filter(lambda body: max(body) < 0xFA)


def reply(body: bytes, to: int = frames.CONTROLLER, sender: int = RADIO) -> bytes:
    return b"\xfe\xfe" + bytes((to, sender)) + body + b"\xfd"


@pytest.fixture
def dialect() -> Dialect:
    return IC7300


def test_a_request_looks_as_published() -> None:
    # FE FE 94 E0 03 FD asks an IC-7300 for its frequency (its manual's section on data format; from memory)
    assert frames.frame(RADIO, b"\x03") == bytes.fromhex("FE FE 94 E0 03 FD")


@given(BODY)
def test_a_body_comes_out_of_its_frame(body: bytes) -> None:
    assert list(frames.bodies(reply(body), RADIO)) == [body]


@given(BODY, BODY)
def test_ones_own_echo_is_passed_over(asked: bytes, answered: bytes) -> None:
    assert list(frames.bodies(frames.frame(RADIO, asked) + reply(answered), RADIO)) == [answered]


@given(BODY, st.integers(1, 0xDF).filter(lambda other: other != RADIO))
def test_other_sets_on_the_bus_are_passed_over(body: bytes, other: int) -> None:
    assert list(frames.bodies(reply(body, sender=other) + reply(b"\x03"), RADIO)) == [b"\x03"]


def test_what_precedes_a_frame_is_passed_over_and_without_its_beginning_it_is_none() -> None:
    """As after a plug is put in: the end of what was said before, or one that began before anybody listened."""
    assert list(frames.bodies(b"\x00\x12\xfe" + reply(b"\x03\x15"), RADIO)) == [b"\x03\x15"]
    for torn in (b"\x12", b"\xfe", b""):
        assert list(frames.bodies(torn + bytes((frames.CONTROLLER, RADIO)) + b"\x03\xfd", RADIO)) == []


def test_a_hand_at_the_dial_is_passed_over(dialect: Dialect) -> None:
    broadcast = reply(bytes.fromhex("00 00 00 10 14 00"), to=0x00)
    answer = reply(bytes.fromhex("03 00 00 20 14 00"))
    assert asking(dialect, dialect.frequency, RADIO).read(broadcast + answer) == {"hz": 14_200_000}


def test_a_collision_is_heard_even_before_the_frame_ends() -> None:
    with pytest.raises(BadReply, match="at once"):
        list(frames.bodies(b"\xfe\xfe\xfc\xfc\xfc\xfc\xfc", RADIO))


@given(BODY, st.integers(0, 20))
def test_half_a_frame_is_no_frame(body: bytes, cut: int) -> None:
    whole = reply(body)
    assert list(frames.bodies(whole[: min(cut, len(whole) - 1)], RADIO)) == []


def test_no_good_is_a_refusal(dialect: Dialect) -> None:
    with pytest.raises(Refused):
        asking(dialect, dialect.frequency, RADIO).read(reply(b"\xfa"))


def test_a_frame_of_the_wrong_length_is_no_frequency(dialect: Dialect) -> None:
    with pytest.raises(BadReply):
        asking(dialect, dialect.frequency, RADIO).read(reply(bytes.fromhex("03 00 00")))


@given(st.binary(max_size=200))
def test_noise_on_the_bus_raises_nothing_but_a_bad_reply(noise: bytes) -> None:
    dialect = IC7300
    try:
        values = asking(dialect, dialect.meter, RADIO).read(noise)
    except (BadReply, Refused):
        return
    assert values is None or 0 <= int(values["raw"]) <= 9999


@pytest.mark.parametrize(
    "received",
    [
        b"\xfe\xfe\xe0\x94\x03\x00\xfc\x20\x14\x00\xfd",  # inside the frame that was awaited
        b"\xfe\xfe\xe0\x5a\x03\xfc\xfd\xfe\xfe\xe0\x94\x03\x00\x00\x20\x14\x00\xfd",  # inside somebody else's
        b"\xfe\xfe\xe0\x94\x03\x00\x00\x20\x14\x00\xfd\xfe\xfe\xfc",  # behind it
    ],
)
def test_a_collision_anywhere_spoils_the_answer(received: bytes) -> None:
    with pytest.raises(BadReply, match="at once"):
        list(frames.bodies(received, RADIO))
