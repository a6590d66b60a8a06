"""Messages with holes: what is sent comes back, and nothing else is taken for it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.protocols.template import parse


def test_packed_decimal_goes_lowest_pair_first() -> None:
    # 14.225000 MHz as 00 50 22 14 00: the example most makers print beside their command tables (from memory)
    template = parse("05 {hz:bcd-low-5}", binary=True)
    assert template.encode({"hz": 14_225_000}) == bytes.fromhex("05 00 50 22 14 00")


def test_text_frequencies_are_padded_to_their_width() -> None:
    # FA00014195000; for 14.195 MHz: the example in the command references of the semicolon family (from memory)
    assert parse("FA{hz:11};", binary=False).encode({"hz": 14_195_000}) == b"FA00014195000;"


@given(st.integers(0, 10**11 - 1))
def test_a_frequency_comes_back_as_it_was_sent_in_text(hz: int) -> None:
    template = parse("FA{hz:11};", binary=False)
    assert template.decode(template.encode({"hz": hz})) == {"hz": hz}


@given(st.integers(0, 10**10 - 1))
def test_a_frequency_comes_back_as_it_was_sent_in_packed_decimal(hz: int) -> None:
    template = parse("05 {hz:bcd-low-5}", binary=True)
    assert template.decode(template.encode({"hz": hz})) == {"hz": hz}


@given(st.integers(0, 9999), st.sampled_from(["00", "01", "2F", "99"]))
def test_a_meter_and_a_symbol_share_a_frame(raw: int, symbol: str) -> None:
    template = parse("15 02 {raw:bcd-high-2} {mode:1}", binary=True)
    assert template.decode(template.encode({"raw": raw, "mode": symbol})) == {"raw": raw, "mode": symbol}


@given(st.integers(0, 9999))
def test_a_width_in_tens_of_hertz_is_hertz_to_everybody_else(tens: int) -> None:
    template = parse("BW{hz/10:4};", binary=False)
    assert template.encode({"hz": tens * 10}) == b"BW%04d;" % tens
    assert template.decode(b"BW%04d;" % tens) == {"hz": tens * 10}


@given(st.binary(max_size=40))
def test_random_bytes_are_either_of_the_shape_or_not(noise: bytes) -> None:
    for text, binary in (
        ("FA{hz:11};", False),
        ("IF{_:26}{on:1}{_:8};", False),
        ("{hz:number}", False),
        ("{maker:word},{model:word}", False),
        ("03 {hz:bcd-low-5}", True),
        ("04 {mode:1} {width:1}", True),
    ):
        values = parse(text, binary=binary).decode(noise)
        assert values is None or all(isinstance(value, int | float | str) for value in values.values())


@pytest.mark.parametrize(
    ("value", "why"),
    [(100_000_000_000, "digits"), (-1, "digits")],
)
def test_a_frequency_that_does_not_fit_is_never_sent_cut_short(value: int, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        parse("FA{hz:11};", binary=False).encode({"hz": value})


@pytest.mark.parametrize("symbol", ["1;TX", "TX;", "1\n", "é"])
def test_a_symbol_cannot_carry_a_second_command(symbol: str) -> None:
    with pytest.raises(ValueError):
        parse("MD{mode:word};", binary=False).encode({"mode": symbol})


@pytest.mark.parametrize("symbol", ["FD", "FE", "FC", "FA"])
def test_a_symbol_cannot_end_a_frame(symbol: str) -> None:
    with pytest.raises(ValueError, match="frame"):
        parse("06 {mode:1}", binary=True).encode({"mode": symbol})


@pytest.mark.parametrize(
    ("text", "binary"),
    [
        ("FA{hz};", False),
        ("FA{hz:0};", False),
        ("FA{hz:11}{hz:11};", False),
        ("FA{hz:bcd-low-5};", False),
        ("FA\t;", False),
        ("zz", True),
        ("03 {hz:5}", True),
        ("03 {raw:number}", True),
        ("", False),
    ],
)
def test_a_template_that_makes_no_sense_is_refused(text: str, binary: bool) -> None:
    with pytest.raises(ValueError):
        parse(text, binary=binary)


@pytest.mark.parametrize(
    ("text", "binary", "values", "message"),
    [
        ("F {hz:number};", False, {"hz": 7_038_500}, b"F 7038500;"),
        ("F {hz/10:number};", False, {"hz": 7_038_500}, b"F 703850;"),
        ("F {hz/1000:6};", False, {"hz": 7_038_500}, b"F 007038;"),  # half a unit goes to the even one
        ("M {mode:word};", False, {"mode": "USB-D"}, b"M USB-D;"),
        ("M{mode:1}{on:2};", False, {"mode": "A", "on": "01"}, b"MA01;"),
        ("05 {hz:bcd-high-3}", True, {"hz": 123_456}, b"\x05\x12\x34\x56"),
        ("05 {hz/10:bcd-low-2} 01", True, {"hz": 12_340}, b"\x05\x34\x12\x01"),
        ("06 {mode:2}", True, {"mode": "00F9"}, b"\x06\x00\xf9"),
        ("Q", False, {}, b"Q"),
    ],
)
def test_a_message_is_built_and_read_field_by_field(
    text: str, binary: bool, values: dict[str, int | str], message: bytes
) -> None:
    template = parse(text, binary=binary)
    assert template.encode(values) == message
    rounded = {"hz": 7_038_000} if "1000" in text else values
    assert template.decode(message) == rounded
    assert template.decode(message + b"0") is None or "number" in text
    assert template.decode(b"x" + message) is None
    assert template.decode(message[:-1]) is None


@pytest.mark.parametrize(
    ("said", "hz"),
    [
        (b"F 7038500.5;", 7_038_500.5), (b"F  +7.0385E+6 ;", 7_038_500.0), (b"F -.5;", -0.5), (b"F 1e-1;", 0.1),
        (b"F 1.;", 1.0), (b"F .;", None), (b"F 1E100;", None), (b"F 1e;", None), (b"F 1,5;", None), (b"F ;", None),
        (b"F " + b"1" * 18 + b";", float("1" * 18)), (b"F " + b"1" * 19 + b";", None),
        (b"F ." + b"1" * 18 + b";", float("." + "1" * 18)), (b"F ." + b"1" * 19 + b";", None),
    ],
)  # fmt: skip
def test_a_number_as_long_as_it_comes_is_one_that_receivers_write(said: bytes, hz: float | None) -> None:
    found = parse("F {hz:number};", binary=False).decode(said)
    assert found == (None if hz is None else {"hz": pytest.approx(hz)})


@pytest.mark.parametrize(
    ("said", "word"),
    [(b"M USB;", "USB"), (b"M A.b/c#;", "A.b/c#"), (b"M ;", None), (b"M A,B;", None), (b"M A B;", None),
     (b"M " + b"x" * 64 + b";", "x" * 64), (b"M " + b"x" * 65 + b";", None), (b"M \x7f;", None), (b"M ~!;", "~!")],
)  # fmt: skip
def test_a_word_ends_at_a_blank_a_comma_or_a_semicolon(said: bytes, word: str | None) -> None:
    assert parse("M {mode:word};", binary=False).decode(said) == (None if word is None else {"mode": word})


def test_packed_decimal_holds_no_other_digits() -> None:
    template = parse("05 {hz:bcd-low-1}", binary=True)
    taken = [byte for byte in range(256) if template.decode(bytes((5, byte))) is not None]
    assert taken == [16 * tens + ones for tens in range(10) for ones in range(10)]


def test_what_may_be_anything_is_read_over_and_never_sent() -> None:
    template = parse("IF{_:3}{on:1};", binary=False)
    assert template.decode(b"IF\n\x00;1;") == {"on": "1"}
    assert [field.name for field in template.fields] == ["_", "on"] and template.head == b"IF"
    assert parse("{on:1};", binary=False).head == b""
    with pytest.raises(ValueError, match="nobody knows"):
        template.encode({"_": "abc", "on": "1"})


@pytest.mark.parametrize(
    ("text", "binary", "values", "why"),
    [
        ("FA{hz:3};", False, {"hz": 1000}, "3 digits"), ("FA{hz:3};", False, {"hz": "x"}, "could not convert"),
        ("FA{hz:3};", False, {"hz": None}, "no number for hz"), ("FA{hz:3};", False, {"hz": float("inf")}, "no number"),
        ("05 {hz:bcd-low-2}", True, {"hz": 10_000}, "4 digits"), ("05 {hz:bcd-low-2}", True, {"hz": -1}, "4 digits"),
        ("MD{mode:1};", False, {"mode": "10"}, "does not fill"), ("MD{mode:2};", False, {"mode": "1"}, "does not fill"),
        ("06 {mode:1}", True, {"mode": "0000"}, "does not fill"),
        ("MD {mode:word};", False, {"mode": "x" * 65}, "more"),
        ("MD {mode:word};", False, {"mode": ""}, "more"), ("MD {mode:word};", False, {"mode": "a b"}, "more"),
    ],
)  # fmt: skip
def test_a_value_that_does_not_fit_is_told(
    text: str, binary: bool, values: dict[str, str | int], why: str
) -> None:
    with pytest.raises(ValueError, match=why):
        parse(text, binary=binary).encode(values)


@pytest.mark.parametrize(
    ("text", "binary", "why"),
    [
        ("x" * 257, False, "256 characters"), ("{raw:65}", False, "between 1 and 64"), ("{raw:0}", False, "between 1"),
        ("{hz/0:4}", False, "one or more"), ("FA{hz;", False, "no field"), ("FAhz};", False, "no field"),
        ("FA{HZ:4};", False, "no field"), ("{a:1}" * 2, False, "twice"), ("", True, "says nothing"),
        ("1", True, "not hexadecimal"), ("FÄ", False, "not printable ASCII"), ("A\n", False, "not printable"),
        ("05 {hz:11}", True, "needs bcd"), ("05 {raw:2}", True, "needs bcd"), ("05 {mode:word}", True, "no kind"),
        ("05 {hz:bcd-low-9}", True, "no kind"), ("05 {hz:bcd-low-0}", True, "no kind"),
        ("05 {hz:bcd-low-5-}", True, "no kind"), ("05 {hz:xbcd-low-5}", True, "no kind"),
        ("F{hz:bcd-high-2};", False, "no kind"), ("F{hz:number}", False, ""), ("F{hz:number}x", False, "any length"),
        ("F{hz:number}{on:1}", False, "any length"), ("F{on:word}:", False, "any length"),
        ("".join(f"{{{chr(97 + n)}:1}}" for n in range(17)), False, "16 fields"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_template_is_told(text: str, binary: bool, why: str) -> None:
    if not why:
        parse(text, binary=binary)
        return
    with pytest.raises(ValueError, match=why):
        parse(text, binary=binary)


def test_templates_up_to_their_bounds_are_taken() -> None:
    for text in (
        "x" * 256,
        "{raw:64}",
        "".join(f"{{{chr(97 + n)}:1}}" for n in range(16)),
        "{_:1}{_:2}",
        "{hz/1:1}",
    ):
        parse(text, binary=False)
    for end in (" ", ",", ";"):
        parse(f"F{{hz:number}}{end}", binary=False)
    assert parse("05 {hz:bcd-high-8}", binary=True).encode({"hz": 1}) == b"\x05" + bytes(7) + b"\x01"


@pytest.mark.parametrize(("unit", "is_hole"), [("1000000", True), ("10000000", False)])
def test_a_unit_has_seven_digits_at_most(unit: str, is_hole: bool) -> None:
    text = f"FA{{hz/{unit}:11}};"
    if is_hole:
        assert parse(text, binary=False).encode({"hz": 7_000_000}) == b"FA00000000007;"
    else:
        with pytest.raises(ValueError):
            parse(text, binary=False)
