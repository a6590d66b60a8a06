"""The simulated surroundings behave like the ones that the tables describe."""

import math
from datetime import UTC, datetime

import pytest
from astral import Observer
from astral.sun import elevation

from sweeper.simulation.world.sky import Sky, night_of, sun_elevation_deg
from sweeper.simulation.world.town import Carrier, ManMade, at_hour


def fa_db(kelvin: float) -> float:
    return 10 * math.log10(kelvin / 290.0)


@pytest.mark.parametrize(
    ("category", "at_10_mhz_db"), [("residential", 44.8), ("rural", 39.5), ("quiet-rural", 25.0)]
)
def test_man_made_noise_in_the_median_is_that_of_its_category(category: str, at_10_mhz_db: float) -> None:
    # ITU-R P.372, man-made noise: c - d log10(f/MHz), worked out at 10 MHz.
    settlement = ManMade(1, category, 0.0, restless_db=0.0, wandering_db=0.0)
    assert fa_db(settlement.noise_k(10e6, 0.0)) == pytest.approx(at_10_mhz_db, abs=0.05)


def test_galactic_noise_at_10_mhz_stands_29_db_over_room_temperature() -> None:
    # ITU-R P.372: 52 - 23 log10(f/MHz).
    still = Sky(1, 56.0, 8.0, storms=0.0)
    assert fa_db(still.noise_k(10e6, 0.0)) == pytest.approx(29.0, abs=0.1)


@pytest.mark.parametrize("month", [1, 3, 6, 9, 12])
@pytest.mark.parametrize("hour", [0, 6, 9, 12, 17, 21])
def test_the_sun_stands_where_an_almanac_says(month: int, hour: int) -> None:
    # astral's solar position as the reference; its own refraction correction is at most half a degree.
    moment = datetime(2026, month, 15, hour, tzinfo=UTC)
    expected = elevation(Observer(56.2, 8.1), moment, with_refraction=False)
    # Our sun keeps mean time: the equation of time is up to 16 minutes, four degrees of hour angle.
    assert sun_elevation_deg(moment.timestamp(), 56.2, 8.1) == pytest.approx(expected, abs=2.5)


def test_storms_are_heard_by_night_on_low_bands_and_hardly_by_day() -> None:
    sky = Sky(1, 56.2, 8.1, restless_db=0.0)
    night = datetime(2026, 1, 15, 23, tzinfo=UTC).timestamp()
    noon = datetime(2026, 1, 15, 12, tzinfo=UTC).timestamp()
    assert sky.atmospheric_k(1e6, night) > 100 * sky.atmospheric_k(1e6, noon)


def test_summer_brings_more_static_than_winter() -> None:
    sky = Sky(1, 56.2, 8.1, restless_db=0.0)
    summer = datetime(2026, 7, 15, 23, tzinfo=UTC).timestamp()
    winter = datetime(2026, 1, 15, 23, tzinfo=UTC).timestamp()
    assert sky.crash_rate_hz(summer) > 4 * sky.crash_rate_hz(winter)
    assert sky.atmospheric_k(2e6, summer) > 4 * sky.atmospheric_k(2e6, winter)


def test_a_night_runs_from_local_noon_to_noon() -> None:
    def number(*moment: int) -> int:
        return night_of(datetime(*moment, tzinfo=UTC).timestamp(), 0.0)  # type: ignore[arg-type,misc]

    assert number(2026, 3, 1, 12) == number(2026, 3, 2, 11, 59) == number(2026, 3, 2, 12) - 1
    # Fifteen degrees east is an hour: noon comes at 11 UTC.
    east = night_of(datetime(2026, 3, 1, 11, 1, tzinfo=UTC).timestamp(), 15.0)
    assert east == number(2026, 3, 1, 12)


def test_one_night_differs_from_the_next_but_is_the_same_whoever_asks() -> None:
    settlement = ManMade(7, "rural", 0.0)
    evening = datetime(2026, 3, 1, 20, tzinfo=UTC).timestamp()
    levels = [fa_db(settlement.noise_k(7e6, evening + 86400 * night)) for night in range(200)]
    assert levels == [fa_db(ManMade(7, "rural", 0.0).noise_k(7e6, evening + 86400 * n)) for n in range(200)]
    mean = sum(levels) / len(levels)
    spread = math.sqrt(sum((level - mean) ** 2 for level in levels) / (len(levels) - 1))
    assert spread == pytest.approx(math.hypot(2.5, 0.8), rel=0.15)


def test_a_ground_wave_stands_still_and_a_scattered_one_fades_like_rayleighs() -> None:
    ground = Carrier(1e6, 1e-3)
    assert {ground.fading(1, t * 0.7) for t in range(50)} == {1.0}
    sky_wave = Carrier(1e6, 1e-3, steadiness=0.0, fade_s=(2.0, 10.0))
    # Over many carriers, since one with six rays remembers its phases.
    powers = [sky_wave.fading(seed, t * 37.0) for seed in range(200) for t in range(50)]
    mean = sum(powers) / len(powers)
    assert mean == pytest.approx(1.0, abs=0.05)
    # Rayleigh: power is exponential, so 1 - 1/e of it lies below its mean (any text on fading; common practice).
    below = sum(power < mean for power in powers) / len(powers)
    assert below == pytest.approx(1 - math.exp(-1), abs=0.03)


def test_hours_join_by_straight_lines_and_close_over_midnight() -> None:
    hours = ((2.0, 0.0), (22.0, 1.0))
    assert at_hour(hours, 12 * 3600.0) == pytest.approx(0.5)
    assert at_hour(hours, 0.0) == pytest.approx(0.5)
    assert at_hour(hours, 23 * 3600.0) == pytest.approx(0.75)
