"""The floor of a meter from visits whose readings are written down one by one."""

from dataclasses import replace

import polars as pl
import pytest

from sweeper.analysis.facts import MeterFacts, StationFacts
from sweeper.analysis.meter.floor import floor_of, with_floor

METER = MeterFacts("dB-over-S9", False, 0.4, None, None, 0.02, "rms")
FACTS = StationFacts("Saltmarsh", 0.0, 0.0, "rural", (), METER, None, None, None, 1.0, 0.95, "one")
LOW, MOVES = (-50.0,) * 8, (-50.0, -49.6, -49.2, -48.8, -49.6, -49.2, -49.6, -49.2)
HIGHER = tuple(value + 4.0 for value in MOVES)


def readings(*visits: tuple[float, ...], purpose: str = "noise", bandwidth_hz: int = 2400) -> pl.DataFrame:
    """Rows of visits, each in a pass of its own."""
    rows = [
        {
            "pass": number, "band": "40 m", "hz": 7_000_000, "source": "load", "route": "bypass", "for": purpose,
            "bandwidth_hz": bandwidth_hz, "reading": value,
        }
        for number, visit in enumerate(visits) for value in visit
    ]  # fmt: skip
    return pl.DataFrame(rows, schema_overrides={"reading": pl.Float64})


def of_meter(**more: object) -> StationFacts:
    return replace(FACTS, meter=replace(METER, **more))  # type: ignore[arg-type]


@pytest.mark.parametrize(("resting", "found"), [(2, None), (3, -50.0)])
def test_three_visits_that_stand_still_at_the_lowest_value_are_a_floor(
    resting: int, found: float | None
) -> None:
    assert floor_of(readings(*[LOW] * resting, HIGHER, HIGHER), FACTS) == found


@pytest.mark.parametrize(("touching", "found"), [(12, -50.0), (17, None)])
def test_they_are_a_fifth_of_those_that_touch_it_or_it_is_none(touching: int, found: float | None) -> None:
    """Three of fifteen are a fifth."""
    assert floor_of(readings(*[LOW] * 3, *[MOVES] * (touching - 1)), FACTS) == found


def test_a_meter_whose_step_nobody_knows_rests_nowhere_by_chance() -> None:
    """Three of twelve visits of four readings; on steps of a decibel a tenth of all would rest by chance."""
    visits = readings(*[LOW[:4]] * 3, *[MOVES[:4]] * 9)
    assert floor_of(visits, of_meter(step_db=None)) == floor_of(visits, FACTS) == -50.0
    assert floor_of(visits, of_meter(step_db=1.0)) is None


def test_visits_that_rest_higher_up_and_visits_of_carriers_are_no_floor() -> None:
    higher = tuple(value + 4.0 for value in LOW)
    assert floor_of(readings(*[higher] * 5, MOVES), FACTS) is None
    assert floor_of(readings(*[LOW] * 5, HIGHER, purpose="carrier"), FACTS) is None


def test_visits_of_few_readings_and_readings_that_are_none_do_not_count() -> None:
    assert floor_of(readings(*[LOW[:3]] * 5, HIGHER), FACTS) is None
    assert floor_of(readings(*[LOW[:4]] * 5, HIGHER), FACTS) == -50.0
    assert floor_of(readings(*[(*LOW, float("-inf"))] * 5, HIGHER), FACTS) is None  # the lowest is no number
    assert floor_of(readings(LOW).clear(), FACTS) is None


@pytest.mark.parametrize(("unit", "value", "found"), [("dB-over-S9", -54.0, -54.0), ("dB-over-S9", -60.0, -60.0),
                                                     ("dB-over-S9", -53.0, None), ("dBm", -54.0, None)])  # fmt: skip
def test_on_a_meter_of_coarse_steps_only_the_usual_floors_are_believed(
    unit: str, value: float, found: float | None
) -> None:
    still = (value,) * 8
    assert floor_of(readings(*[still] * 4, HIGHER), of_meter(unit=unit, step_db=6.0)) == found


def test_how_often_noise_rests_by_chance_follows_from_step_bandwidth_and_averaging() -> None:
    """A step as wide as four standard deviations holds 95 % of single readings, so eight in 69 %: no floor."""
    visits = [LOW] * 4 + [MOVES] * 3
    assert floor_of(readings(*visits), of_meter(step_db=2.5)) is None  # σ of 48 samples is 0.63 dB
    assert floor_of(readings(*visits), of_meter(step_db=1.2)) == -50.0
    assert floor_of(readings(*visits, bandwidth_hz=240), of_meter(step_db=2.5)) == -50.0  # σ is 2 dB
    assert floor_of(readings(*visits), of_meter(step_db=1.2, averaging_s=2.0)) is None  # σ is 0.06 dB
    assert (
        floor_of(readings(*visits), of_meter(step_db=0.6, averaging_s=None)) == -50.0
    )  # σ is taken for 0.3 dB
    assert floor_of(readings(*visits), of_meter(step_db=1.4, averaging_s=None)) is None
    assert floor_of(readings(*visits), of_meter(step_db=None)) == -50.0


def test_a_floor_that_the_file_tells_is_not_looked_for() -> None:
    told = of_meter(floor=-48.0)
    assert with_floor(told, readings(*[LOW] * 4)) is told
    assert with_floor(FACTS, readings(*[LOW] * 4, HIGHER)).meter.floor == -50.0
    assert with_floor(FACTS, readings(HIGHER)) is FACTS
