"""What is meant for relays is read as a receiver would read it. What rigctld does with it is tried in `whole`."""

import pytest

from drivers.config_files import board_names, dialect_file
from drivers.errors import Refused
from drivers.protocols import keying
from drivers.protocols.modbus import Modbus, coils_only
from drivers.protocols.relay_bytes import load


@pytest.mark.parametrize("name", board_names())
def test_the_boards_that_come_with_the_program_are_not_refused(name: str) -> None:
    assert load(dialect_file(f"boards/{name}")).relays


@pytest.mark.parametrize(
    "requests",
    [
        [b"AT+CH1=1\r\n", b"AT+CH1=0\r\n"],
        [b"relay on 0\r", b"relay off 0\r"],
        [b"@CLOSE 1\r", b"@OPEN 1\r"],
        [b"\xa0\x01\x01\xa2", b"\xa0\x01\x00\xa1"],
        [b"ROUT:CLOS (@101)\n", b"ROUT:OPEN (@101)\n"],
        [b":FE050000FF00FE\r\n"],
        [b"SK1\r", b"RK1\r"],
        [b"\x01\x05\x00\x04\x00\x00\x8c\x0b", b"\x01\x05\x00\x03\xff\x00\x7c\x3a"],
    ],
)
def test_usual_boards_are_not_refused(requests: list[bytes]) -> None:
    assert keying.in_table(requests, text=requests[0].isascii()) == ""


@pytest.mark.parametrize(
    "requests",
    [
        [b"T 1\n", b"T 0\n"],
        [b"fT1\n", b"f\n"],
        [b"T", b"1\n"],
        [b"xT ", b" +1\n"],
        [b"\x05T 1\n"],
        [b"+M USB 0 T 1\n"],
        [b"\\set_ptt 1\n"],
        [b"\\", b"set_ptt 1\n"],
        [b"b CQ\n"],
        [b"\x94 1\n"],
        [b"T VFOA 1\n"],
        [b"+G TUNE\n"],
        [b"U TUNER 1\n"],
        [b"U VOX 1\n"],
        [b"L RFPOWER 1\n"],
        [b'{"a":T 1}\n'],
        [b"R T 1\n"],
        [b"w TX;\n"],
        [b"TX;", b"RX;"],
        [b"T", b"X", b";"],
        [b";TX", b";"],
        [b"KY CQ;"],
        [b"a;zztx1;"],
        [b"SWT16;"],
        [b"\xfe\xfe\x94\xe0\x1c\x00\x01\xfd"],
        [b"\xfe\xfe", b"\x94\xe0\x1c\x00\x01", b"\xfd"],
        [b"OUTP ON\n", b"OUTP OFF\n"],
        [b"OU", b"TP ON\n"],
        [b"SOUR:POW 10\n", b"x\n"],
        [b"one\ntwo\n"],
        [b"SYST:PTT 1\n"],
    ],
)
def test_a_table_that_could_key_a_receiver_is_refused_whatever_order_it_is_sent_in(
    requests: list[bytes],
) -> None:
    assert keying.in_table(requests, text=True)
    assert keying.in_table(requests[::-1], text=True)


def test_coils_whose_numbers_spell_a_command_are_refused() -> None:
    request, _ = Modbus("rtu", 1, "board").read_coils(0x5431, 2)  # T1
    with pytest.raises(Refused, match="other coils"):
        coils_only(request)


@pytest.mark.parametrize("unit", [1, 2, 16, 247])
def test_usual_coils_are_not_refused(unit: int) -> None:
    for framing in ("tcp", "rtu"):
        board = Modbus(framing, unit, "board")  # type: ignore[arg-type]
        for coil in range(32):
            coils_only(board.read_coils(coil, 8)[0])
            for on in (True, False):
                coils_only(board.write_coil(coil, on)[0])


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("shack/ptt/set", "ptt"),
        ("rig/set_ptt", "ptt"),
        ("radio/TX", "tx"),
        ("relays/1/set", ""),
        ("fixture/text", ""),
    ],
)
def test_a_name_that_means_a_transmitter_is_found(name: str, word: str) -> None:
    assert keying.in_names(name) == word
