"""What is made of P.372: which parts arrive, how far places stray, fa from a rise, and the sentence of it."""

import math

import numpy as np
import pytest

from sweeper.analysis.physics.external_noise import (
    LOCATION_DECILES_DB,
    MAN_MADE,
    TIME_DECILES_DB,
    Component,
    combined,
    expected,
    fa_from_rise_db,
    galactic,
    standing,
)

STORMS = Component(60.0, 9.0, 7.0)


def test_galactic_noise_strays_by_two_decibels_either_way() -> None:
    """ITU-R P.372: galactic noise varies by ±2 dB."""
    assert galactic(20e6) == Component(pytest.approx(52.0 - 23.0 * math.log10(20)), 2.0, 2.0)


@pytest.mark.parametrize(
    ("hz", "storms", "sky", "whole"),
    [
        (1e6, None, False, False),
        (9.99e6, None, False, False),
        (10e6, None, True, True),
        (1e6, STORMS, False, True),
    ],
)
def test_which_parts_arrive_and_whether_one_is_missing(
    hz: float, storms: Component | None, sky: bool, whole: bool
) -> None:
    found = expected(hz, "rural", storms)
    assert (found.galactic is not None, found.whole, found.atmospheric) == (sky, whole, storms)
    parts = [part for part in (found.man_made, found.galactic, storms) if part is not None]
    assert found.total == combined(parts)


def test_the_parts_are_named_in_their_order() -> None:
    assert expected(1e6, "rural").causes == "man-made"
    assert expected(20e6, "rural").causes == "man-made and galactic"
    assert expected(20e6, "rural", STORMS).causes == "man-made, galactic and atmospheric"


@pytest.mark.parametrize("environment", sorted(MAN_MADE))
def test_places_of_a_kind_stray_with_the_man_made_part_alone(environment) -> None:
    """ITU-R P.372, Table 2: variation with location; at 5 MHz nothing but man-made noise is known to arrive."""
    found = expected(5e6, environment)
    assert found.place_upper_db == pytest.approx(LOCATION_DECILES_DB[environment])
    assert found.place_lower_db == pytest.approx(LOCATION_DECILES_DB[environment])
    assert (found.man_made.upper_db, found.man_made.lower_db) == TIME_DECILES_DB[environment]


def test_what_the_sky_brings_holds_quiet_places_up() -> None:
    found = expected(30e6, "quiet-rural")
    assert 0.0 < found.place_lower_db < found.place_upper_db < 2.0 < LOCATION_DECILES_DB["quiet-rural"]
    town, sky = found.man_made, found.galactic
    assert sky is not None
    louder = combined([Component(town.median_db + 6.8, town.upper_db, town.lower_db), sky]).median_db
    assert found.place_upper_db == pytest.approx(louder - found.total.median_db)


def test_deciles_of_each_kind_of_place_are_the_tables() -> None:
    """ITU-R P.372, Table 2 (locations from memory); quiet rural has none and takes rural's."""
    assert LOCATION_DECILES_DB == {"city": 8.4, "residential": 5.8, "rural": 6.8, "quiet-rural": 6.8}
    assert TIME_DECILES_DB["quiet-rural"] == TIME_DECILES_DB["rural"] == (9.2, 4.6)


def test_one_narrow_part_alone_is_itself() -> None:
    alone = combined([Component(40.0, 9.0, 5.0)])
    assert (alone.median_db, alone.upper_db, alone.lower_db) == pytest.approx((40.0, 9.0, 5.0))


def test_two_equal_parts_stray_less_than_one() -> None:
    """Fenton's sum of two log-normal powers, by its mean and variance, worked out step by step."""
    found = combined([Component(40.0, 5.0, 5.0)] * 2)
    sigma = 5.0 / 1.282 * math.log(10) / 10
    together = math.log(1 + (math.exp(sigma**2) - 1) / 2)
    median = 40.0 + 10 * math.log10(2) + 10 / math.log(10) * (sigma**2 - together) / 2
    assert found.median_db == pytest.approx(median)
    assert found.upper_db == found.lower_db == pytest.approx(10 / math.log(10) * 1.282 * math.sqrt(together))


def test_fa_is_the_receivers_noise_times_what_rose_and_one() -> None:
    """fa = fr·(y − 1) + 1 in powers: at 3.01 dB and a noise figure of 10 dB, 10·1 + 1."""
    found = fa_from_rise_db(np.array([10 * math.log10(2), 10.0, 0.0, -1.0]), 10.0)
    assert found[:2] == pytest.approx([10 * math.log10(11), 10 * math.log10(91)])
    assert np.isnan(found[2:]).all()


@pytest.mark.parametrize(
    ("over_db", "words"),
    [
        (
            13.0,
            "noise stands 13 dB above what P.372 expects here, which is more than nine tenths of such places",
        ),
        (
            11.9,
            "noise stands 12 dB above what P.372 expects here, more than nine tenths of the time would bring",
        ),
        (
            9.1,
            "noise stands 9 dB above what P.372 expects here, more than nine tenths of the time would bring",
        ),
        (8.9, "noise is within what P.372 expects here (+8.9 dB from its median)".replace("+8.9", "+9")),
        (-7.9, "noise is within what P.372 expects here (−8 dB from its median)"),
        (
            -8.1,
            "noise stands 8 dB below what P.372 expects here: a quiet place, or an antenna that takes in little",
        ),
    ],
)
def test_how_far_noise_stands_from_what_is_expected_is_said(over_db: float, words: str) -> None:
    assert standing(40.0 + over_db, 40.0, (9.0, 5.0), (12.0, 8.0)).startswith(words)
