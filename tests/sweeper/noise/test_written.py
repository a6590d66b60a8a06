"""What passes showed comes back as it was written; what is torn or strange is left out."""

import json
from dataclasses import fields, replace

import pytest

from sweeper.noise.seen import Found, Heard
from sweeper.noise.written import heard_of, line_of


def heard(number: int, start_hz: float = 7.0e6) -> Heard:
    comb = Found("comb", 7.0e6, 7.2e6, 0.02, 0.002, -60.0, 65_000.0, 1.0, 10, 8.0)
    return Heard(1.7e9 + number, number, "40 m", start_hz, 7.2e6, -40.0, None, 0.0, True, (comb,))


def test_it_comes_back_in_order_of_time() -> None:
    every = [heard(1), heard(1, 7.1e6), heard(2)]
    assert heard_of([line_of(every[2:]), line_of(every[:2])]) == every


def test_a_line_of_before_a_comb_s_place_was_kept_still_counts() -> None:
    told = json.loads(line_of([heard(1)]))
    del told["tunings"][0]["found"][0]["first_hz"]
    assert heard_of([json.dumps(told)]) == [heard(1)]
    del told["tunings"][0]["found"][0]["over_db"]
    assert heard_of([json.dumps(told)]) == []


def test_a_torn_line_and_one_of_another_form_are_left_out() -> None:
    good = line_of([heard(1)])
    other = good.replace("sweeper-noise-1", "sweeper-noise-9")
    strange = [
        good[:-20],
        "",
        "[]",
        "7",
        '{"format": "sweeper-noise-1"}',
        other,
        good.replace('"band"', '"bend"'),
    ]
    assert heard_of(strange) == []
    assert heard_of([*strange, good]) == [heard(1)]


NO_NUMBERS = [10**400, float("nan"), float("inf"), -1e13, "x", None, [], {}, "\x1b[2J" * 1000]


@pytest.mark.parametrize("name", ["time", "pass_number", "start_hz", "noise_db", "receiver_se", "mains_read"])
def test_a_tuning_with_a_value_that_is_none_is_left_out(name: str) -> None:
    for value in NO_NUMBERS:
        told = json.loads(line_of([heard(1)]))
        told["tunings"][0][name] = value
        assert heard_of([json.dumps(told)]) == [], (name, value)


@pytest.mark.parametrize("name", [each.name for each in fields(Found)])
def test_a_kind_of_noise_with_a_value_that_is_none_is_left_out(name: str) -> None:
    for value in NO_NUMBERS:
        told = json.loads(line_of([heard(1)]))
        told["tunings"][0]["found"][0][name] = value
        assert heard_of([json.dumps(told)]) == [], (name, value)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("every_hz", 0),
        ("kind", "hum"),
        ("lines", 1.5),
        ("on_load", 1),
        ("time", -1),
        ("pass", 1),
        ("lines", True),
        ("share", True),
        ("on_load", None),
        ("kind", True),
        ("every_hz", 0.0009),
    ],
)
def test_what_no_pass_showed_is_left_out(name: str, value: object) -> None:
    told = json.loads(line_of([heard(1)]))
    tuning = told["tunings"][0]
    (tuning if name in ("time", "pass") else tuning["found"][0])[name] = value
    assert heard_of([json.dumps(told)]) == []


def test_a_line_that_was_written_twice_counts_once() -> None:
    assert len(heard_of([line_of([heard(1)])] * 2)) == 1


@pytest.mark.parametrize(("letters", "kept"), [(1000, True), (1001, False)])
def test_the_name_of_a_band_has_a_thousand_letters_at_most(letters: int, kept: bool) -> None:
    assert len(heard_of([line_of([replace(heard(1), band="x" * letters)])])) == kept


@pytest.mark.parametrize(
    ("name", "kept", "left_out"),
    [("time", 0.0, -0.001), ("time", 7.0e9, 7.0e9 + 1), ("pass_number", 1, 0), ("noise_db", -1e12, -1.1e12),
     ("noise_db", 1e12, 1.1e12), ("receiver", None, True), ("receiver", 0, "0"), ("pass_number", 2, 2.0),
     ("mains_read", False, 0), ("band", "", None)],
)  # fmt: skip
def test_values_are_kept_up_to_their_bounds(name: str, kept: object, left_out: object) -> None:
    """Times of 1970 to 2190; a pass of at least 1; numbers up to a million millions."""
    for value, count in ((kept, 1), (left_out, 0)):
        told = json.loads(line_of([heard(1)]))
        told["tunings"][0][name] = value
        assert len(heard_of([json.dumps(told)])) == count, value


def test_a_comb_has_a_spacing_of_a_thousandth_of_a_hertz_and_a_hump_needs_none() -> None:
    for kind, every_hz, count in (
        ("comb", 0.001, 1),
        ("mains", 0.0009, 0),
        ("hump", 0.0, 1),
        ("birdie", 0, 1),
    ):
        told = json.loads(line_of([heard(1)]))
        told["tunings"][0]["found"][0] |= {"kind": kind, "every_hz": every_hz}
        assert len(heard_of([json.dumps(told)])) == count, kind


@pytest.mark.parametrize(("kinds", "kept"), [(10_000, True), (10_001, False)])
def test_a_tuning_has_ten_thousand_kinds_of_noise_at_most(kinds: int, kept: bool) -> None:
    line = line_of([heard(1)])
    comb = json.dumps(json.loads(line)["tunings"][0]["found"][0])
    assert len(heard_of([line.replace(comb, ", ".join([comb] * kinds))])) == kept
    told = json.loads(line_of([heard(1)]))
    told["tunings"][0]["found"] = {}
    assert heard_of([json.dumps(told)]) == []


def test_tunings_of_one_time_come_in_the_order_of_frequency_and_the_latest_of_a_pass_counts() -> None:
    low, high = replace(heard(1), start_hz=6.0e6), replace(heard(1), start_hz=8.0e6)
    assert heard_of([line_of([high, low])]) == [low, high]
    anew = replace(low, noise_db=-50.0)
    assert heard_of([line_of([low]), line_of([anew])]) == [anew]
    assert len(heard_of([line_of([low, replace(low, band="80 m"), replace(low, pass_number=2)])])) == 3
