"""Intervals: Student's, and one that stays valid while somebody watches."""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from sweeper.ab.intervals import log_evidence, t_limit, watched_limit


def test_read_once_it_is_students_interval() -> None:
    # R. A. Fisher's table of t, as in any statistics text: 2.262 for 9 degrees of freedom at 95 %
    assert t_limit(10, 0.95) == pytest.approx(2.262, abs=5e-4)
    assert t_limit(24, 0.95) == pytest.approx(stats.t(23).ppf(0.975))


def test_the_evidence_is_the_integral_that_it_stands_for() -> None:
    # likelihood ratio of noncentral to central t, averaged over a normal effect size (SciPy's nct)
    blocks, t, spread = 12, 2.7, 1.0
    over = quad(
        lambda d: stats.nct(blocks - 1, d * np.sqrt(blocks)).pdf(t) * stats.norm(0, spread).pdf(d), -3, 3
    )[0]
    assert log_evidence(t, blocks, spread) == pytest.approx(
        np.log(over / stats.t(blocks - 1).pdf(t)), abs=1e-6
    )


@pytest.mark.parametrize("blocks", [10, 24, 100])
def test_the_watched_limit_is_where_the_evidence_is_twenty(blocks: int) -> None:
    assert log_evidence(watched_limit(blocks, 0.95), blocks) == pytest.approx(np.log(20.0))
    assert watched_limit(blocks, 0.95) / t_limit(blocks, 0.95) < 1.9


def test_looking_after_every_block_misses_no_more_than_was_promised() -> None:
    rng = np.random.default_rng(9)
    values = rng.standard_normal((2000, 80))
    missed = np.zeros(2000, bool)
    for n in range(10, 81):
        part = values[:, :n]
        t = np.abs(part.mean(1)) / (part.std(1, ddof=1) / np.sqrt(n))
        missed |= t > watched_limit(n, 0.95)
    assert missed.mean() < 0.05
