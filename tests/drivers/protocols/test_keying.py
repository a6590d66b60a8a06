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


# What keys, from the command references of hamlib (rigctld's manual page and its source) and of the makers of receivers
# with semicolons, written down here a second time: each is looked for by itself.
@pytest.mark.parametrize(
    ("line", "told"),
    [
        *((f"T {word}", "set_ptt") for word in ("0", "1", "+1", "-1")),
        *((f"T {word}", "set_ptt") for word in ("VFOA", "currVFO", "Main", "sub", "MEM", "other", "none", "TX", "rx")),
        ("b CQ", "send_morse"),
        ("b\t~", "send_morse"),
        ("w TX;", "send_cmd"),
        ("w \\0x01", "send_cmd"),
        ("W TX; 0", "send_cmd_rx"),
        ("W TX\\0 0", "send_cmd_rx"),
        ("\\set_ptt", "a command by its long name"),
        ("\\Send", "a command by its long name"),
        *((f"\x89 {sign}", "send_dtmf") for sign in "09AD*#"),
        *((f"\x94 {sign}", "send_voice_mem") for sign in ("1", "+1", "-1")),
        *((line, "tuner, VOX or power") for line in ("G TUNE", "U TUNER 1", "U VOX 1", "U SBKIN 1", "U FBKIN 1")),
        ("L RFPOWER 1", "tuner, VOX or power"),
        ("GTUNE", "tuner, VOX or power"),
    ],
)  # fmt: skip
def test_each_of_hamlibs_commands_that_key_is_found_by_its_name(line: str, told: str) -> None:
    assert keying.in_words(line.encode("latin-1")) == told
    assert told in keying.in_text(line.encode("latin-1"))


@pytest.mark.parametrize("line", [b"T", b"T ", b"T +", b"T -"])
def test_a_command_that_breaks_off_keys_by_what_comes_next(line: bytes) -> None:
    assert keying.in_words(line) == "set_ptt"
    assert keying.in_words(line, (b"q",)) == ""
    assert keying.in_words(line, (b"q", b"1")) == "set_ptt"


def test_a_command_that_goes_on_in_the_next_request_keys_with_it() -> None:
    """``W01`` alone is nothing; with a semicolon from the request behind it hamlib sends it to the receiver."""
    assert keying.in_words(b"W01") == ""
    assert keying.in_words(b"W01", (b"0", b";")) == "send_cmd_rx"
    assert "send_cmd_rx" in keying.in_table([b"W01", b";"], text=False)


@pytest.mark.parametrize("before", sorted({*range(0x21, 0x100)} - set(b"ABCDEFGHIJKLMNOPRSUVXYZghlpuy24*")))
def test_only_hamlibs_commands_that_take_a_word_hide_what_stands_behind_them(before: int) -> None:
    """Whatever else comes first is passed over: ``fT1`` ends in set_ptt (tried on rigctld 4.5.4)."""
    assert keying.in_words(bytes([before]) + b"T1\n")


@pytest.mark.parametrize("taking", b"ABCDEFGHIJKLMNOPRSUVXYZghlpuy24*")
def test_what_a_command_takes_as_its_word_is_no_command(taking: int) -> None:
    assert keying.in_words(bytes([taking]) + b"T1") == ""


@pytest.mark.parametrize("verb", ["TX", "TQ", "KY", "MX", "VX", "PB", "AC", "BI", "SW", "MN", "UL", "ZZ"])
def test_each_command_that_keys_sends_tunes_or_presses_a_button_is_found_before_a_semicolon(
    verb: str,
) -> None:
    for said in (verb, verb.lower()):
        assert "keys it" in keying.in_text(f"H{said}1;")
        assert "keys them" in keying.in_table([f"H{said}".encode(), b";"], text=False)
        assert keying.in_text(f"H{said}1") == ""


@pytest.mark.parametrize("line", [b"?OUTP 1\n", b"?SOUR:POW 1\n", b"?PTT 1\n", b"?TX 1\n", b"?outp 1\n"])
def test_each_word_that_switches_an_instruments_output_is_found_in_a_line(line: bytes) -> None:
    assert "output or transmitter" in keying.in_table([line], text=True)


