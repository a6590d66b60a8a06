"""IEEE 488.2 response messages and the error queue. Examples from the standard and from SCPI-99, from memory."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import BadReply, Refused
from drivers.protocols import scpi


@pytest.mark.parametrize(
    ("message", "units"),
    [
        (b'1;0,"No error"\n', (("1",), ("0", "No error"))),  # SCPI-99 volume 2, 21.8: the empty queue
        (b"ACME,RX1,0,1.0\n", (("ACME", "RX1", "0", "1.0"),)),  # *IDN?: four fields, IEEE 488.2 §10.14
        (b"+1.25E+06\n", (("+1.25E+06",),)),  # NR3, §8.7.4
        (b'"say ""73"""\n', (('say "73"',),)),  # a doubled quote in string data, §8.7.8
        (b"'a;b,c'\n", (("a;b,c",),)),
        (b"#15hello\n", (("hello",),)),  # definite-length block, §8.7.9
        (b"#212abc;def,ghi\n,7\n", (("abc;def,ghi\n", "7"),)),
    ],
)
def test_response_messages_fall_into_units_and_elements(message: bytes, units: object) -> None:
    assert scpi.response_units(message) == units


@given(
    st.lists(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=10), min_size=1, max_size=4)
)
def test_strings_come_back_whatever_is_in_them(strings: list[str]) -> None:
    message = ",".join('"' + text.replace('"', '""') + '"' for text in strings)
    assert scpi.response_units(message.encode() + b"\n") == (tuple(strings),)


@given(st.binary(max_size=30))
def test_blocks_come_back_whatever_is_in_them(content: bytes) -> None:
    message = b"#2%02d" % len(content) + content + b"\n"
    assert scpi.response_units(message) == ((content.decode("latin-1"),),)


def test_an_error_in_the_queue_is_told_in_the_instruments_words() -> None:
    # SCPI-99: -222 "Data out of range"
    with pytest.raises(Refused, match="Data out of range"):
        scpi.read_report(b'1;-222,"Data out of range"\n')


def test_a_command_error_that_swallows_the_rest_is_a_refusal_too() -> None:
    with pytest.raises(Refused, match="-113"):
        scpi.read_report(b'-113,"Undefined header"\n')


def test_half_a_report_is_waited_for() -> None:
    whole = b'1;0,"No error"\n'
    assert all(scpi.read_report(whole[:length]) is None for length in range(len(whole)))
    assert scpi.read_report(whole) == {}


@given(st.binary(max_size=200))
def test_random_bytes_raise_nothing_but_rig_errors(noise: bytes) -> None:
    with contextlib.suppress(BadReply):
        scpi.response_units(noise + b"\n")
    with contextlib.suppress(BadReply, Refused):
        scpi.read_report(noise + b"\n")
