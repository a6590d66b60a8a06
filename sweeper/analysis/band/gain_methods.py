"""Each way to find the gain of the stage by itself: carriers, noise of antenna and load, a noise source.

From summaries of one band to a `GainEstimate`. What the ways say together belongs to `gain`.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
import polars as pl
from scipy.special import chdtri

from sweeper.analysis.band.edge_lag import borne_db, lag_of, lags
from sweeper.analysis.band.noise_bend import gain_by_bend
from sweeper.analysis.results import GainSource
from sweeper.analysis.statistics.effective_nights import worth
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.analysis.thresholds import (
    GAINS_APART_CHANCE,
    GAINS_APART_DB,
    RISE_FOR_GAIN_DB,
    WORST_GAIN_SE_DB,
)

GainMethod = GainSource | Literal["bend"]
TELLING_OF_LOAD = (
    *("night", "hour_utc", "hz", "for", "passes", "noise_rise_bound", "difference_bound", "noise_rise_db"),
    *("power_rise_db", "stage_power_rise_db", "load_difference_db", "load_gain_se_db", "gain_resolution_db"),
)
"""The columns that tell of the gain by load."""


@dataclass(frozen=True, slots=True)
class GainEstimate:
    """Gain found one way: dB, its standard error, the degrees of freedom behind it, and from how many nights."""

    source: GainMethod
    gain_db: float
    se_db: float
    dof: float
    nights: int


@dataclass(frozen=True)
class GainMethods:
    """The `summaries` of one band and the gain each way finds in them, each looked for once, when first asked for.

    `alike`: correlation of neighbouring nights.
    """

    summaries: pl.DataFrame
    alike: float = 0.0

    @cached_property
    def noise(self) -> pl.DataFrame:
        """The rows of noise channels."""
        return self.summaries.filter(self.summaries["for"] == "noise")

    @cached_property
    def carriers(self) -> GainEstimate | None:
        """Gain by carriers: stage minus bypass after taking the noise out of each.

        Across edges or between visits, whichever the passes themselves tell more sharply: the readings of an edge are
        among those of the visits, so the two are not weighed together.
        """
        between = heard(self.summaries, "carrier")
        if self.edges is not None and told(self._edge_rows, "edge") >= told(between, "carrier"):
            return self.edges
        columns = ("carrier_gain_db", "carrier_gain_se_db", "resolution_db")
        return _of_channels("carriers", between, columns, "carrier_passes", self.alike)

    @cached_property
    def _edge_rows(self) -> pl.DataFrame:
        return heard(self.summaries, "edge")

    @cached_property
    def lag(self) -> Estimate | None:
        """Edges to the stage minus edges back, dB."""
        return lag_of(self._edge_rows)

    @cached_property
    def edges(self) -> GainEstimate | None:
        """Gain by carriers across changes of route while the receiver stays; None where the meter lags behind."""
        if lags(self.lag):
            return None
        columns = ("edge_gain_db", "edge_gain_se_db", "resolution_db")
        found = _of_channels("carriers", self._edge_rows, columns, "edge_passes", self.alike)
        return found and replace(found, se_db=float(np.hypot(found.se_db, borne_db(self.lag))))

    @cached_property
    def load(self) -> GainEstimate | None:
        """Gain by the noise powers of antenna and load.

        Weighted by the noise rise usual at the hour, not by that of the night: a chance high or low reading
        must not choose its own weight.
        """
        columns = ("load_gain_db", "load_gain_se_db", "gain_resolution_db")
        return _of_channels("load", self.telling_of_load, columns, "weight", self.alike)

    @cached_property
    def bend(self) -> GainEstimate | None:
        """Gain by the bend of the difference over noise; only where there is no load."""
        if self.noise["level_load_bypass"].count():
            return None
        found = gain_by_bend(self.noise)
        if found is None or found.se > WORST_GAIN_SE_DB:
            return None
        return GainEstimate("bend", found.value, found.se, found.dof, self.noise["night"].n_unique())

    @cached_property
    def source(self) -> GainEstimate | None:
        """Gain by the powers of noise source and load."""
        rows = self.summaries.filter(
            pl.col("source_gain_db").is_not_null() & (pl.col("source_gain_se_db") < WORST_GAIN_SE_DB)
        )
        columns = ("source_gain_db", "source_gain_se_db", "gain_resolution_db")
        return _of_channels("noise", rows, columns, "passes_seen", self.alike)

    @cached_property
    def telling_of_load(self) -> pl.DataFrame:
        """The noise rows that tell of the gain by load."""
        return _telling_of_load(self.summaries)

    @cached_property
    def offsets_db(self) -> dict[int, float]:
        """How the gain of each noise channel differs from their mean, by frequency; empty where they do not differ."""
        return _channel_offsets_db(self.telling_of_load)


def heard(summaries: pl.DataFrame, by: str, purpose: str = "carrier") -> pl.DataFrame:
    """The carrier rows that tell of the gain across edges (`by` is ``edge``) or between visits (``carrier``)."""
    return summaries.filter((pl.col("for") == purpose) & pl.col(f"{by}_gain_db").is_not_null())


def told(rows: pl.DataFrame, by: str) -> float:
    """How much they tell: the sum of 1/se² over the hours."""
    return float((1 / rows[f"{by}_gain_se_db"].clip(lower_bound=0.01) ** 2).sum())


def _telling_of_load(summaries: pl.DataFrame) -> pl.DataFrame:
    """The noise rows that tell of the gain by load, with their `weight`.

    The gain of a channel is a ratio of sums over its hours: of what the antenna adds to the load in the stage route
    and in bypass. `load_gain_db` becomes the pseudo-value of each hour, whose weighted mean is that gain. A mean of
    each hour's own ratio in dB would drop hours in which chance leaves nothing over the load, and so read high.
    """
    place = ("hour_utc", "hz")
    rows = (
        summaries.lazy()
        .filter(
            (pl.col("for") == "noise")
            & (pl.col("passes") > 0)
            & (pl.col("noise_rise_bound") == "")
            & (pl.col("difference_bound") == "")
        )
        .select(TELLING_OF_LOAD)
        .collect()
        .drop_nulls(["power_rise_db", "stage_power_rise_db", "load_difference_db"])
        .with_columns(
            (10 ** (pl.col("power_rise_db") / 10) - 1).alias("bypass"),
            (
                (10 ** (pl.col("stage_power_rise_db") / 10) - 1) * 10 ** (pl.col("load_difference_db") / 10)
            ).alias("stage"),
            pl.col("noise_rise_db").median().over(*place).alias("usual_rise"),
            pl.col("load_gain_se_db").median().over(*place).alias("usual_se"),
        )
        .with_columns(
            pl.col("bypass").median().over(*place).alias("usual"),
            (1 / pl.col("usual_se").clip(lower_bound=0.02) ** 2).alias("weight"),
            pl.col("load_gain_se_db").fill_null(pl.col("usual_se")),
        )
        .filter(
            (pl.col("usual_rise") > RISE_FOR_GAIN_DB)
            & (pl.col("usual_se") < WORST_GAIN_SE_DB)
            & (pl.col("usual") > 0)
        )
    )
    share = pl.col("weight") / pl.col("usual")
    ratio = (share * pl.col("stage")).sum().over("hz") / (share * pl.col("bypass")).sum().over("hz")
    rows = rows.with_columns(ratio.alias("ratio")).filter(pl.col("ratio") > 0)
    left = (pl.col("stage") / pl.col("ratio") - pl.col("bypass")) / pl.col("usual")
    return rows.with_columns((10 * pl.col("ratio").log10() + 10 / np.log(10) * left).alias("load_gain_db"))


def _channel_offsets_db(rows: pl.DataFrame) -> dict[int, float]:
    """Offsets of the channels from the `rows` that tell of the gain by load.

    Preselectors and the ends of a stage's range make them. From load gains of the same hours, so that nothing of the
    hour counts; medians, so that a few overloaded hours do not.
    """
    count = rows["hz"].n_unique()
    cell = ("night", "hour_utc")
    together = rows.filter(pl.col("hz").n_unique().over(*cell) == count)
    if together.is_empty():
        return {}
    found = (
        together.with_columns(
            (pl.col("load_gain_db") - pl.col("load_gain_db").mean().over(*cell)).alias("off")
        )
        .group_by("hz", maintain_order=True)
        .agg(
            pl.col("off").median(),
            pl.col("off").std().fill_null(WORST_GAIN_SE_DB).alias("scatter"),
            pl.len(),
            pl.col("gain_resolution_db").mean(),
        )
    )
    chance = found["scatter"].to_numpy() * 1.25 / np.sqrt(found["len"].to_numpy())  # of a median
    error = np.hypot(chance, found["gain_resolution_db"].to_numpy())
    offset = found["off"].to_numpy()
    if not (np.abs(offset) > np.maximum(GAINS_APART_DB, 4 * error)).any():
        return {}
    return {int(hz): float(value) for hz, value in zip(found["hz"].to_list(), offset, strict=True)}


def _of_channels(
    source: GainMethod, rows: pl.DataFrame, columns: tuple[str, str, str], weight: str, alike: float
) -> GainEstimate | None:
    """Mean over channels; where their gains differ more than by chance they weigh alike (random effects)."""
    channels = rows.partition_by("hz", maintain_order=True) if not rows.is_empty() else []
    parts = [_of_channel(source, channel, columns, weight, alike) for channel in channels]
    found = [part for part in parts if part is not None]
    if len(found) < 2:
        return found[0] if found else None
    value, variance = np.array([part.gain_db for part in found]), np.array([part.se_db**2 for part in found])
    fixed = 1 / variance
    chi = float(fixed @ (value - fixed @ value / fixed.sum()) ** 2)
    between = 0.0
    if chi > 3 * (len(found) - 1) and np.ptp(value) > GAINS_APART_DB:
        # DerSimonian and Laird 1986
        between = (chi - (len(found) - 1)) / (fixed.sum() - (fixed**2).sum() / fixed.sum())
    share = 1 / (variance + between)
    share = share / share.sum()
    # channels share some of a night's noise and of a receiver's rounding: half of their errors is taken as common
    alone, common = float(share**2 @ variance), float(share @ np.sqrt(variance)) ** 2
    se_db = float(np.sqrt((alone + common) / 2))
    return GainEstimate(
        source,
        float(share @ value),
        se_db,
        min(part.dof for part in found),
        max(part.nights for part in found),
    )


def _of_channel(
    source: GainMethod, rows: pl.DataFrame, columns: tuple[str, str, str], weight: str, alike: float
) -> GainEstimate | None:
    """Weighted mean over the rows of a channel; its error from the scatter of nights where there are three or more."""
    weights = rows[weight].cast(float).to_numpy()
    gain, se, resolution = (rows[name].to_numpy().astype(np.float64) for name in columns)
    nights, which = np.unique(rows["night"].to_physical().to_numpy(), return_inverse=True)
    total = weights.sum()
    if not total > 0:
        return None
    mean = float(weights @ gain / total)
    within = float(np.sqrt(np.nansum((weights * se) ** 2)) / total)
    coarse = float(np.sqrt(weights @ np.nan_to_num(resolution, posinf=WORST_GAIN_SE_DB) ** 2 / total))
    counted = rows[weight if source == "carriers" else "passes"].fill_null(0).sum()
    # each hour's own error rests on its passes, so many hours of few passes are known as well as their passes allow
    spread, dof = within, float(max(int(counted) - len(rows), 1))
    if len(nights) >= 3:
        moved = np.bincount(which, weights * (gain - mean))
        between = float(np.sqrt((moved**2).sum() * len(nights) / (len(nights) - 1)) / total)
        # few nights may agree by chance; they cannot agree better than the passes within them
        variance, dof = worth(nights.astype(np.float64), alike).mean_of(
            max(between, 0.5 * within) ** 2, float(len(nights) - 1), within**2
        )
        spread = float(np.sqrt(variance))
    elif len(gain) >= 2:
        among = float(np.sqrt(((weights * (gain - mean)) ** 2).sum() * len(gain) / (len(gain) - 1)) / total)
        if among**2 * (len(gain) - 1) > within**2 * chdtri(len(gain) - 1, GAINS_APART_CHANCE):
            spread, dof = among, float(len(gain) - 1)  # hours differ by more than their passes let expect
    se_db = float(np.sqrt(spread**2 + coarse**2 + 0.01**2))
    return GainEstimate(source, mean, se_db, dof, len(nights)) if np.isfinite(mean + se_db) else None
