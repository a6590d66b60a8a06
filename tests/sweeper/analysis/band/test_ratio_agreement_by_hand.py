"""The S/N change by ratio from rows written down: mean, error, and from where on levels are not believed."""

from datetime import date

import numpy as np
import polars as pl
import pytest
from scipy.stats import t

from sweeper.analysis.band.gain import Gain
from sweeper.analysis.band.ratio_agreement import ByRatio, told_by_ratio
from sweeper.analysis.statistics.estimates import Estimate
from tests.sweeper.analysis.band.test_cells import gain_of

HZ, HOUR = 7_100_000, 20
GAIN = gain_of(10.0, 0.01)


def ratio(change_db: float, hz: int = HZ, night: int = 1, hour: int = HOUR, se_db: float | None = 0.1, passes: int = 4,
          by: str = "carrier") -> dict[str, object]:  # fmt: skip
    row: dict[str, object] = {"for": "ratio", "night": date(2026, 3, night), "hour_utc": hour, "hz": hz}
    for way in ("edge", "carrier"):
        row |= {f"{way}_gain_db": None, f"{way}_gain_se_db": None, f"{way}_passes": None}
    return row | {f"{by}_gain_db": change_db, f"{by}_gain_se_db": se_db, f"{by}_passes": passes}


def noise(
    difference_db: float | None, hz: int = HZ, night: int = 1, hour: int = HOUR, **more: object
) -> dict[str, object]:
    row = {"night": date(2026, 3, night), "hour_utc": hour, "hz": hz, "passes": 1, "difference_bound": ""}
    return row | {"difference_db": difference_db} | more


def told(
    ratios: list[dict[str, object]], levels: list[dict[str, object]], gain: Gain | None = GAIN
) -> ByRatio:
    numbers = {
        f"{way}_{what}": pl.Float64 for way in ("edge", "carrier") for what in ("gain_db", "gain_se_db")
    }
    counts = {f"{way}_passes": pl.Int64 for way in ("edge", "carrier")}
    schema = {"night": pl.Date, "hour_utc": pl.Int64, "hz": pl.Int64, "passes": pl.Int64, "difference_bound": pl.String,
              "difference_db": pl.Float64}  # fmt: skip
    return told_by_ratio(
        pl.DataFrame(ratios, schema_overrides=numbers | counts, infer_schema_length=None),
        pl.DataFrame(levels, schema=schema),
        gain,
    )


def change(*ratios: dict[str, object]) -> Estimate:
    return told(list(ratios), [], None).changes[HOUR]


def test_passes_weigh_and_tell_the_error_where_all_agree() -> None:
    """Three of four, four and eight passes: sixteen less three are free."""
    found = change(*[ratio(2.0, HZ + nth, passes=passes, se_db=0.3) for nth, passes in enumerate((4, 4, 8))])
    assert (found.value, found.dof) == (2.0, pytest.approx(13.0))
    assert found.se == pytest.approx(0.3 * np.sqrt(1 / 16 + 1 / 16 + 1 / 4))
    weighed = change(ratio(1.0, passes=2), ratio(3.0, HZ + 1, passes=6))
    assert weighed.value == pytest.approx(2.5)
    assert change(ratio(1.0, se_db=0.001)).se == pytest.approx(0.01)  # nobody knows it better
    assert change(ratio(1.0, passes=1)).dof == pytest.approx(1.0)
    unknown = change(ratio(2.0, se_db=None), ratio(2.0, HZ + 1, se_db=0.4))
    assert unknown.se == pytest.approx(0.2)


def test_carriers_that_differ_by_more_than_their_errors_make_it_as_unsure_as_they_differ() -> None:
    """1, 2 and 3 dB: a standard deviation of 1 dB over the root of three."""
    found = change(*[ratio(1.0 + nth, HZ + nth) for nth in range(3)])
    assert (found.value, found.se, found.dof) == (pytest.approx(2.0), pytest.approx(1 / np.sqrt(3)), 2.0)


def test_a_carrier_counts_once_however_many_nights_it_was_heard() -> None:
    nights = [ratio(1.0 + nth, HZ + nth, night) for nth in range(3) for night in (1, 2, 3, 4)]
    assert (change(*nights).se, change(*nights).dof) == (pytest.approx(1 / np.sqrt(3)), 2.0)


def test_two_carriers_are_too_few_to_tell_how_carriers_differ() -> None:
    """Six rows one decibel off the mean: √(6/5) over the root of six, on five degrees of freedom."""
    found = change(*[ratio(1.0 + 2 * nth, HZ + nth, night) for nth in (0, 1) for night in (1, 2, 3)])
    assert (found.se, found.dof) == (pytest.approx(np.sqrt(1 / 5)), 5.0)


@pytest.mark.parametrize(("edge_se_db", "value"), [(0.05, 4.0), (0.2, 2.0)])
def test_edges_or_visits_are_asked_whichever_tell_more(edge_se_db: float, value: float) -> None:
    assert change(ratio(2.0), ratio(4.0, by="edge", se_db=edge_se_db)).value == value


HOURS, PLACES = (18, 19, 20, 21), range(HZ - 4000, HZ + 4000, 1000)


def night_of(
    moved_db: float, hour: int = 20, all_db: float = 0.0, carriers: int = 3
) -> list[dict[str, object]]:
    """Carriers that gain 2 dB over the noise, as levels say; so much more in one hour, or in all."""
    return [
        ratio(2.0 + 0.5 * nth + all_db + (moved_db if at == hour else 0.0), HZ + nth, hour=at)
        for nth in range(carriers) for at in HOURS
    ]  # fmt: skip


LEVELS = [noise(8.0, hz, hour=hour) for hour in HOURS for hz in PLACES]


