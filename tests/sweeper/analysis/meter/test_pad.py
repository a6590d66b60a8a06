"""A pad switched at several levels against scales of known shape. Budgets after JCGM 100:2008 (GUM)."""

from collections.abc import Callable

import numpy as np
import pytest

from sweeper.analysis.meter.calibration import Implausible
from sweeper.analysis.meter.pad import PadStep, ends_of, pad_lines, scale_of

S_UNITS_DB = (1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 7.5, 9.0, 10.0)
"""True decibels of each S-unit, bottom to top, of a receiver that shows 6 dB for each."""
UNEVEN = (np.concatenate([[0.0], np.cumsum(S_UNITS_DB)]) - sum(S_UNITS_DB), np.arange(10) * 6.0 - 54.0)

SCALES: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "honest": lambda db: db,
    "slope 0.5": lambda db: 0.5 * db,
    "slope 0.7": lambda db: 0.7 * db,
    "slope 1.35": lambda db: 1.35 * db,
    "knee": lambda db: np.maximum(db, -38.0),
    "S-units of 1.5 to 10 dB": lambda db: np.interp(db, *UNEVEN),
}


def steps(
    shown: Callable[[np.ndarray], np.ndarray],
    levels_db,
    pad_db: float = 10.0,
    seed: int = 1,
    step_db: float = 0.0,
) -> list[PadStep]:
    rng = np.random.default_rng(seed)

    def read(db: float) -> tuple[float, ...]:
        values = shown(db + rng.normal(0.0, 0.6, 32))
        return tuple(np.round(values / step_db) * step_db if step_db else values)

    return [PadStep(read(level), read(level - pad_db)) for level in levels_db]


@pytest.mark.parametrize("step_db", [0.0, 1.0])
@pytest.mark.parametrize("name", SCALES)
def test_differences_read_off_the_scale_are_true_within_what_it_says(name: str, step_db: float) -> None:
    levels = np.arange(-40.0, 1.0, 5.0)
    shown = SCALES[name]
    curve = scale_of(
        steps(shown, levels, step_db=step_db), 10.0, (-20.0, -93.0), pad_lines(10.0, 0.2), step_db
    )
    reading, dbm = np.array(curve.pairs).T
    assert (np.diff(reading) > 0).all() and (np.diff(dbm) > 0).all()
    lowest = -34.0 if name == "knee" else -38.0  # the scale ends where the meter does not follow
    true = np.arange(lowest, -1.0, 2.0)
    read = np.interp(shown(true), reading, dbm)
    for apart in (2, 5):  # differences of 4 and of 10 dB
        missed = (read[apart:] - read[:-apart]) - 2.0 * apart
        assert np.abs(missed).max() < 3 * curve.uncertainty_db, (np.abs(missed).max(), curve.uncertainty_db)
    if name != "S-units of 1.5 to 10 dB":
        assert curve.uncertainty_db < (1.0 if step_db else 0.5)
    assert (curve.floor is not None) == (name == "knee")


def test_what_it_says_is_neither_too_narrow_nor_a_blank_cheque() -> None:
    """Of repeated calibrations, a difference of one pad misses by its standard uncertainty about as the GUM has it."""
    ratios = []
    for seed in range(40):
        curve = scale_of(
            steps(SCALES["slope 0.7"], np.arange(-40.0, 1.0, 5.0), seed=seed), 10.0, (-20.0, -93.0)
        )
        reading, dbm = np.array(curve.pairs).T
        ratios.append((np.interp([-8.75, -15.75], reading, dbm) @ [1, -1] - 10.0) / curve.uncertainty_db)
    assert 0.2 < float(np.std(ratios)) < 1.6


def test_the_scale_stands_where_it_is_anchored() -> None:
    curve = scale_of(steps(SCALES["honest"], (-30, -20, -10, 0)), 10.0, (0.0, -73.0))
    reading, dbm = np.array(curve.pairs).T
    assert np.interp(-20.0, reading, dbm) == pytest.approx(-93.0, abs=0.7)


@pytest.mark.parametrize("pad_db", [0.0, -10.0, float("nan")])
def test_a_pad_that_is_none_is_told(pad_db: float) -> None:
    with pytest.raises(Implausible, match="above 0, such as 10"):
        scale_of(steps(SCALES["honest"], (-30, -20, -10)), pad_db, (0.0, -73.0))


def test_in_and_out_exchanged_is_told() -> None:
    exchanged = [PadStep(step.low, step.high) for step in steps(SCALES["honest"], (-30, -20, -10))]
    with pytest.raises(Implausible, match="exchanged"):
        scale_of(exchanged, 10.0, (0.0, -73.0))


def test_levels_that_all_lie_below_the_threshold_are_told() -> None:
    with pytest.raises(Implausible, match="0 levels at which the meter moves"):
        scale_of(steps(SCALES["knee"], (-60, -55, -50)), 10.0, (0.0, -73.0))
    with pytest.raises(Implausible, match="too few"):
        scale_of(steps(SCALES["honest"], (-30, -20)), 10.0, (0.0, -73.0))
    with pytest.raises(Implausible, match="lacks readings"):
        scale_of([PadStep((), (1.0,))] * 3, 10.0, (0.0, -73.0))


