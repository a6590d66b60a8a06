"""Verdicts over the table: what it takes, and what is held back."""

import numpy as np
import pytest
from scipy import stats
from scipy.stats import false_discovery_control

from sweeper.analysis.band.cells import Cell
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.analysis.statistics.group_sequential import campaign_level, last_look, look_level
from sweeper.analysis.verdict.judge import WITHHOLDING, allowed_level, judge


def cell(value, se=0.2, nights=10, ceiling=None, lower_bound=None, flags=(), bound=""):
    estimate = Estimate(value, se, nights - 1.0)
    limits = [None if each is None else Estimate(each, 0.05, nights - 1.0) for each in (ceiling, lower_bound)]
    looked = last_look(nights)
    return Cell("40 m", 20, nights, looked, 40, None, estimate, None, limits[0], limits[1], bound, flags, 1.0)


def one(each, troubles=frozenset()):
    return judge([each], 1.0, 0.95, [troubles])[0]


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(3.0, "stage"), (-3.0, "bypass"), (0.0, "either"), (1.1, "undecided"), (0.9, "undecided")],
)
def test_the_interval_must_lie_clear_of_what_matters(value, verdict):
    assert one(cell(value)).verdict == verdict


def test_the_noise_rise_alone_settles_what_carriers_cannot():
    found = one(cell(0.2, se=1.5, ceiling=0.2, lower_bound=-0.1))
    assert found.verdict == "either"
    assert found.by_physics


def test_physics_is_not_asked_near_an_overload_or_against_what_was_measured():
    assert (
        one(cell(0.2, se=1.5, ceiling=0.2, lower_bound=-0.1, flags=("near-overload",))).verdict == "undecided"
    )
    assert one(cell(-5.0, se=1.5, ceiling=0.2, lower_bound=-0.1)).verdict == "undecided"


def test_physics_is_asked_where_what_was_measured_may_lie_at_its_nearer_end():
    for sign in (1.0, -1.0):  # 1.8 standard errors from the nearer end, 3.8 from the farther one
        near = cell(sign * 2.5, se=0.9, ceiling=0.9, lower_bound=-0.9)
        assert judge([near], 2.0, 0.95, [frozenset()])[0].by_physics


@pytest.mark.parametrize(
    ("value", "se", "low", "middle", "high"),
    [
        (0.2, 1.5, "bottom", 0.2, "top"),
        (1.4, 1.5, "bottom", "top", "top"),
        (-1.4, 1.5, "bottom", "bottom", "top"),
        (0.1, 0.1, "own", 0.1, "own"),
    ],
)
def test_what_is_shown_by_physics_is_what_both_allow(value, se, low, middle, high):
    found = one(cell(value, se=se, ceiling=0.5, lower_bound=-0.5))
    assert found.by_physics
    t = stats.t.isf(look_level(10, 0.05) / 2, 9)
    ends = {"top": 0.5 + t * 0.05, "bottom": -0.5 - t * 0.05}
    assert found.snr_change_db.low == pytest.approx(ends.get(low, value - t * se))
    assert found.snr_change_db.high == pytest.approx(ends.get(high, value + t * se))
    assert found.snr_change_db.value == pytest.approx(ends.get(middle, middle))


def test_a_level_exactly_at_the_rate_is_allowed():
    assert allowed_level([0.05], 0.05) == 0.05
    assert allowed_level([0.5, 0.5], 0.05) == 0.0


def test_physics_needs_both_limits():
    assert not one(cell(0.2, se=1.5, ceiling=0.2)).by_physics
    assert not one(cell(0.2, se=1.5, lower_bound=-0.1)).by_physics


def test_an_interval_is_as_wide_as_its_look_is_due():
    """After ten nights, at 95 %, for somebody who looks every morning: SciPy's t at the level of that look."""
    found = one(cell(5.0)).snr_change_db
    reach = stats.t.isf(look_level(10, 0.05) / 2, 9) * 0.2
    assert (found.low, found.high) == (pytest.approx(5.0 - reach), pytest.approx(5.0 + reach))


def test_a_verdict_that_is_not_sure_enough_by_itself_is_none():
    unsure = one(cell(1.2, se=0.2))
    assert (unsure.verdict, unsure.held_back) == ("undecided", False)


def test_trouble_withholds_the_verdict_and_the_value():
    found = one(cell(5.0), frozenset({"overload"}))
    assert (found.verdict, found.snr_change_db, found.withheld) == ("undecided", None, "overload")


def test_a_bound_can_still_speak_against_the_stage():
    assert one(cell(-3.0, bound="at most")).verdict == "bypass"
    assert one(cell(3.0, bound="at most")).verdict == "undecided"
    assert one(cell(3.0, bound="at least")).verdict == "stage"
    assert one(cell(-3.0, bound="at least")).verdict == "undecided"
    assert one(cell(3.0, bound="at most")).snr_change_db is None


def test_one_clear_hour_among_many_open_ones_is_held_back():
    near = cell(1.0 + 0.2 * 4.2)  # clear by itself, barely
    assert one(near).verdict == "stage"
    table = judge([near] + [cell(1.0)] * 39, 1.0, 0.95, [frozenset()] * 40)
    assert table[0].verdict == "undecided"
    assert table[0].held_back


def test_the_share_of_wrong_verdicts_is_held_over_the_table():
    """Sixty hours that all lie exactly on the edge: a verdict anywhere is wrong, and at most 5 % of tables give one."""
    rng = np.random.default_rng(1)
    wrong = 0
    for _ in range(400):
        table = [cell(1.0 + 0.2 * rng.standard_t(9)) for _ in range(60)]
        wrong += any(each.verdict != "undecided" for each in judge(table, 1.0, 0.95, [frozenset()] * 60))
    assert wrong / 400 <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / 400)


