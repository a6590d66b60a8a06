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
    [("every_hz", 0), ("kind", "hum"), ("lines", 1.5), ("on_load", 1), ("time", -1), ("pass", 1)],
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
