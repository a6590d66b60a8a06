"""A change of the meter in rows of a few nights: from which night, by which sign, and what chance may do."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.meter.changed import meter_change
from sweeper.analysis.meter.slope import PATHS

FIRST = date(2026, 1, 5)


def rows(
    steps: list[float | None], scatter: list[float] | None = None, visits: int = 100,
    antenna: list[float] | None = None, purpose: str = "noise", passes: int = 4,
) -> pl.DataFrame:  # fmt: skip
    """A row a night: its step, and its scatter over that of noise, squared, on loads and on the antenna."""
    count = len(steps)
    loads = scatter or [1.0] * count
    antennas = antenna or loads
    columns = {f"scatter_{path}": loads if path.startswith("load") else antennas for path in PATHS} | {
        f"scatter_visits_{path}": [visits] * count for path in PATHS
    }
    return pl.DataFrame(
        {"night": [FIRST + timedelta(days=n) for n in range(count)], "for": [purpose] * count,
         "passes": [passes] * count, "step_db": steps, **columns},
        schema_overrides={"step_db": pl.Float64},
    )  # fmt: skip


def changed(told: pl.DataFrame) -> tuple[int, str] | None:
    found = meter_change(told)
    return None if found is None else ((found.night - FIRST).days, found.what)


@pytest.mark.parametrize(
    ("steps", "at"),
    [
        ([1.0, 1.0, 0.4, 0.4], 2), ([1.0, 1.0, 1.0, 0.4, 0.4], 3), ([1.0, 1.0, 0.4, 0.4, 0.4], 2),
        ([1.0, 1.0, 1.0, 0.4], None), ([1.0, 0.4, 0.4, 0.4], None), ([1.0, 0.5, 0.4, 0.4], None),
        ([0.4, 1.0, 1.0, 0.4, 0.4], 3), ([1.0, 1.0, 1.0, 1.0], None), ([1.0, 1.0, 0.4, 0.4, 1.0, 1.0], 4),
        ([1.0, 1.0, 1.0001, 1.0001], None), ([1.0, 1.0, None, 0.4, 0.4], 3), ([1.0, 0.4, 0.4], None),
        ([None, None, None, None], None),
    ],
)  # fmt: skip
def test_a_step_that_two_nights_had_and_two_nights_have(steps: list[float | None], at: int | None) -> None:
    found = changed(rows(steps))
    assert found == (
        None if at is None else (at, f"its step was {steps[at - 1] or 1.0:g} dB and is {steps[-1]:g} dB")
    )


def test_carriers_and_hours_without_a_pass_tell_nothing_of_the_meter() -> None:
    steps: list[float | None] = [1.0, 1.0, 0.4, 0.4]
    assert changed(rows(steps, purpose="carrier")) is None
    assert changed(rows(steps, passes=0)) is None


def test_noise_that_scatters_half_as_far_is_another_meter_from_its_night_on() -> None:
    found = changed(rows([1.0] * 6, [1.0, 1.0, 1.0, 0.25, 0.25, 0.25]))
    assert found == (3, "noise scatters 0.50 times as far on it as before")
    assert changed(rows([1.0] * 6, [0.25] * 4 + [1.0] * 2)) == (
        4,
        "noise scatters 2.00 times as far on it as before",
    )


def test_the_latest_of_two_changes_counts() -> None:
    found = changed(rows([1.0] * 12, [1.0] * 4 + [0.5] * 4 + [0.1] * 4))
    assert found == (8, "noise scatters 0.45 times as far on it as before")
    both = changed(rows([1.0, 1.0, 0.4, 0.4, 0.4, 0.4], [1.0] * 4 + [0.25] * 2))
    assert both is not None and both[0] == 4
    both = changed(rows([1.0, 1.0, 1.0, 1.0, 0.4, 0.4], [1.0, 1.0] + [0.25] * 4))
    assert both is not None and both[0] == 4 and "step" in both[1]


def test_loads_are_asked_before_antennas_that_wander() -> None:
    """Antennas alone may crackle more from a night on: all paths together then differ, as far as they differ."""
    found = changed(rows([1.0] * 6, antenna=[1.0] * 3 + [4.0] * 3, scatter=[1.0] * 6))
    assert found == (3, f"noise scatters {np.sqrt(2.5):.2f} times as far on it as before")


@pytest.mark.parametrize(("visits", "told"), [(8, True), (5, False)])
def test_five_standard_errors_are_wanted(visits: int, told: bool) -> None:
    """Six nights of 0.55 against 1.0; the variance of a visit is 1.5 · 0.35 of its mean squared, 4 paths a night."""
    assert (changed(rows([1.0] * 6, [1.0] * 3 + [0.55] * 3, visits)) is not None) == told
    means, weight = (1.0, 0.55), visits * 4 * 3
    error = np.sqrt(sum(1.5 * 0.35 * mean**2 / weight for mean in means))
    assert (0.45 / error > 5.0) == told


@pytest.mark.parametrize(("ratio", "told"), [(0.7, True), (0.74, False)])
def test_slopes_differ_by_a_seventh_at_least(ratio: float, told: bool) -> None:
    """√0.72 is 0.85: three twentieths less."""
    assert (changed(rows([1.0] * 6, [1.0] * 3 + [ratio] * 3, 100_000)) is not None) == told


def test_nights_that_stray_by_themselves_are_no_change() -> None:
    assert changed(rows([1.0] * 8, [1.0, 0.3, 1.1, 0.2, 0.9, 0.4, 0.8, 0.3], 10_000)) is None


def test_nights_without_visits_do_not_count() -> None:
    told = rows([1.0] * 6, [1.0] * 3 + [0.25] * 3)
    gap = told.with_columns(
        pl.when(pl.col("night") == FIRST + timedelta(days=5)).then(0).otherwise(pl.col(name)).alias(name)
        for name in told.columns if name.startswith("scatter_visits")
    )  # fmt: skip
    assert changed(gap) == (3, "noise scatters 0.50 times as far on it as before")


@pytest.mark.parametrize("visits", [0, None])
def test_a_night_whose_scatter_nobody_knows_is_no_second_one_with_another_meter(visits: int | None) -> None:
    told = rows([1.0] * 5, [1.0] * 3 + [0.25] * 2)
    assert changed(told) is not None
    last = pl.col("night") == FIRST + timedelta(days=4)
    unknown = told.with_columns(
        pl.when(last).then(pl.lit(visits if "visits" in name else None)).otherwise(pl.col(name)).alias(name)
        for name in told.columns if name.startswith("scatter")
    )  # fmt: skip
    assert changed(unknown) is None