@pytest.mark.parametrize(
    ("moved_db", "said"), [(0.8, "up to 0.8 dB more"), (-0.8, "up to 0.8 dB less"), (0.6, ""), (-0.6, "")]
)
def test_an_hour_that_moves_by_seven_tenths_against_a_carriers_others_is_told(
    moved_db: float, said: str
) -> None:
    """Carriers half a decibel apart: each is held against its own other hours."""
    sentence = told(night_of(moved_db), LEVELS).sentence
    assert said in sentence and bool(said) == bool(sentence)
    assert not said or "(20 UTC)" in sentence


def test_one_hour_alone_is_held_against_no_other() -> None:
    alone = [row for row in night_of(0.8) if row["hour_utc"] == 20]
    assert told(alone, LEVELS).sentence == ""


def test_an_hour_alone_is_not_told_for_a_night_that_differs_from_its_others() -> None:
    """Two nights of a pass each and one of four hundred, a decibel apart: the median and the mean of one hour."""
    nights = [ratio(2.0, night=1, passes=1), ratio(2.0, night=2, passes=1), ratio(3.0, night=3, passes=400)]
    levels = [noise(8.0, hz, night) for hz in PLACES for night in (1, 2, 3)]
    assert told(nights, levels).sentence == ""
    others = [row | {"hour_utc": 21, "carrier_gain_db": 2.0} for row in nights]
    assert (
        "up to 1.0 dB more"
        in told([*nights, *others], [*levels, *[row | {"hour_utc": 21} for row in levels]]).sentence
    )


@pytest.mark.parametrize(
    ("carriers", "all_db", "apart"), [(1, 1.6, True), (1, 1.4, False), (4, 0.05, True), (4, -0.02, False)]
)
def test_all_hours_are_told_from_what_carriers_differ_by_on(
    carriers: int, all_db: float, apart: bool
) -> None:
    """One and a half decibels for one carrier, half of that for four, which here lie 0.75 dB off by themselves."""
    known = [row | {"carrier_gain_se_db": 0.01} for row in night_of(0.0, all_db=all_db, carriers=carriers)]
    if carriers > 1:  # without their own differences
        known = [row | {"carrier_gain_db": 2.75 + all_db} for row in known]
    sentence = told(known, LEVELS).sentence
    assert ("(18, 19, 20, 21 UTC)" in sentence) == bool(sentence) == apart


def test_of_two_hours_nobody_knows_which_one_moved() -> None:
    two = [row for row in night_of(2.0) if row["hour_utc"] in (18, 20)]
    assert "up to 1.0 dB" in (sentence := told(two, LEVELS).sentence) and "(18, 20 UTC)" in sentence


def test_of_several_hours_the_one_furthest_off_is_told() -> None:
    moved = [
        row | {"carrier_gain_db": row["carrier_gain_db"] - 1.4 * (row["hour_utc"] == 18)}  # type: ignore[operator]
        for row in [*night_of(0.9), *[ratio(2.0 + 0.5 * nth, HZ + nth, hour=22) for nth in range(3)]]
    ]
    sentence = told(moved, [*LEVELS, *[noise(8.0, hz, hour=22) for hz in PLACES]]).sentence
    assert "up to 1.4 dB less" in sentence and "(18, 20 UTC)" in sentence


@pytest.mark.parametrize(("off_db", "apart"), [(-0.1, False), (0.1, True)])
def test_a_gap_of_all_hours_counts_beyond_its_own_error(off_db: float, apart: bool) -> None:
    """Four rows of four passes, known to 0.6 dB each: 0.3 dB on twelve degrees of freedom."""
    due_db = float(t.isf(1e-5, 12)) * 0.3
    unsure = [ratio(2.0 + due_db + off_db, hour=hour, se_db=0.6) for hour in HOURS]
    assert bool(told(unsure, LEVELS, gain_of(10.0, 0.001)).sentence) == apart


def test_levels_are_those_of_the_eight_channels_nearest_that_were_measured() -> None:
    """Four of them say a gap of three decibels and four the opposite; all further off agree with the latter. What lies
    on a floor, has no pass or no difference is none of the eight."""
    one = night_of(0.0, carriers=1)
    near = [
        noise(8.0 + (3.0 if abs(off) > 2000 else -3.0), HZ + off, hour=hour)
        for hour in HOURS for off in (-4000, -3000, -2000, -1000, 1000, 2000, 3000, 4000)
    ]  # fmt: skip
    far = [
        noise(11.0, HZ + 10_000 * nth, hour=hour) for hour in HOURS for nth in (-4, -3, -2, -1, 1, 2, 3, 4)
    ]
    wrong = [
        noise(difference_db, HZ + 100 * nth, hour=hour, **more)
        for hour in HOURS for nth in range(1, 5)
        for difference_db, more in ((3.0, {"passes": 0}), (3.0, {"difference_bound": "at most"}), (None, {}))
    ]  # fmt: skip
    assert told(one, [*near, *far, *wrong]).sentence == ""
    assert "3.0 dB more" in told(one, far).sentence
    assert told(one, wrong).sentence == ""


def test_levels_are_those_of_the_same_night() -> None:
    """Levels and ratio of the third night differ from those of the first two alike."""
    nights = [
        noise(5.0 if night == 3 else 8.0, hz, night, hour)
        for hour in HOURS
        for hz in PLACES
        for night in (1, 2, 3)
    ]
    third = [ratio(5.0, night=3, hour=hour) for hour in HOURS]
    assert told(third, nights).sentence == ""
    assert "3.0 dB more" in told([row | {"night": date(2026, 3, 2)} for row in third], nights).sentence
