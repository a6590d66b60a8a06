"""Hours judged together: one answer where hours agree, two where there is evidence for two, none out of nothing."""

from hypothesis import given
from hypothesis import strategies as st

from sweeper.analysis.findings.stretches import hardly_measured, mean_of, stretches
from sweeper.analysis.results import PeriodFinding, Verdict
from sweeper.analysis.statistics.interval import Interval

NIGHT = (18, 19, 20, 21, 22, 23, 0, 1, 2, 3, 4, 5)


def hour(at: int, verdict: Verdict, low: float, high: float, *flags: str, passes: int = 5) -> PeriodFinding:
    change = None if "withheld" in flags else Interval((low + high) / 2, low, high)
    return PeriodFinding(at, passes, 1, change, None, None, verdict, flags, "")


def told(periods: list[PeriodFinding]) -> list[tuple[str, tuple[int, ...]]]:
    return [(part.state, part.hours_utc) for part in stretches(periods, 1.0, NIGHT)]


def test_hours_that_agree_are_one_answer_though_some_are_not_settled_by_themselves() -> None:
    """80 m, which went back and forth eight times between two states although every interval holds the same mean."""
    settled = [hour(at, "stage", 1.3, 2.5) for at in (18, 19, 20, 1, 4, 5)]
    between = [hour(at, "undecided", 0.8, 1.8) for at in (21, 22, 23, 0, 2, 3)]
    assert told([*settled, *between]) == [("in", NIGHT)]
    (whole,) = stretches([*settled, *between], 1.0, NIGHT)
    assert whole.change_db is not None
    assert (round(whole.change_db.low, 6), round(whole.change_db.high, 6)) == (1.05, 2.15)


def test_a_change_of_state_that_is_shown_stays_one() -> None:
    evening = [hour(at, "stage", 2.0, 3.0) for at in NIGHT[:6]]
    morning = [hour(at, "either", -0.2, 0.4) for at in NIGHT[6:]]
    assert told([*evening, *morning]) == [("in", NIGHT[:6]), ("same", NIGHT[6:])]
    # Between the two, where the change lies, nothing is claimed.
    open_hour = hour(23, "undecided", 0.3, 2.2)
    assert told([*evening[:5], open_hour, *morning]) == [
        ("in", NIGHT[:5]), ("open", (23,)), ("same", NIGHT[6:]),
    ]  # fmt: skip


def test_an_hour_whose_interval_contradicts_its_neighbours_is_not_joined_to_them() -> None:
    periods = [hour(at, "stage", 4.0, 6.0) for at in NIGHT if at != 22]
    assert told([*periods, hour(22, "undecided", 0.2, 1.4)]) == [
        ("in", (18, 19, 20, 21)), ("open", (22,)), ("in", (23, 0, 1, 2, 3, 4, 5)),
    ]  # fmt: skip


def test_a_fault_parts_what_lies_beside_it_and_is_never_joined() -> None:
    periods = [hour(at, "either", -0.2, 0.4) for at in NIGHT if at not in (20, 21)]
    faulty = [hour(at, "undecided", 0, 0, "overload", "withheld") for at in (20, 21)]
    parts = stretches([*periods, *faulty], 1.0, NIGHT)
    assert [(part.words, part.hours_utc) for part in parts] == [
        ("no difference", (18, 19)),
        ("overload: stage out", (20, 21)),
        ("no difference", NIGHT[4:]),
    ]
    assert parts[1].change_db is None


def test_hours_hardly_measured_part_nothing_and_hours_not_measured_do() -> None:
    periods = [hour(at, "stage", 1.5, 2.5) for at in NIGHT if at != 21]
    scrap = hour(21, "undecided", -9.0, 12.0, passes=2)
    assert hardly_measured([*periods, scrap]) == {21}
    assert told([*periods, scrap]) == [("in", tuple(at for at in NIGHT if at != 21))]
    assert told(periods) == [("in", (18, 19, 20)), ("in", NIGHT[4:])]


INTERVALS = st.tuples(st.floats(-8, 8), st.floats(0.1, 6)).map(lambda at: (at[0] - at[1], at[0] + at[1]))


def verdict_of(low: float, high: float) -> Verdict:
    if low > 1:
        return "stage"
    if high < -1:
        return "bypass"
    return "either" if low > -1 and high < 1 else "undecided"


@given(st.lists(INTERVALS, min_size=1, max_size=12))
def test_no_stretch_claims_more_than_the_mean_over_its_hours(each: list[tuple[float, float]]) -> None:
    periods = [hour(at, verdict_of(*ends), *ends) for at, ends in zip(NIGHT, each, strict=False)]
    parts = stretches(periods, 1.0, NIGHT)
    assert [at for part in parts for at in part.hours_utc] == list(NIGHT[: len(each)])
    for part in parts:
        mean = mean_of([hour.change_db for hour in part.hours if hour.change_db is not None])
        assert mean is not None
        assert part.change_db == mean
        if part.state != "open":
            assert any(hour.state == part.state for hour in part.hours), (
                "an answer of its own somewhere in it"
            )
            assert {hour.state for hour in part.hours} <= {part.state, "open"}
            edge = {"in": mean.low > 1, "out": mean.high < -1, "same": mean.low > -1 and mean.high < 1}
            assert edge[part.state]
