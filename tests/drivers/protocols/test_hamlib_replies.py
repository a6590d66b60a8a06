"""What hamlib's replies mean, value by value. Forms as rigctld 4.5.4 sends them; numbers from hamlib's headers."""

from collections.abc import Callable

import pytest

from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused, RigError, Unsupported
from drivers.protocols import hamlib

SAID = {
    "get_freq": (), "set_freq": ("7038500",), "get_mode": (), "set_mode": ("USB", "2400"),
    "get_level": ("STRENGTH",), "set_level": ("AGC", "3"), "get_func": ("NB",), "set_func": ("NB", "0"),
    "get_ptt": (), "get_info": (), "dump_caps": (), "get_cache": (), "set_cache": ("0",), "dump_state": (),
}  # fmt: skip


@pytest.mark.parametrize(
    ("command", "line", "with_vfo"),
    [
        ("get_freq", "f", "f currVFO"), ("set_freq", "F 7038500", "F currVFO 7038500"),
        ("get_mode", "m", "m currVFO"), ("set_mode", "M USB 2400", "M currVFO USB 2400"),
        ("get_level", "l STRENGTH", "l currVFO STRENGTH"), ("set_level", "L AGC 3", "L currVFO AGC 3"),
        ("get_func", "u NB", "u currVFO NB"), ("set_func", "U NB 0", "U currVFO NB 0"), ("get_ptt", "t", "t currVFO"),
        ("get_info", "_", "_"), ("dump_caps", "\\dump_caps", "\\dump_caps"),
        ("get_cache", "\\get_cache", "\\get_cache"), ("set_cache", "\\set_cache 0", "\\set_cache 0"),
        ("dump_state", "\\dump_state", "\\dump_state"),
    ],
)  # fmt: skip
def test_each_command_goes_out_as_rigctld_names_it(command: str, line: str, with_vfo: str) -> None:
    """rigctld(1), section COMMANDS: one letter each, or the long name behind a backslash."""
    asked = hamlib.call(command, *SAID[command], parse=hamlib.nothing)
    assert asked.request == f"+{line}\n".encode()
    named = hamlib.call(command, *SAID[command], parse=hamlib.nothing, vfo="currVFO")
    assert named.request == f"+{with_vfo}\n".encode()
    assert set(hamlib.COMMANDS) == set(SAID)


@pytest.mark.parametrize(
    ("number", "kind"),
    [
        (1, Refused), (2, Refused), (4, Unsupported), (5, LinkTimeout), (6, LinkLost), (8, BadReply), (9, Refused),
        (11, Unsupported), (12, Refused), (13, BadReply), (14, BadReply), (16, Refused), (17, Refused),
        (20, Refused), (3, Refused),
    ],
)  # fmt: skip
def test_each_error_number_is_told_with_the_command_that_met_it(number: int, kind: type[RigError]) -> None:
    """hamlib, enum rig_errcode_e (rig.h of 4.5): EINVAL 1 … ETRUNC 10, ENAVAIL 11 … EDOM 17, EPOWER 20."""
    told = hamlib.error("set_freq 1", b"-%d" % number)
    assert type(told) is kind and f"(hamlib error {number})" in str(told) and "set_freq 1" in str(told)
    assert (": refused (" in str(told)) == (number == 3)  # which the table does not name


def test_a_positive_number_is_a_refusal_and_no_number_is_garbage() -> None:
    assert type(hamlib.error("l AGC", b"1")) is Refused and "answer 1" in str(hamlib.error("l AGC", b"1"))
    assert "hamlib error" not in str(hamlib.error("l AGC", b"1"))
    for code in (b"", b"x", b"\xff", b"1 2"):
        assert type(hamlib.error("l AGC", code)) is BadReply


@pytest.mark.parametrize(
    ("received", "told"),
    [
        (b"0\n", False), (b"1\n", True), (b"ChkVFO: 1\n", True), (b"CHKVFO 0\r\n", False), (b"CHKVFO 1\n", True),
        (b"1\nRPRT 0\n", True), (b"RPRT -11\n", False), (b"RPRT 1\r\n", False), (b"1", None), (b"", None),
    ],
)  # fmt: skip
def test_whether_a_vfo_is_named_is_read_from_every_form_of_the_answer(
    received: bytes, told: bool | None
) -> None:
    assert hamlib.read_check_vfo(received) is told


