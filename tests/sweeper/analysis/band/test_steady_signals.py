"""A carrier on a noise channel is told by readings that scatter less than noise can, with no fellow channel to ask."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from scipy.stats import ncx2

from sweeper.analysis import StationFacts, findings_from, summarise_day, table_of
from sweeper.analysis.band.steady_signals import carrier_over_noise_db, steady_signals
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

pytestmark = pytest.mark.slow

RISES = (8.0, 11.0, 14.0, 9.5)
NIGHTS = 4
BENT = ((-160.0, -122.5), (-35.0, -35.0), (60.0, 60.0))


def season(on_first: float | None, load_every: int = 2, **more: object) -> tuple[pl.DataFrame, StationFacts]:
    """Four bands of one noise channel each; `on_first` over the noise, dB, stands a carrier on the first band's."""
    bands = tuple(BandTruth(f"band {n}", rise, noise_channels=1) for n, rise in enumerate(RISES))
    values: dict[str, object] = {
        "nights": NIGHTS,
        "hours": (19, 23),
        "load_every": load_every,
        "floor_db": -160.0,
    }
    rows = []
    for resident in (None, on_first):
        course = Course(bands, **(values | more))  # type: ignore[arg-type]
        thrown = campaign(replace(course, resident_over_noise_db=resident), 5)
        told = facts_of(thrown)
        days = [summarise_day(thrown.night(n).with_columns(flags=pl.lit("")), told) for n in range(NIGHTS)]
        rows.append(pl.concat(days))
    clean, held = rows
    first = pl.col("band") == "band 0"
    return pl.concat([clean.filter(~first), held.filter(first)]), told


def test_a_carrier_is_found_and_its_strength_told() -> None:
    summaries, told = season(3.0)
    found = steady_signals(summaries, told.meter)
    assert {(band, hour) for band, hour, _ in found} == {("band 0", 19), ("band 0", 23)}
    assert all(over_db == pytest.approx(3.0, abs=2.0) for over_db in found.values())
    table = table_of(summaries, told)
    assert "scatter less than noise can" in " ".join(table.diagnoses["band 0"].sentences)
    assert not any(cell.band == "band 0" and cell.nights for cell in table.cells)
    band = next(each for each in findings_from(table, summaries, told).bands if each.band == "band 0")
    assert all(period.verdict == "undecided" for period in band.periods)


@pytest.mark.parametrize(
    "more",
    [{}, {"load_every": 0}, {"bend": BENT}, {"detector": "log-average"}, {"step_db": 0.1}],
    ids=["load", "no load", "bent", "log-average", "fine"],
)
def test_noise_alone_is_no_carrier_whatever_the_meter(more: dict[str, object]) -> None:
    summaries, told = season(None, **more)
    assert steady_signals(summaries, told.meter) == {}


def test_where_nothing_else_stands_at_that_level_nothing_is_said() -> None:
    summaries, told = season(3.0)
    assert steady_signals(summaries.filter(pl.col("band") == "band 0"), told.meter) == {}
    assert steady_signals(summaries.clear(), told.meter) == {}


@pytest.mark.parametrize("over_db", [0.0, 3.0, 10.0])
def test_what_is_left_of_the_scatter_is_that_of_a_carrier_in_noise(over_db: float) -> None:
    """Power of a carrier in noise is a non-central χ² (Rice 1945): SciPy's variance over its mean squared."""
    dof, carrier = 96.0, 10 ** (over_db / 10)
    mean, variance = ncx2.stats(dof, dof * carrier, moments="mv")
    left = float(variance / mean**2) / (2 / dof)
    assert carrier_over_noise_db(left) == pytest.approx(over_db, abs=0.01)
    assert left == pytest.approx((1 + 2 * carrier) / (1 + carrier) ** 2, rel=1e-9)
    assert np.isfinite(carrier_over_noise_db(0.999))
