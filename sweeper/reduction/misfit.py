"""Whether what the station file says of the meter can be true of what the meter showed."""

from datetime import timedelta

import numpy as np
import polars as pl

from sweeper.analysis import MeterFacts
from sweeper.store import Store

MOST = 0.5
"""Share of readings that may lie beyond an end of the curve: an odd band may, a whole night says that it is wrong."""


def misfit(store: Store, meter: MeterFacts) -> tuple[str, str, str] | None:
    """Key, what is wrong and its mend, where readings of the last night contradict curve, floor or top; else None."""
    if not meter.curve and meter.floor is None and meter.top is None:
        return None
    days = store.days()
    if not days:
        return None
    last = store.passes(days[-1])
    if not last:
        return None
    since = last[-1].started - timedelta(hours=24)
    shown = (
        store.readings(since).select("reading").collect()["reading"].cast(pl.Float64).drop_nulls().to_numpy()
    )
    shown = shown[np.isfinite(shown)]
    if not len(shown):
        return None
    return misfit_of(float(shown.min()), float(shown.max()), shown, meter)


def misfit_of(
    lowest: float, highest: float, shown: np.ndarray, meter: MeterFacts
) -> tuple[str, str, str] | None:
    """The same from the readings `shown`, shape (n,)."""
    if meter.floor is not None and np.mean(shown < meter.floor - 1e-6) > MOST:
        return (
            "floor",
            f"the floor is {meter.floor:g}, and the meter showed values down to {lowest:g} in the last night.",
            "The floor is the lowest value that the meter can show: write it, or leave the key out and it is found.",
        )
    if meter.top is not None and np.mean(shown > meter.top + 1e-6) > MOST:
        return (
            "top",
            f"the top is {meter.top:g}, and the meter showed values up to {highest:g} in the last night.",
            "The top is the highest value that the meter can show: write it, or leave the key out.",
        )
    if meter.curve:
        first, last = meter.curve[0][0], meter.curve[-1][0]
        if np.mean((shown < first) | (shown > last)) > MOST:
            return (
                "curve",
                f"the curve knows {first:g} to {last:g}, and the meter showed {lowest:g} to {highest:g} last night.",
                "Calibrate over the levels that are measured, with `sweeper calibrate`, or write `curve: []`.",
            )
    return None