def test_no_levels_allow_nothing():
    assert allowed_level([], 0.05) == 0.0


SIGNS = (
    "channels-disagree", "compression", "gain-moved", "implausible-calibration", "load-above-antenna",
    "hours-disagree", "load-follows-antenna", "load-too-low", "meter-dead-zone", "meter-stuck", "meter-unit",
    "mismatch", "overload", "routes-disagree", "scale-untested", "stuck-relay", "swapped",
)  # fmt: skip


def test_no_sign_is_left_out_here():
    assert set(SIGNS) == WITHHOLDING


@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize("value", [5.0, -5.0, 0.0])
def test_every_sign_of_a_chain_that_does_not_do_what_it_seems_withholds_any_verdict(sign, value):
    found = one(cell(value), frozenset({sign, "occupied"}))
    assert (found.verdict, found.snr_change_db, found.withheld) == ("undecided", None, sign)


def test_what_is_no_sign_of_trouble_withholds_nothing():
    assert one(cell(5.0), frozenset({"occupied", "floor", "no-load", "uncalibrated"})).verdict == "stage"


def test_the_levels_allowed_are_those_of_the_reference_library():
    """Benjamini and Hochberg 1995: SciPy's adjusted levels at or below the rate are the verdicts that a table bears."""
    rng = np.random.default_rng(3)
    for count in (1, 2, 7, 60):
        levels = rng.beta(0.4, 3.0, count)
        allowed = allowed_level(levels.tolist(), 0.05)
        assert ((levels <= allowed) == (false_discovery_control(levels) <= 0.05)).all()


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_physics_settles_what_lies_between_its_limits_on_either_side(sign):
    """Measured at ±0.6 with 0.12 dB of error, limits at ±0.8 with 0.05: what the noise rise allows is clearer."""
    found = one(cell(sign * 0.6, se=0.12, ceiling=0.8, lower_bound=-0.8))
    assert (found.verdict, found.by_physics) == ("either", True)
    beyond = one(cell(sign * 1.35, se=0.12, ceiling=0.8, lower_bound=-0.8))  # four errors beyond the limit
    assert not beyond.by_physics


@pytest.mark.parametrize(("ceiling", "lower_bound"), [(1.0, -0.2), (0.2, -1.0), (1.4, -0.2), (0.2, -1.4)])
def test_physics_settles_nothing_where_a_limit_reaches_what_matters(ceiling, lower_bound):
    assert not one(cell(0.0, se=1.5, ceiling=ceiling, lower_bound=lower_bound)).by_physics


def test_the_level_of_physics_is_that_of_its_nearer_limit():
    found = one(cell(0.0, se=1.5, ceiling=0.8, lower_bound=-0.5))
    due = campaign_level(10, Estimate(0.8, 0.05, 9.0).level_beyond(1.0))
    assert found.by_physics and found.level == pytest.approx(due)
    other = one(cell(0.0, se=1.5, ceiling=0.5, lower_bound=-0.8))
    assert other.level == pytest.approx(due)


@pytest.mark.parametrize(
    ("value", "verdict", "edges"),
    [
        (3.0, "stage", (1.0,)),
        (-3.0, "bypass", (-1.0,)),
        (0.3, "either", (1.0, -1.0)),
        (1.0, "either", (1.0, -1.0)),
    ],
)
def test_the_level_of_a_verdict_is_that_of_its_own_edges(value, verdict, edges):
    found = one(cell(value, se=0.05))
    due = max(Estimate(value, 0.05, 9.0).level_beyond(edge) for edge in edges)
    assert found.level == pytest.approx(campaign_level(10, due))
    assert found.verdict == (verdict if value != 1.0 else "undecided")


def test_what_is_not_known_has_a_level_of_one():
    unknown = one(cell(5.0, bound="unknown"))
    assert (unknown.verdict, unknown.level, unknown.snr_change_db) == ("undecided", 1.0, None)
    for bound, value in (("at most", 3.0), ("at least", -3.0), ("at most", 0.0), ("at least", 0.0)):
        assert one(cell(value, bound=bound)).level == 1.0
    nothing = Cell("40 m", 20, 5, 5, 20, None, None, None, None, None, "", (), 1.0)
    assert (one(nothing).verdict, one(nothing).level, one(nothing).snr_change_db) == ("undecided", 1.0, None)


def test_the_first_sign_of_trouble_by_name_is_told_and_the_level_kept():
    clear, troubled = one(cell(5.0)), one(cell(5.0), frozenset({"stuck-relay", "mismatch"}))
    assert troubled.withheld == "mismatch" and troubled.level == clear.level
    assert clear.withheld == "" and not clear.held_back and not clear.by_physics


def test_what_is_shown_of_a_verdict_held_back_is_its_own_interval():
    near = cell(1.0 + 0.2 * 4.2)
    held = judge([near] + [cell(1.0)] * 39, 1.0, 0.95, [frozenset()] * 40)[0]
    assert held.snr_change_db == one(near).snr_change_db and held.level == one(near).level


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_where_both_do_not_meet_what_physics_allows_is_shown_about_nothing(sign):
    """Two errors beyond the limit, asked at a confidence at which the interval is narrower than that."""
    each = cell(sign * 1.15, se=0.3, ceiling=0.3, lower_bound=-0.3)
    found = judge([each], 1.0, 0.5, [frozenset()])[0]
    assert (found.verdict, found.by_physics) == ("either", True)
    t = stats.t.isf(look_level(10, 0.5) / 2, 9)
    shown = found.snr_change_db
    assert 1.15 - t * 0.3 > 0.3 + t * 0.05
    assert (shown.value, shown.low, shown.high) == pytest.approx((0.0, -0.3 - t * 0.05, 0.3 + t * 0.05))
