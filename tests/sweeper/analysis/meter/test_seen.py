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
