"""Sequential boundaries against printed tables, and against direct simulation."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm, t

from sweeper.analysis.statistics.group_sequential import (
    LOOKS,
    boundaries,
    campaign_level,
    last_look,
    look_level,
    spent,
    spent_late,
)

POCOCK = {2: 2.178, 3: 2.289, 4: 2.361, 5: 2.413}
"""Two-sided 0.05: Pocock, Biometrika 64 (1977) 191; Jennison & Turnbull, Group Sequential Methods (1999), Table 2.1."""
O_BRIEN_FLEMING = {2: 1.977, 3: 2.004, 4: 2.024, 5: 2.040}
"""Constants C of C·sqrt(K/k), two-sided 0.05: O'Brien & Fleming, Biometrics 35 (1979) 549; ibid., Table 2.3."""
LAN_DEMETS = (4.8769, 3.3569, 2.6803, 2.2898, 2.0310)
"""Spending function like O'Brien-Fleming, five equal looks, two-sided 0.05: as printed by Reboussin et al., Control.
Clin. Trials 21 (2000) 190 (from memory)."""


def errors_spent(edges):
    """The error gone after each look, by SciPy's integral of the joint normal law of the looks."""
    gone = []
    for looks in range(1, len(edges) + 1):
        k = np.arange(1, looks + 1)
        covariance = np.sqrt(np.minimum.outer(k, k) / np.maximum.outer(k, k))
        edge = np.asarray(edges[:looks])
        law = multivariate_normal(np.zeros(looks), covariance)
        inside = law.cdf(edge, lower_limit=-edge, rng=np.random.default_rng(1))
        gone.append(1.0 - float(inside))
    return gone


@pytest.mark.parametrize(("looks", "constant"), POCOCK.items())
def test_pococks_constants_come_back(looks, constant):
    gone = errors_spent([constant] * looks)
    assert gone[-1] == pytest.approx(0.05, abs=2e-4)
    assert boundaries(range(1, looks + 1), gone) == pytest.approx([constant] * looks, abs=5e-3)


@pytest.mark.parametrize(("looks", "constant"), O_BRIEN_FLEMING.items())
def test_o_brien_and_flemings_constants_come_back(looks, constant):
    edges = [constant * np.sqrt(looks / look) for look in range(1, looks + 1)]
    gone = errors_spent(edges)
    assert gone[-1] == pytest.approx(0.05, abs=2e-4)
    assert boundaries(range(1, looks + 1), gone)[1:] == pytest.approx(edges[1:], abs=1e-2)


def test_lan_and_demets_spending_comes_back():
    spending = [4 * norm.sf(norm.isf(0.0125) / np.sqrt(share)) for share in (0.2, 0.4, 0.6, 0.8, 1.0)]
    two_sides = boundaries([0.2, 0.4, 0.6, 0.8, 1.0], spending)
    assert two_sides == pytest.approx(LAN_DEMETS, abs=2e-3)


def test_a_single_look_is_the_plain_interval():
    assert boundaries([7.0], [0.05])[0] == pytest.approx(norm.isf(0.025), abs=1e-6)


@pytest.mark.parametrize("spending", [spent, spent_late])
def test_spending_never_exceeds_what_may_be_spent(spending):
    gone = [spending(nights, 0.05) for nights in range(3, 2000)]
    assert np.all(np.diff(gone) > 0)
    assert gone[-1] < 0.05


def test_looking_every_morning_errs_as_seldom_as_stated_even_with_few_nights():
    """20 000 campaigns of 40 nights without any difference, Student's t; each morning sees that of the last look."""
    rng = np.random.default_rng(7)
    values = rng.standard_normal((20_000, 40))
    count = np.arange(1, 41)
    mean = values.cumsum(axis=1) / count
    square = (values**2).cumsum(axis=1)
    wrong = np.zeros(20_000, dtype=bool)
    for nights in sorted({last_look(morning) for morning in range(3, 41)}):
        spread = (square[:, nights - 1] - nights * mean[:, nights - 1] ** 2) / (nights - 1)
        edge = t.isf(look_level(nights, 0.05) / 2, nights - 1)
        wrong |= np.abs(mean[:, nights - 1]) > edge * np.sqrt(spread / nights)
    assert 0.035 < wrong.mean() < 0.05


def test_looks_lie_a_factor_of_about_one_and_a_half_apart_and_stand_until_the_next():
    assert LOOKS[:8] == (3, 5, 7, 10, 14, 20, 28, 40)
    assert np.diff(np.log(LOOKS)).max() < np.log(1.7) and LOOKS[-1] > 3600
    assert [last_look(nights) for nights in (0, 2, 3, 4, 5, 13, 14, 39, 99_999)] == [
        0,
        2,
        3,
        3,
        5,
        10,
        14,
        28,
        3620,
    ]
    assert look_level(13, 0.05) == look_level(10, 0.05) > look_level(14, 0.05)
    daily = boundaries(range(3, 21), [spent(nights, 0.05) for nights in range(3, 21)])[-1]
    assert norm.isf(look_level(20, 0.05) / 2) < daily - 0.2


def test_a_look_and_its_campaign_are_inverse():
    for nights in (1, 3, 4, 9, 30, 70):
        for alpha in (0.1, 0.05, 0.01, 1e-4):
            assert campaign_level(nights, look_level(nights, alpha)) == pytest.approx(alpha, rel=1e-6)
