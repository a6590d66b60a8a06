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
