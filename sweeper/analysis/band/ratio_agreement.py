"""The S/N change by ratio beside the direct one, hour by hour, and whether they agree.

By ratio: carriers over the noise of their own spectrum, which no change of the receiver's gain between two spectra
moves. Direct: the gain by all ways less what the stage adds to the noise, from levels. Both come from the same
spectra, so they are never averaged: where they agree the direct one stands, which is the sharper, and where they do
not the levels cannot be believed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from scipy.special import stdtrit

from sweeper.analysis.band.gain import Gain
from sweeper.analysis.band.gain_methods import heard, told
from sweeper.analysis.day.columns import BESIDE_LEVELS
from sweeper.analysis.statistics.estimates import Estimate, summed
from sweeper.analysis.thresholds import CHANNELS_APART_CHANCE, CHANNELS_APART_DB, ROUTES_APART_DB

MOVED = "gain-moved"
"""The flag of a band whose levels and ratios tell two things of the S/N change."""
NEAREST = 8
"""Noise channels nearest to a carrier, which were seen in its tuning."""
CELL = ("night", "hour_utc", "hz")


@dataclass(frozen=True, slots=True)
class ByRatio:
    """The S/N change by ratio, dB, by hour (UTC), on the nights measured; `sentence` is empty where levels agree."""

    changes: Mapping[int, Estimate] = field(default_factory=dict)
    sentence: str = ""


def beside_levels(summaries: pl.DataFrame) -> pl.DataFrame:
    """The rows of ratios whose levels are kept as well."""
    return summaries.filter((pl.col("for") == "ratio") & (pl.col("flags") == BESIDE_LEVELS))


def told_by_ratio(ratios: pl.DataFrame, noise: pl.DataFrame, gain: Gain | None) -> ByRatio:
    """From the rows of one band: `ratios` as of `beside_levels`, `noise` of its noise channels."""
    ways = {by: heard(ratios, by, "ratio") for by in ("edge", "carrier")}
    by = max(ways, key=lambda way: told(ways[way], way))
    rows = ways[by].select(
        *CELL,
        pl.col(f"{by}_gain_db").alias("change_db"),
        pl.col(f"{by}_gain_se_db").alias("se_db"),
        pl.col(f"{by}_passes").cast(pl.Float64).alias("weight"),
    )
    if rows.is_empty():
        return ByRatio()
    changes = {hour: _mean(part, "change_db") for hour, part in _by_hour(rows)}
    if gain is None:
        return ByRatio(changes)
    both = rows.join(_direct(rows, noise, gain), on=CELL).with_columns(
        (pl.col("change_db") - pl.col("direct_db")).alias("gap_db")
    )
    apart = {} if both.is_empty() else _at_hours(both) or _of_all(both, gain)
    return ByRatio(changes, _sentence(apart) if apart else "")


def _direct(rows: pl.DataFrame, noise: pl.DataFrame, gain: Gain) -> pl.DataFrame:
    """The direct S/N change at the times and near the places of the carriers in `rows`: `direct_db` by `CELL`."""
    usable = noise.filter((pl.col("passes") > 0) & (pl.col("difference_bound") == "")).drop_nulls(
        "difference_db"
    )
    places = usable["hz"].unique().to_numpy()
    near = [
        (int(hz), int(place), gain.at(int(place)))
        for hz in rows["hz"].unique()
        for place in places[np.argsort(np.abs(places - hz))[:NEAREST]]
    ]
    schema = {"hz": pl.Int64, "place": pl.Int64, "gain_db": pl.Float64}
    return (
        usable.select("night", "hour_utc", pl.col("hz").alias("place"), "difference_db")
        .join(pl.DataFrame(near, schema=schema, orient="row"), on="place")
        .group_by(CELL)
        .agg((pl.col("gain_db") - pl.col("difference_db")).median().alias("direct_db"))
    )


def _by_hour(rows: pl.DataFrame) -> list[tuple[int, pl.DataFrame]]:
    parts = rows.sort(*CELL).partition_by("hour_utc", as_dict=True, maintain_order=True)
    return [(int(str(hour)), part) for (hour,), part in parts.items()]


def _mean(rows: pl.DataFrame, column: str) -> Estimate:
    """Mean over carriers and nights, weighed by passes. Its error is the largest of what rows tell by their scatter,
    carriers by theirs (each has a gain of its own) and passes by theirs: few may agree by chance.
    """
    value, se, weight = (rows[name].to_numpy() for name in (column, "se_db", "weight"))
    share = weight / weight.sum()
    mean = float(share @ value)
    within = float(share**2 @ np.nan_to_num(se) ** 2)
    found = [(max(within, 1e-4), float(max(weight.sum() - len(value), 1.0)))]
    _, carrier = np.unique(rows["hz"].to_numpy(), return_inverse=True)
    for group in (np.arange(len(value)), carrier):
        strays = np.bincount(group, share * (value - mean))
        if len(strays) > 2:
            others = len(strays) - 1.0
            found.append((float(strays @ strays) * len(strays) / others, others))
    return summed(mean, [max(found)])


def _at_hours(both: pl.DataFrame) -> dict[int, float]:
    """Hours at which ratio and direct lie apart beyond what they do at the carrier's other hours, with how far, dB.

    Carrier by carrier: each has a gain of its own, since neither receiver nor stage is flat.
    """
    own = both.with_columns((pl.col("gap_db") - pl.col("gap_db").median().over("hz")).alias("moved_db"))
    found = {hour: _mean(part, "moved_db") for hour, part in _by_hour(own)}
    return {
        hour: each.value for hour, each in found.items() if len(found) > 1 and _beyond(each, ROUTES_APART_DB)
    }


def _of_all(both: pl.DataFrame, gain: Gain) -> dict[int, float]:
    """All hours, where ratio and direct lie apart on the mean of all carriers, with how far, dB."""
    mean = _mean(both, "gap_db")
    gap = summed(mean.value, [(mean.se**2, mean.dof), (gain.se_db**2, gain.dof)])
    # a carrier gains otherwise than the noise beside it by as much as a receiver is not flat; many of them do not
    least_db = max(ROUTES_APART_DB, CHANNELS_APART_DB / float(np.sqrt(both["hz"].n_unique())))
    hours = set(both["hour_utc"].to_list())
    return dict.fromkeys(hours, gap.value) if _beyond(gap, least_db) else {}


def _beyond(gap: Estimate, least_db: float) -> bool:
    sure = -float(stdtrit(gap.dof, CHANNELS_APART_CHANCE))
    return abs(gap.value) > max(least_db, sure * gap.se)


def _sentence(apart: Mapping[int, float]) -> str:
    worst = max(apart.values(), key=abs)
    hours = ", ".join(f"{hour:02d}" for hour in sorted(apart))
    way = "more" if worst > 0 else "less"
    return (
        f"Carriers over the noise of the same instant show up to {abs(worst):.1f} dB {way} S/N change than levels do "
        f"({hours} UTC): the receiver's gain did not stand still from one route to the other. Switch its gain control "
        "off and set its gain by hand, low enough for the strongest signals. The answer waits until they agree."
    )
