"""What a handful of readings tells of a meter. The scatter of noise is that of a gamma law (Dicke 1946)."""

import numpy as np
import pytest

from sweeper.analysis import MeterFacts, TakenVisit, meter_seen

METER = MeterFacts("dB-over-S9", False, None, None, None, 0.02, "rms")


def visits(
    slope: float = 1.0, step_db: float = 1.0, floor: float = -200.0, count: int = 12
) -> list[TakenVisit]:
    rng = np.random.default_rng(3)
    taken = []
    for n in range(count):
        level = (-52.3, -47.1, -41.7, -36.2)[n % 4]
        power = rng.gamma(48.0, 1 / 48.0, 8)
        shown = np.round((level + slope * 10 * np.log10(power)) / step_db) * step_db
        path = ("load", "antenna")[n % 4 // 2], ("bypass", "stage")[n % 2]
        taken.append(TakenVisit("40 m", *path, 2400, tuple(np.maximum(shown, floor).tolist())))
    return taken


@pytest.mark.parametrize("slope", [0.5, 1.0, 1.6])
def test_the_slope_and_the_step_are_seen(slope: float) -> None:
    seen = meter_seen(visits(slope, step_db=0.4), METER)
    assert seen.step_db == pytest.approx(0.4)
    assert seen.slope is not None and seen.slope_se is not None
    assert abs(seen.slope - slope) < 3 * seen.slope_se < 0.6
    assert seen.floor is None and seen.blind == ()


def test_a_band_whose_load_rests_on_the_floor_is_blind() -> None:
    seen = meter_seen(visits(floor=-45.0), METER)
    assert seen.floor == -45.0 and seen.blind == ("40 m",)
    assert any("40 m" in sentence and "blind" in sentence for sentence in seen.sentences)


def test_steps_of_an_s_unit_tell_nothing_of_slope() -> None:
    seen = meter_seen(visits(step_db=6.0), MeterFacts("dB-over-S9", False, 6.0, None, None, 0.02))
    assert seen.slope is None
    assert any("calibrate" in sentence for sentence in seen.sentences)


def test_no_readings_tell_nothing() -> None:
    assert meter_seen([TakenVisit("40 m", "load", "bypass", 2400, (float("nan"),))], METER).slope is None


def still(value: float, route: str, count: int = 4, band: str = "40 m") -> TakenVisit:
    return TakenVisit(band, "load", route, 2400, (value,) * count)


def moving(route: str, band: str = "40 m") -> TakenVisit:
    return TakenVisit(band, "load", route, 2400, (-40.0, -39.6, -39.2, -40.4, -40.0, -39.6, -39.2, -40.4))


@pytest.mark.parametrize(
    ("slope", "step_db", "averaging_s", "words"),
    [
        (1.0, 0.4, 0.02, ["Noise scatters as the radiometer's law asks"]),
        (0.6, 0.4, 0.02, ["times as far as the radiometer's law asks"]),
        (1.8, 0.4, 0.02, ["times as far as the radiometer's law asks"]),
        (0.0, 0.1, 0.02, ["hardly moves where noise must make it move"]),
        (1.0, 0.4, None, ["times as far", "`averaging_s` is not told and was taken for 0.05 s"]),
    ],
)
def test_what_the_scatter_tells_is_said(
    slope: float, step_db: float, averaging_s: float | None, words: list[str]
) -> None:
    meter = MeterFacts("dB-over-S9", False, step_db, -300.0, None, averaging_s, "rms")
    seen = meter_seen(visits(slope, step_db, count=24), meter)
    assert len(seen.sentences) == 2 + 1 + (averaging_s is None)  # step and floor come first
    assert seen.sentences[0] == f"The meter moves in steps of {step_db:g} dB."
    assert seen.sentences[1] == "The meter ends at -300: what it shows there is “at most”."
    assert all(any(word in sentence for sentence in seen.sentences) for word in words)


def test_slope_and_error_are_those_of_the_scatter_less_that_of_rounding() -> None:
    """Eight readings evenly on four values 0.4 dB apart: s² = 0.2286 dB², of which rounding has 0.4²/12."""
    seen = meter_seen([moving("bypass"), moving("stage")], METER)
    honest_db = 10 / np.log(10) * np.sqrt(np.sum(1 / np.arange(48.0, 40_000) ** 2))  # trigamma of 48, summed
    squared = (0.22857 - 0.4**2 / 12) / honest_db**2 / 0.91
    assert seen.slope == pytest.approx(np.sqrt(squared), rel=1e-3)
    assert seen.slope_se == pytest.approx(
        1.25 * 0.6 * squared / np.sqrt(2) / (2 * np.sqrt(squared)), rel=1e-3
    )


def test_a_told_floor_or_step_counts_before_a_seen_one() -> None:
    told = MeterFacts("dB-over-S9", False, 0.2, -39.6, None, 0.02, "rms")
    seen = meter_seen([moving("bypass"), moving("stage")], told)
    assert (seen.step_db, seen.floor, seen.blind) == (0.2, -39.6, ("40 m",))
    assert seen.slope is None  # every path rests


def test_only_the_paths_that_rest_are_blind_and_named() -> None:
    taken = [
        still(-54.0, "bypass"),
        moving("stage"),
        still(-54.0, "stage", band="10 m"),
        moving("bypass", "20 m"),
    ]
    seen = meter_seen(taken, METER)
    assert seen.floor == -54.0 and seen.blind == ("40 m", "10 m")
    blind = [sentence for sentence in seen.sentences if "is blind" in sentence]
    assert [each.split(" lies")[0] for each in blind] == [
        "On 40 m the meter is blind: load by bypass", "On 10 m the meter is blind: load by stage",
    ]  # fmt: skip
    assert seen.slope is not None


def test_a_visit_that_stands_still_is_a_floor_on_a_fine_meter_or_at_a_usual_one() -> None:
    fine = MeterFacts("dB-over-S9", False, 0.4, None, None, 0.02, "rms")
    coarse = MeterFacts("dB-over-S9", False, 3.0, None, None, 0.02, "rms")
    dbm = MeterFacts("dBm", False, 3.0, None, None, 0.02, "rms")
    for meter, value, floor in (
        (fine, -52.0, -52.0), (coarse, -52.0, None), (coarse, -54.0, -54.0), (coarse, -60.0, -60.0), (dbm, -54.0, None),
    ):  # fmt: skip
        assert meter_seen([still(value, "bypass"), moving("stage")], meter).floor == floor, (meter, value)
    assert meter_seen([still(-38.0, "bypass"), moving("stage")], fine).floor is None  # others lie lower


def test_visits_of_three_readings_tell_nothing_and_readings_that_are_none_do_not_count() -> None:
    nothing = meter_seen([still(-54.0, "bypass", 3)], METER)
    assert nothing.sentences == ("Too few readings to tell of the meter.",) and nothing.floor is None
    told = MeterFacts("dB-over-S9", False, 0.5, -60.0, None, 0.02, "rms")
    assert (meter_seen([], told).step_db, meter_seen([], told).floor) == (0.5, -60.0)
    gaps = TakenVisit("40 m", "load", "bypass", 2400, (float("nan"), -54.0, -54.0, -54.0, -54.0))
    assert meter_seen([gaps, moving("stage")], METER).floor == -54.0


def test_a_visit_that_is_partly_off_the_curve_tells_nothing_of_the_scatter() -> None:
    """A curve that ends at -39, where some readings of a third visit lie beyond."""
    meter = MeterFacts("raw", True, 0.4, -300.0, None, 0.02, "rms", curve=((-90.0, -90.0), (-39.0, -39.0)))
    pair = [moving("bypass"), moving("stage")]
    beyond = TakenVisit(
        "20 m", "load", "bypass", 2400, (-39.6, -38.8, -38.4, -39.2, -39.6, -38.8, -38.4, -39.2)
    )
    seen = meter_seen([*pair, beyond], meter)
    assert seen.slope is not None and np.isfinite(seen.slope)
    alone = meter_seen(pair, meter)
    assert (seen.slope, seen.slope_se) == (alone.slope, alone.slope_se)


def test_a_meter_that_never_moved_has_no_floor_but_a_usual_one() -> None:
    """-37 everywhere is no end of a scale that anybody saw; -54 everywhere is where such scales end."""
    paths = ("bypass", "stage")
    seen = meter_seen([still(-37.0, route) for route in paths], METER)
    assert seen.floor is None and seen.blind == ()
    assert seen.sentences == (
        "Every reading was -37, whatever the path: the meter stands still, and nothing is told of it.",
    )
    assert meter_seen([still(-54.0, route) for route in paths], METER).floor == -54.0


def test_two_values_are_no_steps() -> None:
    seen = meter_seen([still(-40.0, "bypass"), still(-24.0, "stage")], METER)
    assert not any("steps of" in sentence for sentence in seen.sentences)
    third = meter_seen([still(-40.0, "bypass"), still(-24.0, "stage"), still(-8.0, "stage")], METER)
    assert "The meter moves in steps of 16 dB." in third.sentences
