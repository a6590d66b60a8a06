"""External noise against Recommendation ITU-R P.372 and the reference program of ITU-R Study Group 3."""

import math

import pytest

from sweeper.analysis.physics.atmospheric import atmospheric
from sweeper.analysis.physics.external_noise import Component, combined, expected, galactic, man_made
from sweeper.analysis.physics.radiometer import thermal_dbm

CITY_AT_1_MHZ = Component(76.8, 11.0, 6.7)
GALACTIC_AT_1_MHZ = Component(52.0, 2.0, 2.0)


@pytest.mark.parametrize(
    ("environment", "median_db"), [("residential", 44.8), ("rural", 39.5), ("quiet-rural", 25.0)]
)
def test_man_made_noise_at_10_mhz(environment, median_db):
    """ITU-R P.372: c − d·log₁₀(f/MHz) with (72.5, 27.7), (67.2, 27.7), (53.6, 28.6)."""
    assert man_made(10e6, environment).median_db == pytest.approx(median_db, abs=0.05)


def test_city_noise_is_the_category_constant_at_1_mhz():
    """ITU-R P.372, Table 1 and Table 2."""
    assert man_made(1e6, "city") == CITY_AT_1_MHZ


def test_galactic_noise_at_10_mhz():
    """ITU-R P.372: 52 − 23·log₁₀(f/MHz)."""
    assert galactic(10e6).median_db == pytest.approx(29.0)


def test_deciles_of_man_made_noise_in_time():
    """ITU-R P.372, Table 2: city 11.0/6.7, residential 10.6/5.3, rural 9.2/4.6 dB."""
    seen = [man_made(10e6, name) for name in ("city", "residential", "rural")]
    assert [(part.upper_db, part.lower_db) for part in seen] == [(11.0, 6.7), (10.6, 5.3), (9.2, 4.6)]


def test_power_from_noise_figure():
    """ITU-R P.372 §2: Pn = Fa + 10·log₁₀ b − 204 dBW, so 39.5 dB in 2400 Hz are −130.7 dBW, −100.7 dBm."""
    assert 39.5 + thermal_dbm(2400) == pytest.approx(39.5 + 33.802 - 204 + 30, abs=0.03)


@pytest.mark.parametrize(
    ("atmosphere", "total"),
    [
        (Component(60.733, 10.601, 8.278), Component(76.987, 10.940, 6.574)),
        (Component(81.713, 9.772, 9.466), Component(82.931, 9.228, 9.015)),
        (Component(90.545, 9.772, 9.466), Component(90.717, 9.598, 9.403)),
        (Component(58.573, 9.772, 9.466), Component(76.889, 10.971, 6.595)),
    ],
)
def test_causes_together_as_the_reference_program_adds_them(atmosphere, total):
    """Outputs FaA, DuA, DlA and FamT, DuT, DlT of the P.372 program 14.2 of ITU-R Study Group 3, city noise, 1 MHz."""
    found = combined([atmosphere, CITY_AT_1_MHZ, GALACTIC_AT_1_MHZ])
    assert found.median_db == pytest.approx(total.median_db, abs=0.002)
    assert found.upper_db == pytest.approx(total.upper_db, abs=0.002)
    assert found.lower_db == pytest.approx(total.lower_db, abs=0.002)


def test_a_wide_part_adds_no_less_than_its_median():
    """The same program gives 67.4 dB where atmospheric deciles are beyond 12 dB: the power sum of the medians."""
    parts = [Component(67.2, 9.2, 4.6), Component(52.0, 2.0, 2.0), Component(47.1, 19.0, 15.8)]
    assert combined(parts).median_db == pytest.approx(67.4, abs=0.05)
    powers = sum(10 ** (part.median_db / 10) for part in parts)
    assert combined(parts).median_db == pytest.approx(10 * math.log10(powers), abs=0.001)


@pytest.mark.parametrize(("decile_db", "limited"), [(12.1, True), (11.9, False)])
def test_the_spread_of_the_sum_is_limited_from_twelve_decibels_on(decile_db, limited):
    """Equation 25 holds where a decile deviation exceeds 12 dB: then the median is the power sum of the medians."""
    found = combined([Component(60.0, 3.0, 3.0), Component(60.0, decile_db, decile_db)]).median_db
    assert (found == pytest.approx(63.01, abs=0.005)) == limited


@pytest.mark.parametrize("upper_db", [2.0, 5.0, 9.0, 11.9, 12.1, 20.0])
@pytest.mark.parametrize("lower_db", [2.0, 11.9, 16.0])
@pytest.mark.parametrize("below_db", [0.0, 6.0, 15.0, 30.0])
def test_no_sum_lies_below_its_greatest_part(upper_db, lower_db, below_db):
    """A sum of powers is never less than any of them, so its median is not less than any median."""
    parts = [GALACTIC_AT_1_MHZ, Component(52.0 - below_db, upper_db, lower_db)]
    assert combined(parts).median_db >= 52.0 - 1e-9
    assert combined([CITY_AT_1_MHZ, *parts]).median_db >= 76.8 - 1e-9


@pytest.mark.parametrize(
    ("month", "longitude", "median_db", "upper_db", "lower_db"),
    [
        (7, -180.0, 69.971, 9.772, 9.466),
        (7, -135.0, 62.386, 9.772, 9.466),
        (7, -105.0, 81.713, 9.772, 9.466),
        (7, -90.0, 90.545, 9.772, 9.466),
        (7, -45.0, 58.573, 9.772, 9.466),
        (7, 0.0, 66.627, 9.772, 9.466),
        (7, 15.0, 72.663, 9.772, 9.466),
        (1, 165.0, 60.733, 10.601, 8.278),
    ],
)
def test_atmospheric_noise_of_the_optional_library(month, longitude, median_db, upper_db, lower_db):
    """The same program's FaA, DuA and DlA at 40° N, 1 MHz, local mean time 0 to 4 h."""
    hour_utc = (1 - longitude / 15) % 24
    found = atmospheric(1_000_000, 40.0, longitude, month, hour_utc)
    assert found.median_db == pytest.approx(median_db, abs=0.002)
    assert found.upper_db == pytest.approx(upper_db, abs=0.002)
    assert found.lower_db == pytest.approx(lower_db, abs=0.002)


def test_the_expectation_is_never_below_its_loudest_part():
    for hz in (150_000, 1_000_000, 7_100_000, 14_100_000, 28_500_000):
        whole = expected(hz, "rural")
        assert whole.total.median_db >= whole.man_made.median_db - 0.5
        assert (whole.galactic is None) == (hz < 10_000_000)
