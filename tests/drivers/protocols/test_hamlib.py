"""hamlib's network protocol on bytes alone. Replies as rigctld 4.5.4 sends them."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused, RigError, Unsupported
from drivers.protocols import hamlib

FREQUENCY = b"get_freq:\nFrequency: 7038500\nRPRT 0\n"


def test_the_reply_repeats_the_request_and_ends_with_its_error_number() -> None:
    call = hamlib.call("get_freq", parse=hamlib.hz)
    assert call.request == b"+f\n"
    assert call.read(FREQUENCY) == 7_038_500


@given(st.integers(0, len(FREQUENCY) - 1))
def test_a_reply_cut_anywhere_is_waited_for(length: int) -> None:
    assert hamlib.call("get_freq", parse=hamlib.hz).read(FREQUENCY[:length]) is None


def test_a_late_reply_to_another_question_is_noticed() -> None:
    with pytest.raises(BadReply):
        hamlib.call("get_freq", parse=hamlib.hz).read(b"get_level: STRENGTH\n-47\nRPRT 0\n")


def test_two_replies_at_once_are_noticed() -> None:
    with pytest.raises(BadReply, match="more than one"):
        hamlib.call("get_freq", parse=hamlib.hz).read(FREQUENCY + FREQUENCY)
    with pytest.raises(BadReply, match="more than one"):
        hamlib.call("get_freq", parse=hamlib.hz).read(FREQUENCY + b"get_freq:\n")


@pytest.mark.parametrize(
    ("number", "kind"),
    [
        (1, Refused),
        (4, Unsupported),
        (5, LinkTimeout),
        (6, LinkLost),
        (8, BadReply),
        (9, Refused),
        (11, Unsupported),
        (99, Refused),
    ],
)
def test_error_numbers_say_what_they_mean(number: int, kind: type[RigError]) -> None:
    # hamlib, enum rig_errcode_e: EINVAL 1, ENIMPL 4, ETIMEOUT 5, EIO 6, EPROTO 8, ERJCTED 9, ENAVAIL 11
    with pytest.raises(kind, match=str(number)):
        hamlib.call("set_freq", "1", parse=hamlib.nothing).read(b"set_freq: 1\nRPRT -%d\n" % number)


def test_the_range_is_that_of_all_receive_ranges() -> None:
    lines = (
        "1",
        "2",
        "0",
        "30000.000000 500000.000000 0x1 -1 -1 0x3 0x1",
        "1800000.0 60000000.0 0x1 -1 -1 0x3 0x1",
        "0 0 0 0 0 0 0",
        "0 0 0 0 0 0 0",
    )
    received, transmitted = hamlib.ranges_hz(lines)
    assert hamlib.span_hz(received) == (30_000, 60_000_000)
    assert transmitted == []


def test_a_transmitter_is_seen_in_the_second_list() -> None:
    lines = (
        "1",
        "1",
        "0",
        "1.0 2.0 0 -1 -1 0 0",
        "0 0 0 0 0 0 0",
        "1.0 2.0 0x1 5000 100000 0x3 0x1",
        "0 0 0 0 0 0 0",
    )
    assert hamlib.ranges_hz(lines)[1] == [(1, 2)]


@pytest.mark.parametrize(
    "command", ["set_ptt", "send_morse", "set_vfo", "w", "T", "send_cmd", "set_powerstat"]
)
def test_there_is_no_way_to_say_anything_that_keys(command: str) -> None:
    with pytest.raises((Refused, KeyError)):
        hamlib.call(command, "1", parse=hamlib.nothing)


@pytest.mark.parametrize("name", ["RFPOWER", "KEYSPD", "MICGAIN", "VOXGAIN"])
def test_levels_of_the_transmitter_cannot_be_named(name: str) -> None:
    with pytest.raises(Refused):
        hamlib.call("set_level", name, "1", parse=hamlib.nothing)


@pytest.mark.parametrize("name", ["VOX", "TUNER", "FBKIN", "SBKIN", "TBURST", "MON"])
def test_functions_of_the_transmitter_cannot_be_named(name: str) -> None:
    with pytest.raises(Refused):
        hamlib.call("set_func", name, "1", parse=hamlib.nothing)


@given(st.text(max_size=20))
def test_an_argument_cannot_carry_a_second_line(mode: str) -> None:
    with contextlib.suppress(Refused):
        assert hamlib.call("set_mode", mode, "0", parse=hamlib.nothing).request.count(b"\n") == 1


@given(st.binary(max_size=300), st.sampled_from([b"", b"get_freq:\n", b"get_freq:\nFrequency: "]))
def test_random_bytes_raise_nothing_but_rig_errors(noise: bytes, start: bytes) -> None:
    for command, parse in (
        ("get_freq", hamlib.hz),
        ("get_mode", hamlib.mode),
        ("get_level", hamlib.strength),
    ):
        call = hamlib.call(command, *(["STRENGTH"] if command == "get_level" else []), parse=parse)
        with contextlib.suppress(RigError):
            call.read(start + noise)
        with contextlib.suppress(RigError):
            call.read(f"{command}:\n".encode() + noise + b"\nRPRT 0\n")
    with contextlib.suppress(RigError):
        hamlib.read_check_vfo(noise)
    with contextlib.suppress(RigError):
        hamlib.ranges_hz(tuple(noise.decode("latin-1").split("\n")))


@pytest.mark.parametrize("said", ["-50", "STRENGTH: -50", "Level Value: -50", " -50.000000 ", "-5e1"])
def test_a_level_is_understood_with_its_name_and_without(said: str) -> None:
    call = hamlib.call("get_level", "STRENGTH", parse=hamlib.strength)
    assert call.read(f"get_level: STRENGTH\n{said}\nRPRT 0\n".encode()) == -50.0


@pytest.mark.parametrize(
    "said", ["99999999", "1_0", "nan", "inf", "-1001", "1e999", "0x10", "1,0", "a:b:1", "-", "1e"]
)
def test_what_no_meter_shows_is_no_reading(said: str) -> None:
    call = hamlib.call("get_level", "STRENGTH", parse=hamlib.strength)
    with pytest.raises(BadReply):
        call.read(f"get_level: STRENGTH\n{said}\nRPRT 0\n".encode())


def test_the_numbers_of_agc_are_hamlibs() -> None:
    # enum agc_level_e of hamlib's rig.h, 4.5 (from memory: 4 is the user's own setting)
    assert hamlib.AGC == {"off": 0, "superfast": 1, "fast": 2, "slow": 3, "medium": 5, "auto": 6}
