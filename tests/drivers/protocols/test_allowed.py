"""The gates before every receiver: what is on the lists goes through, and nothing beside it, byte for byte."""

import itertools
import re
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import Refused
from drivers.protocols.allowed import GATES, LONGEST, check_greeting, check_set
from drivers.protocols.frames import frame
from drivers.protocols.template import parse


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


# Each command with the longest value that its makers' references know; one digit more is no command of theirs.
ASCII_LONGEST = {
    "AI": "0", "BC": "99", "BW": "2400", "FA": "00007038500", "FW": "2400", "GC": "1", "GT": "0020", "MD": "0C",
    "NB": "0001", "NR": "010", "NT": "0001", "PA": "01", "RA": "012", "RG": "0255", "SH": "00012", "SL": "0012",
    "SQ": "0100",
}  # fmt: skip


@pytest.mark.parametrize(("verb", "value"), ASCII_LONGEST.items())
def test_an_ascii_command_takes_its_longest_value_and_nothing_longer_or_other(verb: str, value: str) -> None:
    assert passes("ascii", f"{verb}{value};".encode())
    for other in (f"{value}0", f"{value[:-1]}x", f"{value[:-1]} ", f"{value[:-1]};TX"):
        assert not passes("ascii", f"{verb}{other};".encode()), other


@pytest.mark.parametrize("verb", sorted(ASCII_VERBS))
def test_an_ascii_question_is_bare_or_has_one_digit(verb: str) -> None:
    with_a_digit = verb in (
        "BC",
        "GT",
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
        "GC",
    )
    assert passes("ascii", f"{verb};".encode())
    assert passes("ascii", f"{verb}1;".encode()) == with_a_digit
    assert not passes("ascii", f"{verb}x;".encode())


# Command, and how many bytes of value it takes; the shortest and the longest of the makers' references.
BINARY_VALUES = {
    b"\x05": (4, 5, 6), b"\x06": (1, 2), b"\x11": (1,), b"\x14\x02": (2,), b"\x14\x03": (2,), b"\x16\x02": (1,),
    b"\x16\x12": (1,), b"\x16\x22": (1,), b"\x16\x40": (1,), b"\x16\x41": (1,), b"\x16\x48": (1,), b"\x16\x65": (1,),
    b"\x1a\x03": (1,), b"\x1a\x04": (1,),
}  # fmt: skip


@pytest.mark.parametrize("command", sorted(BINARY_ASKS | set(BINARY_VALUES)))
def test_an_addressed_command_takes_values_of_its_lengths_only(command: bytes) -> None:
    due = BINARY_VALUES.get(command, ()) + ((0,) if command in BINARY_ASKS else ())
    taken = [length for length in range(9) if passes("binary", frame(0x94, command + b"\x31" * length))]
    assert taken == sorted(due)


@pytest.mark.parametrize("address", [0x00, 0x01, 0xDF, 0xE0])
def test_only_a_receiver_is_spoken_to(address: int) -> None:
    """00 is everybody, E0 the controller itself."""
    assert passes("binary", frame(address, b"\x03")) == (address in (0x01, 0xDF))


LEVELS = ("PREAMP", "ATT", "AGC", "RF", "SQL")
FUNCTIONS = ("NB", "NB2", "NR", "ANF", "MN", "APF")


@pytest.mark.parametrize(
    "line",
    [
        "f", "m", "t", "l ?", "L ?", "u ?", "U ?", "F 12345678901", f"M {'W' * 20} 12345678901", "_", "\\chk_vfo",
        "\\dump_caps", "\\dump_state", "\\get_cache", "\\set_cache 12345678901", "L AGC -123456789.123456",
        *(f"l {level}" for level in (*LEVELS, "STRENGTH", "RAWSTR")), *(f"L {level} 1" for level in LEVELS),
        *(f"u {name}" for name in FUNCTIONS), *(f"U {name} {on}" for name in FUNCTIONS for on in (0, 1)),
    ],
)  # fmt: skip
def test_each_line_that_hamlib_is_asked_goes_through_with_and_without_its_vfo(line: str) -> None:
    assert passes("hamlib", f"{line}\n".encode())
    letter, blank, rest = line.partition(" ")
    if letter in set("fmtFMlLuU"):
        assert passes("hamlib", f"+{letter} currVFO{blank}{rest}\n".encode())


