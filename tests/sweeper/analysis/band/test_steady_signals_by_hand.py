"""Carriers on noise channels by what visits scattered, written down: how sure, and held against whom."""

from dataclasses import replace

import polars as pl
import pytest

from sweeper.analysis.band.steady_signals import (
    carrier_over_noise_db,
    of_band,
    steady_signals,
    without_steady,
)
from sweeper.analysis.meter.slope import PATHS
from tests.sweeper.analysis.summaries import facts

METER = replace(facts().meter, averaging_s=0.02, step_db=0.1)
HERE = ("40 m", 20, 7_000_000)


def visits(
    level_db: float, scatter: float, count: int = 4000, place: tuple[str, int, int] | None = None,
    path: str = "antenna_bypass", **more: object,
) -> dict[str, object]:  # fmt: skip
    """One night's visits to a place through one path: their level, and their squared scatter over that of noise."""
    band, hour, hz = place or (f"at {level_db:g}", 3, 3_000_000)
    row: dict[str, object] = {"band": band, "hour_utc": hour, "hz": hz, "for": "noise", "passes": 4, "step_db": 0.1,
                              "bandwidth_hz": 2400}  # fmt: skip
    for each in PATHS:
        row |= {f"level_{each}": None, f"scatter_{each}": None, f"scatter_visits_{each}": 0}
    return (
        row | {f"level_{path}": level_db, f"scatter_{path}": scatter, f"scatter_visits_{path}": count} | more
    )


def found(*rows: dict[str, object], **meter: object) -> dict[tuple[str, int, int], float]:
    return steady_signals(pl.DataFrame(list(rows), infer_schema_length=None), replace(METER, **meter))


SUSPECT = visits(-80.0, 0.6, place=HERE)
BELOW, ABOVE = visits(-84.0, 1.0), visits(-76.0, 1.0)


def test_what_scatters_less_than_others_below_and_above_holds_a_carrier() -> None:
    assert found(SUSPECT, BELOW, ABOVE) == {HERE: pytest.approx(carrier_over_noise_db(0.6))}
    for witnesses in (
        (BELOW,),
        (ABOVE,),
        (BELOW, visits(-73.9, 1.0)),
        (visits(-86.1, 1.0), ABOVE),
        (BELOW, BELOW),
    ):
        assert found(SUSPECT, *witnesses) == {}
    assert found(SUSPECT, visits(-84.0, 1.0, path="load_stage"), visits(-76.0, 1.0, path="load_bypass")) != {}
    assert found(visits(-80.0, 0.6, place=HERE, path="load_bypass"), BELOW, ABOVE) == {}
    assert found(visits(-80.0, 0.6, place=HERE, path="antenna_stage"), BELOW, ABOVE) != {}


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_what_stands_half_a_decibel_beside_it_speaks_for_its_own_side_alone(side: float) -> None:
    other = BELOW if side < 0.0 else ABOVE
    assert found(SUSPECT, visits(-80.0 + side * 0.5, 1.0), other) == {}
    assert found(SUSPECT, visits(-80.0 - side * 0.5, 1.0), other) != {}


@pytest.mark.parametrize(("scatter", "told"), [(0.74, False), (0.76, True), (1.24, True), (1.26, False)])
def test_others_count_that_are_like_noise_within_a_quarter(scatter: float, told: bool) -> None:
    assert bool(found(SUSPECT, BELOW, visits(-76.0, scatter))) == told


@pytest.mark.parametrize(("bent", "told"), [(5900, True), (6100, False)])
def test_two_fifths_of_what_stands_there_must_be_like_noise(bent: int, told: bool) -> None:
    assert bool(found(SUSPECT, BELOW, ABOVE, visits(-77.0, 0.4, bent))) == told
    assert bool(found(SUSPECT, BELOW, ABOVE, visits(-83.0, 0.4, bent))) == told


@pytest.mark.parametrize(("count", "told"), [(15, False), (16, True)])
def test_sixteen_visits_are_the_fewest_here_and_on_either_side(count: int, told: bool) -> None:
    faint = visits(-80.0, 0.3, place=HERE)
    assert bool(found(visits(-80.0, 0.3, count, HERE), BELOW, ABOVE)) == told
    assert bool(found(faint, visits(-84.0, 1.0, count), ABOVE)) == told
    assert bool(found(faint, BELOW, visits(-76.0, 1.0, count))) == told


@pytest.mark.parametrize(("count", "told"), [(16, False), (18, True)])
def test_a_place_has_to_scatter_less_by_four_and_a_half_standard_errors(count: int, told: bool) -> None:
    """Each visit's squared scatter has a variance of 0.35: √(0.35/16) · 0.6 · 4.5 is 0.399 of the 0.4 that lack."""
    assert bool(found(visits(-80.0, 0.6 if told else 0.605, count, HERE), BELOW, ABOVE)) == told


@pytest.mark.parametrize("spoilt", [{"passes": 0}, {"for": "carrier"}, {"step_db": 9.0}])
def test_what_was_not_measured_or_too_coarsely_says_nothing(spoilt: dict[str, object]) -> None:
    assert found(SUSPECT | spoilt, BELOW, ABOVE) == {}
    assert found(SUSPECT, BELOW | spoilt, ABOVE) == {}


def test_a_meter_whose_step_is_not_known_counts_as_fine() -> None:
    """In 48 kHz noise scatters by 0.14 dB, of which a step of half a decibel would leave too little."""
    wide = {"bandwidth_hz": 48_000}
    for step_db, told in ((None, True), (0.2, True), (0.5, False)):
        rows = [row | wide | {"step_db": step_db} for row in (SUSPECT, BELOW, ABOVE)]
        assert bool(found(*rows)) == told


@pytest.mark.parametrize(("strays", "told"), [(0.05, True), (0.35, False)])
def test_nights_that_stray_by_themselves_make_a_place_unsure(strays: float, told: bool) -> None:
    """Two nights of 2000 visits each, so far above and below their mean: as unsure as that, not as white noise is."""
    nights = [visits(-80.0, 0.6 * (1.0 + side * strays), 2000, HERE) for side in (-1.0, 1.0)]
    assert bool(found(*nights, BELOW, ABOVE)) == told


def test_without_the_averaging_time_the_usual_scatter_of_all_places_is_noise() -> None:
    """All scatter three times as far as told; the suspect as little as six tenths of that."""
    tripled = [visits(level_db, 3.0) for level_db in (-84.0, -76.0, -70.0)]
    suspect = visits(-80.0, 1.8, place=HERE)
    assert found(suspect, *tripled, averaging_s=None) == {HERE: pytest.approx(carrier_over_noise_db(0.6))}
    assert found(suspect, *tripled) == {}


def test_a_bands_own_are_told_by_hour_and_frequency_and_left_out() -> None:
    held = {HERE: 3.0, ("20 m", 4, 14_000_000): 5.0}
    assert of_band(held, "40 m") == {(20, 7_000_000): 3.0}
    other = SUSPECT | {"hour_utc": 21}
    carrier = SUSPECT | {"for": "carrier"}
    rows = pl.DataFrame([SUSPECT, other, carrier], infer_schema_length=None)
    assert without_steady(rows, held).rows() == rows[1:].rows()
    assert without_steady(rows, {}) is rows
