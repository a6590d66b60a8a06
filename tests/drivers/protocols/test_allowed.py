"""The gates before every receiver: what is on the lists goes through, and nothing beside it, byte for byte."""

import itertools
import re
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import Refused
from drivers.protocols.allowed import GATES, LONGEST
from drivers.protocols.frames import frame


def passes(family: str, message: bytes) -> bool:
    try:
        GATES[family](message)
    except Refused:
        return False
    return True


# What a receiver's control needs, written down here a second time, from the makers' and hamlib's command references.
ASCII_VERBS = {
    "AI",
    "BC",
    "BW",
    "FA",
    "FB",
    "FR",
    "FW",
    "GC",
    "GT",
    "ID",
    "IF",
    "MD",
    "NB",
    "NR",
    "NT",
    "PA",
    "RA",
    "RG",
    "SH",
    "SL",
    "SM",
    "SQ",
}
ASCII_MAY_SET = ASCII_VERBS - {"FB", "FR", "ID", "IF", "SM"}
BINARY_ASKS = {
    b"\x03",
    b"\x04",
    b"\x11",
    b"\x14\x02",
    b"\x14\x03",
    b"\x15\x02",
    b"\x16\x02",
    b"\x16\x12",
    b"\x16\x22",
    b"\x16\x40",
    b"\x16\x41",
    b"\x16\x48",
    b"\x16\x65",
    b"\x19\x00",
    b"\x1a\x03",
    b"\x1a\x04",
    b"\x1c\x00",
}


def test_of_all_two_letter_commands_only_these_can_be_asked_or_set() -> None:
    letters = string.ascii_uppercase + string.digits
    for verb in map("".join, itertools.product(letters, letters)):
        said = verb.encode()
        assert passes("ascii", said + b";") == (verb in ASCII_VERBS), verb
        sets = any(passes("ascii", said + b"0" * length + b";") for length in range(2, 14)) or verb in (
            "AI",
            "GC",
        )
        assert sets == (verb in ASCII_MAY_SET), verb
        assert not passes("ascii", verb.lower().encode() + b";")


def test_of_all_commands_of_one_and_two_bytes_only_these_can_be_asked() -> None:
    for body in (
        *(bytes([one]) for one in range(256)),
        *(bytes(two) for two in itertools.product(range(256), repeat=2)),
    ):
        said = passes("binary", frame(0x94, body))
        if said != (body in BINARY_ASKS):
            # a command of one byte and its one byte of value
            assert said and body[:1] in (b"\x06", b"\x11") and re.fullmatch("[0-9]{2}", body[1:].hex()), body


def test_of_all_commands_of_three_bytes_only_these_can_be_set() -> None:
    settable = {
        b"\x16\x02",
        b"\x16\x12",
        b"\x16\x22",
        b"\x16\x40",
        b"\x16\x41",
        b"\x16\x48",
        b"\x16\x65",
        b"\x1a\x03",
        b"\x1a\x04",
    }
    for first, second in itertools.product(range(0x20), range(256)):
        for value in (0x00, 0x01, 0x99, 0x0A, 0xFD):
            body = bytes((first, second, value))
            digits = re.fullmatch("([0-9]{2})+", bytes((value,)).hex()) is not None
            due = digits and (
                body[:2] in settable or (first == 6 and re.fullmatch("[0-9]{2}", f"{second:02x}"))
            )
            assert passes("binary", frame(0x94, body)) == bool(due), body.hex(" ")


@pytest.mark.parametrize(
    "message",
    [
        b"\xfe\xfe\x94\xe0\x1c\x00\x01\xfd",
        b"\xfe\xfe\x94\xe0\x05\x3b\x54\x58\x3b\xfd",
        b"\x05\x3bTX;",
        b"\xfe\xfe\x94\xe0\x03\xfd\xfe\xfe\x94\xe0\x1c\x00\x01\xfd",
        b"\xfe\xfe\x00\xe0\x03\xfd",
        b"\xfe\xfe\x94\x00\x03\xfd",
        b"\xfe\xfe\xe0\xe0\x03\xfd",
        b"\xfe\xfe\x94\xe0\x03",
        b"\xfe\xfe\x94\xe0\xfd",
        b"\xfe\xfe\x94\xe0\x17SOS\xfd",
        b"\x00\xfe\xfe\x94\xe0\x03\xfd",
        b"",
    ],
)
def test_no_other_frame_goes_to_a_receiver(message: bytes) -> None:
    assert not passes("binary", message)


@pytest.mark.parametrize(
    "line",
    [
        "+f",
        "f",
        "+F 7038500",
        "+F currVFO 7038500",
        "+M USB 2400",
        "+M currVFO CW-R 0",
        "+l STRENGTH",
        "+L AGC 2",
        "+L currVFO RF 0.5",
        "+U NB 0",
        "+u ?",
        "+t",
        "+_",
        "\\chk_vfo",
        "+\\dump_state",
        "+\\set_cache 0",
    ],
)
def test_the_lines_of_hamlibs_protocol_that_are_needed_go_through(line: str) -> None:
    assert passes("hamlib", line.encode() + b"\n")