@pytest.mark.parametrize(
    "line",
    [
        "F 123456789012", f"M {'W' * 21} 0", "M USB 123456789012", "\\set_cache 123456789012", "L AGC 1234567890",
        "L AGC 1.1234567", "L AGC 1.", "L AGC .5", "L AGC 1x", "U NB 9", "U NB x", "U NB", "a", "x", "T ?", "g ?",
        *(f"L {name} 1" for name in ("STRENGTH", "RAWSTR", "MICGAIN", "KEYSPD", "RFPOWER", "COMP", "AF")),
        *(f"{letter} NB 1" for letter in "lLu"), "u VOX", "F", "M USB",
    ],
)  # fmt: skip
def test_a_neighbour_of_what_hamlib_is_asked_does_not_go_through(line: str) -> None:
    assert not passes("hamlib", f"{line}\n".encode())


SCPI_HERTZ = (
    "FREQ", "FREQuency", "FREQ:CW", "FREQ:FIX", "FREQ:FIXed", "FREQ:CENT", "FREQ:CENTer", "BAND", "BANDwidth",
    "BAND:RES", "BAND:RESolution",
)  # fmt: skip
SCPI_OTHERS = (
    "DEM", "DEModulation", "DET", "DETector", "DET:FUNC", "DET:FUNCtion", "GCON", "GCONtrol", "GCON:MODE", "POW:ATT",
    "POWer:ATTenuation", "POW:ATT:AUTO", "INP:ATT", "INPut:ATTenuation", "INP:ATT:STAT", "INP:ATT:STATe",
    "INP:ATT:AUTO", "INP:GAIN", "INP:GAIN:STAT", "INP:GAIN:STATe", "INP:PRE", "INP:PREamp", "OUTP:SQU",
    "OUTPut:SQUelch", "OUTP:SQU:STAT", "OUTP:SQU:STATe", "OUTP:SQU:THR", "OUTP:SQU:THReshold",
)  # fmt: skip


@pytest.mark.parametrize("unit", (*SCPI_HERTZ, *SCPI_OTHERS))
def test_each_scpi_unit_is_asked_and_set_in_short_and_in_long_form(unit: str) -> None:
    """IEEE 488.2 and SCPI 1999, volume 1, section 6.2.1: a short and a long form, in capitals or not, and no other."""
    ahead = ("", ":") if unit.startswith(("INP", "OUTP")) else ("", ":", "SENS:", ":SENSe:")
    for said in (each + unit for each in ahead):
        assert passes("scpi", f"{said}?\n".encode()), said
        assert passes("scpi", f"{said} 1\n".encode()), said
        assert passes("scpi", f"{said.lower()} WORD\n".encode()) == (unit in SCPI_OTHERS), said
        assert not passes("scpi", f"{said}~?\n".encode())
        assert not passes("scpi", f"{said} 1 1\n".encode())


@pytest.mark.parametrize(
    "line",
    [
        "*IDN?", "*OPC?", "*ESR?", "*STB?", "*OPT?", "SYST:ERR?", "SYSTem:ERRor:NEXT?", "DATA?", "SENSe:DATA?",
        f'DATA? "{"A" * 32}"', "FETC?", "FETCh?", "READ?", "MEAS?", "MEASure?", f"READ{(':' + 'A' * 16) * 4}?",
        f'FUNC "{"A" * 32}"', 'SENS:FUNCtion:ON "POW:AC"',
    ],
)  # fmt: skip
def test_each_scpi_question_goes_through(line: str) -> None:
    assert passes("scpi", f"{line}\n".encode())


