"""What the truth benchmark says of itself: shares with Wilson's interval, bounds met or not, claims kept or broken."""

import pytest
from scipy.stats import binomtest

from tests.benchmarks.judging import FixRow
from tests.benchmarks.truth import broken
from tests.benchmarks.truth_figures import Results, Share, figures, share_of
from tests.benchmarks.truth_page import FIX, claimed, reason

FOUND = "3 dB fix over 7 + 7 nights found, nights differing by 1 dB"


def fixes(found, missed):
    """A campaign with a fix each, so many of them found."""
    verdicts = ["quieter"] * found + ["undecided"] * missed
    return [
        FixRow("fix", {"night to night": "1 dB"}, number, verdict, True)
        for number, verdict in enumerate(verdicts)
    ]


def figure(found, missed):
    rows = [*fixes(found, missed), FixRow("no fix", {"night to night": "1 dB"}, 999, "undecided", True)]
    (one,) = [each for each in figures(Results(fixes=rows)) if each.name == FOUND]
    return one


@pytest.mark.parametrize(("right", "count"), [(43, 50), (17, 17), (0, 9)])
def test_a_share_has_wilsons_interval_of_scipy(right, count):
    told = share_of(fixes(right, count - right), lambda row: row.verdict == "quieter")
    reference = binomtest(right, count).proportion_ci(method="wilson")
    assert told.interval == (pytest.approx(reference.low), pytest.approx(reference.high))


def test_cells_that_miss_together_count_as_one():
    """Ten campaigns of six cells each, which all say the same: ten answers, not sixty."""
    rows = [
        FixRow("fix", {}, number, "quieter" if number < 7 else "louder", True) for number in range(10)
    ] * 6
    told = share_of(rows, lambda row: row.verdict == "quieter")
    assert (told.count, told.independent) == (60, pytest.approx(10))


def test_a_share_below_its_bound_is_not_met_however_wide_its_interval():
    assert figure(9, 1).met == "met"
    assert figure(8, 1).met == "not met"
    assert figure(8, 1).interval == "56.5 % to 98.0 %"


def test_nothing_measured_is_nothing_to_tell():
    assert {each.met for each in figures(Results())} == {"nothing to tell"}
    assert Share(float("nan"), 0, 0.0).interval == (pytest.approx(float("nan"), nan_ok=True),) * 2


def test_a_bound_that_the_page_claims_and_the_run_misses_breaks_the_claim():
    claims = claimed(
        f"| {FOUND} | at least 90 % | 94 % | 80 % to 98 % | met |\n| other | 1 | 2 | 3 | not met |"
    )
    assert claims == {FOUND}
    assert broken([figure(9, 1)], claims, quick=False) == []
    assert [each.name for each in broken([figure(8, 2)], claims, quick=False)] == [FOUND]
    assert broken([figure(8, 2)], frozenset(), quick=False) == []


def test_the_short_run_fails_where_its_counts_rule_out_chance():
    """Binomial: with 90 % due, 8 or fewer of 10 come by chance in 26 of 100 runs, 4 or fewer in 1 of 6000."""
    assert broken([figure(8, 2)], frozenset({FOUND}), quick=True) == []
    assert figure(8, 2).chance == pytest.approx(binomtest(8, 10, 0.9, alternative="less").pvalue)
    assert [each.name for each in broken([figure(4, 6)], frozenset({FOUND}), quick=True)] == [FOUND]


def test_a_missed_fix_is_explained_by_what_a_test_finds_that_takes_nights_for_independent():
    nothing = Results([], [], [])
    assert "58.5 % in a single look" in reason(f"{FIX}3 dB", nothing)
    assert "room left for nights in spells" in reason(f"{FIX}1.5 dB", nothing)
    assert reason("bias of gain", nothing) == "no reason known."