@pytest.mark.parametrize(
    "line",
    [
        "+M USB 0 T 1 2400",
        "+M USB 2400 T 1",
        "T 1",
        "+T 1",
        "+t 1",
        "+f T 1",
        "+F 7038500 T 1",
        "+F T",
        "\\set_ptt 1",
        "+\\set_ptt 1",
        "+L RFPOWER 1",
        "+L VOXGAIN 1",
        "+U VOX 1",
        "+U TUNER 1",
        "+U NB 2",
        "+G TUNE",
        "+b CQ",
        "+w TX;",
        "+W TX; 3",
        "+\\send_morse CQ",
        "+\\send_voice_mem 1",
        "+\\set_powerstat 0",
        "+L AGC 2 T 1",
        "+L AGC nan",
        "+L AGC 1e9",
        "+M USB\tT 2400",
        "+M USB -1",
        "+F -7038500",
        "+F 7038500.5",
        "+V VFOA",
        "+f VFOA",
        "+X USB 2400",
        "+S 1 VFOB",
        "+I 7038500",
        "+\\set_cache 0 T 1",
        "*1",
        "",
        "+",
        "++f",
        "+f ",
        " f",
        "+M U\u0391B 2400",
        "+F \u0661",
        "+l STRENGTH?",
        "+L STRENGTH 3",
        "+m USB",
        "1",
        "q",
        "+\\dump_caps 1",
    ],
)
def test_no_other_line_goes_to_hamlib(line: str) -> None:
    assert not passes("hamlib", line.encode() + b"\n")


@pytest.mark.parametrize(
    "message", [b"+f", b"+f\nT 1\n", b"+f\n+t\n+f\n", b"+f\n\n", b"\n+f\n", b"+f\r\n", b"+f\nT", b""]
)
def test_only_whole_lines_and_two_at_most_go_to_hamlib(message: bytes) -> None:
    assert not passes("hamlib", message)


@pytest.mark.parametrize(
    "message",
    [
        b"FA00007038500;FA;",
        b"IF;SM0;",
        b"MD2;MD;",
        b"SMH;",
        b"AI0;",
        b"GT002;GT;",
        b"FA07038500;",
        b"MD0C;",
    ],
)
def test_the_ascii_commands_that_are_needed_go_through(message: bytes) -> None:
    assert passes("ascii", message)


@pytest.mark.parametrize(
    "message",
    [
        b"TX;",
        b"FA;TX;",
        b"FA00007038500;TX;",
        b"IF;SM0;FA;",
        b"FA",
        b"FA;T",
        b";",
        b"",
        b"FA0000703850X;",
        b"AI2;",
        b"SM00;",
        b"FATX;",
        b"FA;\nTX;",
        b"MD2 ;",
        b"SMT;",
        b"FB00007038500;",
        b"FR1;",
        b"IF1;",
        b"MDG;",
        b"SQ-01;",
    ],
)
def test_no_other_ascii_command_goes_to_a_receiver(message: bytes) -> None:
    assert not passes("ascii", message)


@pytest.mark.parametrize(
    "line",
    [
        "*IDN?",
        "FREQ?",
        "FREQ 7038500;*OPC?;:SYST:ERR?",
        ":SENS:FREQ:CW 7038500",
        'SENS:DATA? "VOLT:AC"',
        "DEM USB",
        "*CLS",
        "OUTP:SQU:STAT 0;*OPC?;:SYST:ERR?",
        "GCON:MODE AUTO",
        "frequency?",
        'FUNC "VOLT:AC"',
        "MEAS:VOLT?",
    ],
)
def test_the_scpi_units_that_are_needed_go_through(line: str) -> None:
    assert passes("scpi", line.encode() + b"\n")


@pytest.mark.parametrize(
    "line",
    [
        "FREQ T 1",
        "FREQ 7038500 T 1",
        "DEM USB\tT",
        "OUTP ON",
        "OUTP:STAT ON",
        "SOUR:FREQ 7E6",
        "*RST",
        "*TRG",
        "FREQ 7;OUTP ON",
        "FREQ?;OUTP ON",
        "FREQ?;*OPC?;:SYST:ERR?",
        "DEM 'USB'",
        "",
        "FREQ",
        "FREQ ",
        "DEM USB;",
        "FREQ 1e999",
        "INIT",
        'SENS:DATA? "T 1"',
        "OUTP:SQU ON;*OPC?",
        "SYST:PTT 1",
        "FREQ?\nT 1",
        "*CLS;OUTP ON",
    ],
)
def test_no_other_scpi_unit_goes_to_a_receiver(line: str) -> None:
    assert not passes("scpi", line.encode() + b"\n")
    assert not passes("scpi", line.encode())


@pytest.mark.parametrize("family", GATES)
def test_nothing_long_goes_to_a_receiver(family: str) -> None:
    assert not passes(family, b"+F 7038500\n" * LONGEST)
    assert not passes(family, b"FA;" * LONGEST)


@pytest.mark.parametrize("family", GATES)
@given(noise=st.binary(max_size=300))
def test_what_no_list_knows_is_refused_and_nothing_else_is_raised(family: str, noise: bytes) -> None:
    if passes(family, noise):
        assert len(noise) <= LONGEST