@pytest.mark.parametrize(
    "line",
    [
        "*TST?", "*SAV?", "SYST:PTT?", f'DATA? "{"A" * 33}"', 'DATA? "1"', f"READ:{'A' * 17}?",
        f"READ{':A' * 5}?", f'FUNC "{"A" * 33}"', 'FUNC "1"', "READ:1?", "*CLS 1", "*IDN? 1",
    ],
)  # fmt: skip
def test_a_neighbour_of_a_scpi_unit_does_not_go_through(line: str) -> None:
    assert not passes("scpi", f"{line}\n".encode())


@pytest.mark.parametrize(
    ("family", "greeting", "allowed"),
    [
        ("ascii", "AI0;", True), ("ascii", "AI1;", False), ("ascii", "TX;", False), ("ascii", "FA;", False),
        ("scpi", "*CLS", True), ("scpi", "*RST", False), ("binary", "AI0;", False), ("binary", "*CLS", False),
    ],
)  # fmt: skip
def test_only_what_harms_nobody_is_said_before_it_is_known_who_listens(
    family: str, greeting: str, allowed: bool
) -> None:
    template = (
        parse(greeting.encode().hex(" "), binary=True)
        if family == "binary"
        else parse(greeting, binary=False)
    )
    if allowed:
        check_greeting(family, template)
    else:
        with pytest.raises(ValueError, match="before it is known who listens"):
            check_greeting(family, template)


def test_every_family_that_a_driver_speaks_has_its_gate() -> None:
    assert set(GATES) == {"hamlib", "ascii", "binary", "scpi", "samples", "samples and bias tee"}


@pytest.mark.parametrize(
    ("message", "shown"), [(b"TX;", "'TX;'"), (b"\xe9\xff;", "E9 FF 3B"), (b"A\x07;", "41 07 3B")]
)
def test_a_refusal_shows_letters_as_letters_and_anything_else_by_its_bytes(
    message: bytes, shown: str
) -> None:
    with pytest.raises(Refused) as refused:
        GATES["ascii"](message)
    assert shown in refused.value.what


def test_a_command_of_one_byte_may_have_a_value_behind_it() -> None:
    check_set("binary", parse("05 {hz:bcd-low-5}", binary=True))
    with pytest.raises((ValueError, Refused)):
        check_set("binary", parse("{mode:1} 01", binary=True))


MAY_ASK_A_SERVER_OF_SAMPLES = {
    1: (1, 3_000_000_000), 2: (8_000, 20_000_000), 3: (0, 1), 4: (-500, 2_000), 5: (-1_000, 1_000), 8: (0, 1),
    9: (0, 2),
}  # fmt: skip
"""Written down a second time: frequency and rate in hertz, gain by hand or not, tenths of a decibel, parts
in a million, the converter's own gain control, which input of the converter."""


def to_samples(code: int, value: int) -> bytes:
    return bytes([code]) + (value % 2**32).to_bytes(4, "big")


def test_a_server_of_samples_is_told_its_list_within_limits_and_no_more() -> None:
    """Among the others: a tuner's stages one by one, test mode, a crystal's frequency, a voltage on the feed line."""
    for code in range(256):
        low, high = MAY_ASK_A_SERVER_OF_SAMPLES.get(code, (1, 0))
        for value in (low, high, low - 1, high + 1, 1000, 2**31):
            may = low <= value <= high
            assert passes("samples", to_samples(code, value)) == may, (code, value)
            feed_line = code == 14 and value in (0, 1)
            assert passes("samples and bias tee", to_samples(code, value)) == (may or feed_line), (
                code,
                value,
            )


@pytest.mark.parametrize(
    "message", [b"", b"\x01", b"\x01\0\0\0", b"\x01\0\x0f\x42\x40\0", b"\x0e\0\0\0", b"\x0e\0\0\0\1\0"]
)
def test_a_command_to_a_server_of_samples_has_five_bytes(message: bytes) -> None:
    assert passes("samples", to_samples(1, 1_000_000))
    assert not passes("samples", message) and not passes("samples and bias tee", message)