def test_no_level_at_all_is_told() -> None:
    with pytest.raises(Implausible, match="No level was read"):
        scale_of([], 10.0, (0.0, -73.0))


def test_a_meter_in_s_units_wants_a_larger_pad() -> None:
    """Ten decibels read as 6 or as 12 there: of differences off such a scale a tenth missed by over twice its say."""
    levels = np.arange(-40.0, 1.0, 5.0)
    coarse = steps(SCALES["honest"], levels, step_db=6.0)
    with pytest.raises(Implausible, match=r"steps of 6 .* too coarse .* Take a pad of 1[2-9] dB or more"):
        scale_of(coarse, 10.0, (0.0, -73.0), step_db=6.0)
    curve = scale_of(steps(SCALES["honest"], levels, 25.0, step_db=6.0), 25.0, (0.0, -73.0), step_db=6.0)
    assert curve.uncertainty_db > 2.0


@pytest.mark.parametrize(
    ("true_db", "told"), [(1.5, "no meter in decibels does"), (60.0, "no meter in decibels does")]
)
def test_a_pad_whose_value_cannot_be_is_told_where_the_meter_counts_decibels(
    true_db: float, told: str
) -> None:
    wrong = steps(SCALES["honest"], np.arange(-40.0, 1.0, 5.0), true_db)
    with pytest.raises(Implausible, match=told):
        scale_of(wrong, 10.0, (0.0, -73.0), decibels=True)
    assert scale_of(wrong, 10.0, (0.0, -73.0)).pairs  # numbers of no unit may rise as they like


def test_a_pad_of_doubtful_value_is_told_beside_the_curve() -> None:
    levels = np.arange(-40.0, 1.0, 5.0)
    doubtful = scale_of(steps(SCALES["honest"], levels, 3.0), 10.0, (0.0, -73.0), decibels=True)
    assert any("few meters are so far off" in remark for remark in doubtful.remarks)
    assert not scale_of(steps(SCALES["honest"], levels), 10.0, (0.0, -73.0), decibels=True).remarks


@pytest.mark.parametrize("end", ["lowest", "highest"])
def test_an_outermost_level_that_may_stand_on_an_end_is_left_out_unless_a_second_one_tells(end: str) -> None:
    """A floor 6 dB above where the pad would lead: one level cannot tell it from a flatter scale, two can."""
    sign = 1.0 if end == "lowest" else -1.0
    inner = [0.0, 15.0, 30.0] if end == "lowest" else [10.0, -5.0, -20.0]
    outer = inner[0] - 15.0 * sign

    def shown(db: np.ndarray) -> np.ndarray:
        return sign * np.maximum(sign * db, sign * outer - (4.0 if end == "lowest" else -6.0))

    alone = scale_of(steps(shown, [outer, *inner]), 10.0, (0.0, -73.0))
    assert any(f"The {end} level shows 4" in remark for remark in alone.remarks), alone.remarks
    with pytest.raises(Implausible, match=f"too few.*The {end} level"):
        scale_of(steps(shown, [outer, *inner[:2]]), 10.0, (0.0, -73.0))


def test_a_scale_that_is_flatter_at_its_end_is_told_by_two_levels_there() -> None:
    def bent(db):
        return np.where(db < -30.0, -30.0 + 0.5 * (db + 30.0), db)

    curve = scale_of(steps(bent, [-40.0, -36.0, -20.0, -10.0, 0.0]), 10.0, (0.0, -73.0))
    assert not curve.remarks and curve.pairs[0][0] < -39.0


def test_levels_on_a_known_end_are_left_out_and_a_usual_floor_is_known() -> None:
    floored = [
        PadStep((float(level),) * 8, (max(level - 10.0, -54.0),) * 8) for level in (-60, -50, -40, -30, -20)
    ]
    ends = ends_of(floored, None, None, over_s9=True)
    assert ends == (-54.0, None)
    assert ends_of(floored, None, None, over_s9=False) == (None, None)
    assert ends_of(floored, -60.0, 20.0, over_s9=True) == (-60.0, 20.0)
    assert ends_of([], None, None, over_s9=True) == (None, None)
    curve = scale_of(floored[1:], 10.0, (0.0, -73.0), ends=(-54.0, None))
    assert (curve.floor, curve.top) == (-54.0, None) and curve.pairs[0][0] == -50.0
    with pytest.raises(Implausible, match=r"2 levels .* At -20 the meter ends: levels whose upper side"):
        scale_of(floored[1:], 10.0, (0.0, -73.0), ends=(-54.0, -20.0))


def test_a_floor_that_is_seen_above_the_one_in_the_file_counts() -> None:
    curve = scale_of(
        steps(SCALES["knee"], np.arange(-40.0, 1.0, 5.0)), 10.0, (0.0, -73.0), ends=(-60.0, None)
    )
    assert curve.floor == pytest.approx(-38.0, abs=0.2)
