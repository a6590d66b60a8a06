"""Dialect files: mistakes are found with their line, and no file can key a transmitter."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.config_files import dialect_names
from drivers.errors import BadReply, Refused
from drivers.protocols import allowed
from drivers.protocols.calls import asking, setting
from drivers.protocols.dialect import Dialect, DialectError, parse
from drivers.protocols.template import parse as template
from drivers.receivers.dialect import load

DIALECTS = {name: load(name) for name in dialect_names()}
GOOD = """\
receiver: Saltmarsh tin ear
reference: invented for this test
family: ascii
range_hz: [30000, 30000000]
refusals: ["?;"]
frequency: {ask: "FA;", reply: "FA{hz:11};", set: "FA{hz:11};"}
mode: {ask: "MD;", reply: "MD{mode:1};", set: "MD{mode:1};", values: {USB: "2"}}
meter:
  ask: "SM0;"
  reply: "SM0{raw:4};"
  unit: dB-over-S9
  table: [[0, -54], [15, 0], [30, 60]]
transmit: {ask: "IF;", reply: "IF{_:26}{on:1}{_:8};", expect: {on: "0"}}
"""


def mistakes(old: str, new: str) -> str:
    assert old in GOOD
    with pytest.raises(DialectError) as caught:
        parse(GOOD.replace(old, new), "mine.yaml")
    return str(caught.value)


def test_a_receiver_is_a_dozen_lines() -> None:
    assert parse(GOOD, "mine.yaml").receiver == "Saltmarsh tin ear"


@pytest.mark.parametrize(
    ("old", "new", "line", "key"),
    [
        ('ask: "SM0;"', 'ask: "TX;"', 9, "meter.ask"),
        ("[15, 0]", "[15, -60]", 12, "meter.table"),
        ('set: "MD{mode:1};"', 'set: "TX{mode:1};"', 7, "mode.set"),
        ('FA{hz:11};", set', 'FA{hz:eleven};", set', 6, "frequency.reply"),
        ("unit: dB-over-S9", "unit: loudness", 11, "meter.unit"),
        ("meter:", "speedometer: 3\nmeter:", 8, "speedometer"),
    ],
)
def test_a_mistake_is_told_with_its_line_and_key(old: str, new: str, line: int, key: str) -> None:
    told = mistakes(old, new)
    assert f"line {line}:" in told
    assert key in told
    assert "mine.yaml" in told


def test_all_mistakes_are_told_at_once() -> None:
    told = mistakes("unit: dB-over-S9", "unit: loudness\n  colour: red")
    assert "line 11" in told and "line 12" in told


def test_broken_yaml_is_told_with_its_line() -> None:
    assert "line 8" in mistakes('values: {USB: "2"}}', 'values: {USB: "2"}')


@pytest.mark.parametrize("name", dialect_names())
def test_the_dialects_that_come_with_the_program_cite_their_reference(name: str) -> None:
    dialect = load(name)
    assert len(dialect.reference) > 20
    assert dialect.meter.unit in ("dB-over-S9", "dBm")


def families() -> dict[str, list[Dialect]]:
    by_family: dict[str, list[Dialect]] = {}
    for dialect in DIALECTS.values():
        by_family.setdefault(dialect.family, []).append(dialect)
    return by_family


@pytest.mark.parametrize("family", ["ascii", "binary"])
def test_three_receivers_of_a_family_differ_in_commands_or_meter(family: str) -> None:
    dialects = families()[family]
    assert len(dialects) >= 3
    assert len({dialect.meter.table for dialect in dialects}) == len(dialects)


KEYING = {
    # transmit, query of the tune state, keyer text, tuner, VOX, transmit VFO, power, emulated switches, menus
    "ascii": "TX; TX0; TX1; TQ1; KY_CQ; AC111; VX1; FT1; PC100; SWT16; SWH16; MN023; PB1; UP; RX; VOX; FA;TX; ID;TX;",
    # transmit, tuner, CW text, power off and on, VOX, break-in, voice memory, menu, split, memory clear, two frames
    "binary": "1C0001 1C0102 174351 1800 1801 164601 164701 280001 1A0500 0F01 0B FDFEFE94E01C0001",
    "scpi": "OUTP_ON OUTP:STAT_ON SOUR:FREQ_7E6 *RST *TRG TX:STAT_ON POW:LEV_10"
    " FREQ_7E6;OUTP_ON SYST:PTT_ON :OUTPUT1:STATE_1",
}


@pytest.mark.parametrize(
    ("family", "message"), [(family, each) for family, all_ in KEYING.items() for each in all_.split()]
)
def test_no_dialect_can_say_what_keys_a_transmitter(family: str, message: str) -> None:
    said = template(message.replace("_", " "), binary=family == "binary")
    with pytest.raises(ValueError):
        allowed.check_ask(family, said)
    with pytest.raises(ValueError):
        allowed.check_set(family, said)


@pytest.mark.parametrize(
    "text", ["{mode:2};", "T{mode:1};", "{mode:word}", "FA{hz:11};T{mode:1};", "FA;{mode:3}"]
)
def test_a_field_cannot_stand_where_the_verb_is(text: str) -> None:
    with pytest.raises(ValueError):
        allowed.check_set("ascii", template(text, binary=False))


@pytest.mark.parametrize("text", ["1C {mode:1}", "1C 00 {mode:1}", "{mode:1}", "{mode:2}", "05 FD {mode:1}"])
def test_a_field_cannot_complete_a_binary_command(text: str) -> None:
    with pytest.raises(ValueError):
        allowed.check_set("binary", template(text, binary=True))


def test_the_transmit_state_may_be_read() -> None:
    allowed.check_ask("binary", template("1C 00", binary=True))
    allowed.check_ask("ascii", template("IF;", binary=False))


@pytest.mark.parametrize("name", dialect_names())
def test_the_meters_table_is_straight_between_its_points_and_stops_at_its_ends(name: str) -> None:
    meter = load(name).meter
    for (x0, y0), (x1, y1) in zip(meter.table, meter.table[1:], strict=False):
        assert meter.level(x0) == pytest.approx(y0)
        assert meter.level((x0 + x1) / 2) == pytest.approx((y0 + y1) / 2)
    if meter.table:
        assert meter.level(meter.table[0][0] - 5) == meter.table[0][1]
        assert meter.level(meter.table[-1][0] + 5) == meter.table[-1][1]


@pytest.mark.parametrize("name", dialect_names())
def test_every_request_of_every_dialect_is_on_the_allow_list(name: str) -> None:
    dialect = load(name)
    for control in (dialect.frequency, dialect.mode, *dialect.settings.values()):
        allowed.check_ask(dialect.family, control.ask)
        if control.set is not None:
            allowed.check_set(dialect.family, control.set)


def test_a_setting_is_sent_with_its_question_so_that_a_refusal_shows() -> None:
    dialect = load("ts480")
    call = setting(dialect, dialect.frequency, {"hz": 7_038_500}, 0)
    assert call.request == b"FA00007038500;FA;"
    assert call.read(b"FA00007038500;") == {"hz": 7_038_500}
    with pytest.raises(Refused):
        call.read(b"?;")


def test_messages_that_nobody_asked_for_are_passed_over() -> None:
    dialect = load("ts480")
    unasked = b"IF00007038500     +00000000000200000  ;"
    assert asking(dialect, dialect.meter, 0).read(unasked + b"SM00009;") == {"raw": 9}


def test_a_garbled_answer_is_not_a_reading() -> None:
    dialect = load("ts480")
    with pytest.raises(BadReply):
        asking(dialect, dialect.meter, 0).read(b"SM00x09;")


@pytest.mark.parametrize("name", dialect_names())
@given(noise=st.binary(max_size=120))
def test_random_bytes_raise_nothing_but_rig_errors(name: str, noise: bytes) -> None:
    dialect = DIALECTS[name]
    for query in (dialect.frequency, dialect.mode, dialect.meter):
        with contextlib.suppress(BadReply, Refused):
            asking(dialect, query, dialect.address or 0).read(noise)
            asking(dialect, query, dialect.address or 0).read(noise + b";\xfd\n")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("receiver: Saltmarsh tin ear", "receiver: \x00"),
        ("receiver: Saltmarsh tin ear", "receiver: " + "[" * 800),
        ("receiver: Saltmarsh tin ear", "receiver: " + "{a: " * 40 + "1" + "}" * 40),
        ("receiver: Saltmarsh tin ear", "? [a, b]\n: c"),
        ("receiver: Saltmarsh tin ear", "receiver: 2026-13-01"),
        ("receiver: Saltmarsh tin ear", "receiver: " + "x" * 300_000),
        ("[30000, 30000000]", f"[{'9' * 400}, 1]"),
        ("[15, 0]", f"[{'9' * 400}, 0]"),
        ("[15, 0]", "[15, .inf]"),
        ("[30, 60]", "[1000000000000, 60]"),
        ('FA{hz:11};", set', f'FA{{hz/{"9" * 400}:11}};", set'),
        ("SM0{raw:4};", "{a:word}{b:word}{raw:4};"),
        ("SM0{raw:4};", "{raw:number}{b:word};"),
        ("SM0{raw:4};", "SM0{raw:4};" * 40),
        ('refusals: ["?;"]', 'refusals: ["?;"]\ngreeting: ["FREQ T 1"]'),
        ('refusals: ["?;"]', 'refusals: ["?;"]\ngreeting: ["FA00007038500;"]'),
        ('refusals: ["?;"]', 'refusals: ["\\ud800"]'),
        ('values: {USB: "2"}', 'values: {USB: "2;TX"}'),
        ('values: {USB: "2"}', 'values: {USB: "X"}'),
    ],
)
def test_a_hostile_file_is_told_and_nothing_else_is_raised(old: str, new: str) -> None:
    assert "mine.yaml" in mistakes(old, new)


def test_aliases_of_aliases_are_not_followed_to_the_end() -> None:
    bomb = "a: &a [1,1,1,1,1,1,1,1,1]\n"
    for before, name in zip("abcdefgh", "bcdefghi", strict=True):
        bomb += f"{name}: &{name} [{', '.join([f'*{before}'] * 9)}]\n"
    with pytest.raises(DialectError, match="more, or deeper"):
        parse(bomb + GOOD, "mine.yaml")


@pytest.mark.parametrize(("family", "greeting"), [("ascii", "AI0;"), ("scpi", "*CLS")])
def test_a_greeting_is_one_of_few(family: str, greeting: str) -> None:
    allowed.check_greeting(family, template(greeting, binary=False))


@pytest.mark.parametrize(
    "greeting", ["03", "05 0A 54 20 31 0A", "05 3B 54 58 3B", "05 54 20 31 20 00", "1C 00 01"]
)
def test_no_frame_goes_out_before_somebody_has_answered(greeting: str) -> None:
    with pytest.raises(ValueError, match="greeting"):
        allowed.check_greeting("binary", template(greeting, binary=True))
