"""The lag of a meter behind the relay, from rows of carriers written down: its mean, error and when it counts."""

import polars as pl
import pytest
from scipy.stats import t as student

from sweeper.analysis.band.edge_lag import borne_db, lag_of, lags, sentence_of
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.analysis.thresholds import LAG_CHANCE, LAG_DB


def rows(*each: tuple[float | None, float | None, int]) -> pl.DataFrame:
    """Lag in dB, its error, and the passes of it, of each carrier."""
    return pl.DataFrame(
        each,
        schema={"edge_lag_db": pl.Float64, "edge_lag_se_db": pl.Float64, "edge_passes": pl.Int64},
        orient="row",
    )


def test_carriers_weigh_by_their_passes() -> None:
    """Three quarters of 2.0 dB and one of 0.4: 1.6, known to the root of (0.75 · 0.2)² + (0.25 · 0.8)² = 0.25."""
    found = lag_of(rows((2.0, 0.2, 12), (0.4, 0.8, 4)))
    assert found is not None
    assert (found.value, found.se, found.dof) == (pytest.approx(1.6), pytest.approx(0.25), 14.0)
    one = lag_of(rows((2.0, 0.2, 1)))
    assert one is not None and one.dof == 1.0


@pytest.mark.parametrize("other", [(None, 0.2, 4), (9.0, None, 4), (9.0, 0.2, 0), (9.0, 0.0, 4)])
def test_a_carrier_without_edges_both_ways_or_without_an_error_says_nothing(
    other: tuple[float | None, float | None, int],
) -> None:
    assert lag_of(rows(other)) is None
    found = lag_of(rows((2.0, 0.2, 12), other))
    assert found is not None and (found.value, found.se, found.dof) == (
        pytest.approx(2.0),
        pytest.approx(0.2),
        11.0,
    )


SURE = float(student.ppf(1.0 - LAG_CHANCE / 2, 14))


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_lag_counts_beyond_chance_and_from_what_matters_on(sign: float) -> None:
    for value, se, told in (
        (LAG_DB * 1.01, 1e-6, True), (LAG_DB * 0.99, 1e-6, False),
        (SURE * 1.01, 1.0, True), (SURE * 0.99, 1.0, False),
    ):  # fmt: skip
        assert lags(Estimate(sign * value, se, 14.0)) == told
    assert not lags(None)


@pytest.mark.parametrize(
    ("value", "se", "borne"), [(0.5, 0.3, 0.2), (-0.5, 0.3, 0.2), (0.3, 0.3, 0.0), (0.2, 0.3, 0.0)]
)
def test_what_a_lag_leaves_open_is_half_of_it_less_chance(value: float, se: float, borne: float) -> None:
    """√(0.5² − 0.3²) = 0.4, and the mean of both ways is off by half."""
    assert borne_db(Estimate(value, se, 9.0)) == pytest.approx(borne)
    assert borne_db(None) == 0.0


def test_a_lag_is_told_without_its_sign() -> None:
    for value in (1.24, -1.24):
        assert "differ by 1.2 dB on carriers" in sentence_of(Estimate(value, 0.1, 9.0))