@pytest.mark.parametrize("word", ["ptt", "mox", "vox", "tx", "txon", "transmit", "cwkey", "atu", "tune"])
def test_each_word_for_a_transmitter_is_found_in_a_name(word: str) -> None:
    assert keying.in_names("relays/1", f"Shack/{word.upper()}_1") == word


@pytest.mark.parametrize(
    ("frame", "found"),
    [
        (b"\x01T1\x00", True), (b"\x01T \t\n\r\v\f+1", True), (b"\x01T-1", True), (b"\x01T\x001", False),
        (b"\x01b!~\n", True), (b"\x01b\n", False), (b"\x01\\abcd", True), (b"\x01\\abc", False),
        (b";TX;", True), (b";TX01;", True), (b";T;", False), (b"\xfe\xfe\n\xfd", True), (b"\xfe\x01\xfd", False),
    ],
)  # fmt: skip
def test_a_frame_of_modbus_holds_no_whole_command_of_another_family(frame: bytes, found: bool) -> None:
    assert bool(keying.in_frame(frame)) == found


def test_both_ends_of_a_frame_are_needed_to_be_read_as_one() -> None:
    assert "frames" in keying.in_text(b"\xfe\x01\xfd")
    assert "frame" in keying.in_table([b"\xfe\x01", b"\x01\xfd"], text=False)
    for one in (b"\xfe\x01", b"\x01\xfd"):
        assert keying.in_text(one) == keying.in_table([one], text=False) == ""


def test_a_frame_with_nothing_in_it_is_one_too() -> None:
    assert "frames" in keying.in_text(b"\xfe\xfd")
    assert "frame" in keying.in_table([b"\xfe", b"\xfd"], text=False)


@pytest.mark.parametrize("line", [b"G TUNE", b"U TUNER 1", b"L RFPOWER 1"])
def test_the_tail_of_a_longer_word_is_no_command(line: bytes) -> None:
    for before in (b"", b" ", b"1", b"_"):
        assert keying.in_words(before + line)
    for before in (b"A", b"Z", b"a", b"z"):
        assert keying.in_words(before + line) == ""


@pytest.mark.parametrize(
    ("requests", "text", "told"),
    [
        ([b"one\n", b"two"], True, "lines and pieces"), ([b"one", b"two"], True, ""), ([b"\n\x01"], False, ""),
        ([b"one\n", b"\n"], True, "lines and pieces"), ([b"one\r\n", b"two\r", b"six\n"], True, ""),
        ([b"OUTP\n"], True, "output or transmitter"), ([b"OUTP\n"], False, ""), ([b"OUTP"], True, ""),
        ([b"one\r", b"OUTP\r"], True, "output or transmitter"),
    ],
)  # fmt: skip
def test_only_a_table_of_lines_is_read_as_lines(requests: list[bytes], text: bool, told: str) -> None:
    found = keying.in_table(requests, text=text)
    assert (told in found) if told else found == ""


def test_a_word_that_takes_the_next_word_and_a_frame_without_a_command_are_told_as_they_are() -> None:
    assert keying.in_text("plain", b"words", "relay 1 on") == ""
    assert "set_ptt" in keying.in_text("plain", "T 1")
    assert keying.in_frame(b"\x01T1\x00") == "b'T1'" and keying.in_frame(b"\x01\x05") == ""
    assert keying.in_text("\udcffT 1".encode("utf-8", "surrogateescape").decode("latin-1"))


def test_a_verb_that_two_requests_spell_together_is_found() -> None:
    assert "keys them" in keying.in_table([b"AT", b"X2", b";"], text=False)
    assert "keys them" in keying.in_table([b"X2", b"AT", b";"], text=False)
    assert keying.in_table([b"AT", b"X2"], text=False) == ""
    assert keying.in_table([b"AT", b"Y", b";"], text=False) == ""


def test_the_first_mistake_in_the_order_of_danger_is_told() -> None:
    both = [b"T 1\n", b"TX;"]
    assert "a receiver behind hamlib would read set_ptt in b'T 1\\n'" in keying.in_table(both, text=True)