@pytest.mark.parametrize("received", [b"2\n", b"x 1\n", b"1 \n", b"1\nRPRT -1\n", b"11\n", b"RPRT -1234\n"])
def test_what_is_no_answer_of_rigctld_is_told(received: bytes) -> None:
    with pytest.raises(BadReply, match="no answer of rigctld"):
        hamlib.read_check_vfo(received)


@pytest.mark.parametrize(
    ("received", "told"),
    [
        (b"get_freq:\nFrequency: 7\nRPRT 0\n", True), (b"get_freq:\nRPRT -11\n", True), (b"get_freq:\n", None),
        (b"get_freq:\nFrequency: 7\n", None), (b"7038500\n", False), (b"RPRT -4\n", False), (b"-1.5\r\n", False),
        (b"7038500", None), (b"RPRT 1\r\n", False),
    ],
)  # fmt: skip
def test_a_server_that_knows_the_extended_form_answers_in_it(received: bytes, told: bool | None) -> None:
    assert hamlib.extended_reader("get_freq")(received) is told


@pytest.mark.parametrize(
    "received", [b"get_mode:\nRPRT 0\n", b"what?\n", b"RPRT\n", b"123456789012345678901\n"]
)
def test_what_is_in_neither_form_is_garbage(received: bytes) -> None:
    with pytest.raises(BadReply, match="asked for get_freq"):
        hamlib.extended_reader("get_freq")(received)


@pytest.mark.parametrize(
    ("received", "word"),
    [
        (b"what? set_level\n", "what?"), (b"Unknown command\nmore\n", "Unknown"), (b"\n", ""), (b"RPRT -4\n", ""),
        (b"RPRT -11\r\n", ""), (b"7038500\n", ""), (b"caf\xe9 !\n", "caf\xe9"), (b"what?", None), (b"", None),
    ],
)  # fmt: skip
def test_a_server_of_the_plain_form_turns_a_line_down_with_a_word_of_its_own(
    received: bytes, word: str | None
) -> None:
    assert hamlib.unknown_word(received) == word


@pytest.mark.parametrize("received", [b"RPRT -1\n7038500\n", b"RPRT -1\r\n0.5\r\nRPRT -1\r\n"])
def test_a_server_that_answers_letters_of_a_word_one_by_one_is_told_nothing_more(received: bytes) -> None:
    """One of the letters in the name of a level keys a transmitter."""
    with pytest.raises(Refused, match="letter by letter"):
        hamlib.unknown_word(received)


def test_two_questions_in_the_extended_form_the_cheaper_first() -> None:
    assert hamlib.EXTENDED == (("dump_state", b"+\\dump_state\n"), ("get_freq", b"+f\n"))
    assert hamlib.CHECK_VFO == b"\\chk_vfo\n"


FREQ, MODE = b"get_freq:\nFrequency: 7038500\nRPRT 0\n", b"get_mode:\nMode: USB\nPassband: 2400\nRPRT 0\n"
BOTH = hamlib.both(hamlib.call("get_freq", parse=hamlib.hz), hamlib.call("get_mode", parse=hamlib.mode))


def test_two_calls_in_one_round_trip_are_told_apart_wherever_the_wire_cuts() -> None:
    assert BOTH.request == b"+f\n+m\n"
    whole = FREQ + MODE
    for cut in range(len(whole)):
        assert BOTH.read(whole[:cut]) is None, cut
    assert BOTH.read(whole) == (7_038_500, ("USB", 2400))


def test_an_error_of_either_call_is_the_error() -> None:
    with pytest.raises(Unsupported, match="get_freq"):
        BOTH.read(b"get_freq:\nRPRT -11\n" + MODE)
    with pytest.raises(LinkTimeout, match="get_mode"):
        BOTH.read(FREQ + b"get_mode:\nRPRT -5\n")
    with pytest.raises(BadReply):
        BOTH.read(FREQ + FREQ)


def test_bytes_that_are_no_text_and_lines_behind_the_end_are_garbage() -> None:
    ask = hamlib.call("get_freq", parse=hamlib.hz)
    with pytest.raises(BadReply, match="no text"):
        ask.read(b"get_freq:\nFrequency: \xff\nRPRT 0\n")
    with pytest.raises(BadReply, match="more than one"):
        ask.read(b"get_freq:\nRPRT -11\nx\n")
    with pytest.raises(BadReply, match="more than one"):
        ask.read(b"get_freq:\nRPRT -11\nx")
    assert ask.read(b"get_freq:\nRPRT -1") is None
    assert ask.read(b"get_freq:\nRPRT") is None


@pytest.mark.parametrize(
    ("parse", "lines", "meant"),
    [
        (hamlib.hz, ["Frequency: 7038500.6"], 7_038_501), (hamlib.mode, ["Mode: USB", "Passband: 2400"], ("USB", 2400)),
        (hamlib.mode, ["Mode: CW", "Passband: 0"], ("CW", None)), (hamlib.level, ["0.5"], 0.5),
        (hamlib.level, ["Level Value: 0.5"], 0.5), (hamlib.strength, ["-54"], -54.0), (hamlib.flag(), ["0"], False),
        (hamlib.flag(), ["2"], True), (hamlib.flag(), ["PTT: 1"], True), (hamlib.flag("PTT"), ["PTT: 0"], False),
        (hamlib.flag("PTT"), ["x: 0", "PTT: 3"], True), (hamlib.cache_ms, ["Timeout (msecs): 500"], 500.0),
        (hamlib.info, ["Info: None"], "None"), (hamlib.model, ["Mfg name: Ham", "Model name: Dummy"], "Ham Dummy"),
        (hamlib.ptt_type, ["0", "ptt_type=0x1"], 1), (hamlib.ptt_type, ["ptt_type=0x1f"], 31),
        (hamlib.ptt_type, ["ptt_type=0xz", "x"], None), (hamlib.ptt_type, [], None), (hamlib.nothing, [], True),
        (hamlib.nothing, ["1"], False), (hamlib.names, ["AGC NB", " ANF"], {"AGC", "NB", "ANF"}),
    ],
)  # fmt: skip
def test_a_reply_is_turned_into_its_value(
    parse: Callable[[hamlib.Lines], object], lines: list[str], meant: object
) -> None:
    assert parse(lines) == meant


@pytest.mark.parametrize(
    ("parse", "lines"),
    [
        (hamlib.hz, []), (hamlib.hz, ["7038500"]), (hamlib.hz, ["Frequency: x"]), (hamlib.level, []),
        (hamlib.mode, ["Mode: U B", "Passband: 1"]), (hamlib.mode, ["Mode: ", "Passband: 1"]),
        (hamlib.mode, ["Mode: USB"]), (hamlib.level, ["a-b: 1"]), (hamlib.level, [": 1"]),
        (hamlib.strength, ["1001"]), (hamlib.strength, ["-1001"]),
    ],
)  # fmt: skip
def test_a_reply_without_its_value_is_garbage(
    parse: Callable[[hamlib.Lines], object], lines: list[str]
) -> None:
    with pytest.raises(BadReply):
        parse(lines)


@pytest.mark.parametrize("text", ["1e15", "-1e15", "nan", "inf", "1_0", ""])
def test_no_receiver_has_such_a_number(text: str) -> None:
    with pytest.raises(BadReply):
        hamlib.number(text)
    assert hamlib.number("999999999999999") == 999_999_999_999_999.0
    assert hamlib.number("-999999999999999") == -999_999_999_999_999.0


@pytest.mark.parametrize(
    ("value", "said"),
    [(1, "1"), (0.5, "0.5"), (100, "100"), (1e-7, "0"), (0.1234567, "0.123457"), ("3", "3"), (-2.50, "-2.5")],
)
def test_numbers_go_out_without_exponent_or_trailing_noughts(value: object, said: str) -> None:
    assert hamlib.decimal(value) == said
    for no_number in ("x", None, 10**400):
        with pytest.raises(Refused, match="no number"):
            hamlib.decimal(no_number)


def test_ranges_are_read_up_to_the_second_row_of_noughts_and_no_further() -> None:
    def row(start: object, end: object) -> str:
        return f"{start} {end} 0x1 -1 -1 0x3 0x1"

    end = "0 0 0 0 0 0 0"
    head = ["1", "2", row(5, 6)]  # whatever stands in the first three lines
    lines = [
        *head,
        row(30_000.0, 500_000.0),
        row(9, 9),
        row(20, 10),
        row(0, 70),
        end,
        row(1, 2),
        end,
        row(3, 4),
    ]
    assert hamlib.ranges_hz(lines) == ([(30_000, 500_000), (0, 70)], [(1, 2)])
    assert hamlib.ranges_hz([*head, row(1, 2), "0x1 1", row(3, 4)]) == ([(1, 2)], [])
    assert hamlib.span_hz([(30, 50), (10, 20), (40, 90)]) == (10, 90)
    assert hamlib.span_hz([]) is None
