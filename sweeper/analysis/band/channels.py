"""Noise channels of a band held against each other: those with a signal on them, and those that tell of two stages.

Noise from outside is alike on channels near each other, so one that stands above its fellow night after night at
the same hour holds a carrier, however steady. Channels far apart in frequency are no fellows: noise falls with it. And
what the stage does is alike on all of them: where it is not, and no load shows whose gain differs, the mean of the
channels is nobody's. Needs two noise channels; takes no verdicts.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl
from scipy.special import stdtrit

from sweeper.analysis.thresholds import (
    CHANNELS_APART_CHANCE,
    CHANNELS_APART_DB,
    FELLOWS_WITHIN,
    NOISE_FALLS_DB,
)

OCCUPIED = "occupied-channel"
DISAGREE = "channels-disagree"


def within_channel(value: pl.Expr) -> pl.Expr:
    """By how much a value lies over its channel's mean: what changes from hour to hour, not from place to place.

    The receiver's response and the stage's gain differ over a band; rows of many channels are no independent hours.
    """
    return value - value.mean().over("hz")


@dataclass(frozen=True, slots=True)
class Channels:
    """`occupied`: hour and frequency in hertz of those to leave out, with how far they stand above the quietest, dB.
    `apart`: hours in which the channels left do not agree on the difference, with how far they are apart, dB."""

    occupied: dict[tuple[int, int], float]
    apart: dict[int, float]
    held: dict[tuple[int, int], float] = field(default_factory=dict)
    """Hour and frequency of those on which a carrier stands, with its power over the noise, dB; left out as well."""

    def without_occupied(self, rows: pl.DataFrame) -> pl.DataFrame:
        """The rows of channels that are empty."""
        out = {*self.occupied, *self.held}
        if not out:
            return rows
        there = pl.struct("hour_utc", "hz").is_in([{"hour_utc": hour, "hz": hz} for hour, hz in sorted(out)])
        return rows.filter(~(there & (pl.col("for") == "noise")))

    @property
    def sentences(self) -> tuple[str, ...]:
        """What a person should know of them."""
        said = []
        for hz in sorted({hz for _, hz in self.occupied}):
            above = {hour: db for (hour, place), db in self.occupied.items() if place == hz}
            hours = ", ".join(f"{hour:02d}" for hour in sorted(above))
            said.append(
                f"The noise channel {hz / 1e3:g} kHz stands {max(above.values()):.1f} dB above the quietest of the "
                f"band night after night ({hours} UTC): a signal is on it, and it is left out there. Choose another."
            )
        for hz in sorted({hz for _, hz in self.held}):
            over = {hour: db for (hour, place), db in self.held.items() if place == hz}
            hours = ", ".join(f"{hour:02d}" for hour in sorted(over))
            said.append(
                f"On the noise channel {hz / 1e3:g} kHz readings scatter less than noise can ({hours} UTC): a carrier "
                f"stands there, up to {max(over.values()):.0f} dB over the noise, and it is left out. Choose another."
            )
        if self.apart:
            said.append(
                f"The noise channels differ by up to {max(self.apart.values()):.1f} dB in what the stage does to them, "
                "and without a load nothing shows which is right: no answer. Give the station a load, or channels "
                "nearer to each other."
            )
        return tuple(said)


def channels(rows: pl.DataFrame, held: Mapping[tuple[int, int], float] | None = None) -> Channels:
    """From the `rows` of one band's summaries; `held`: hours and frequencies at which a carrier is known to stand."""
    found = Channels({}, {}, dict(held or {}))
    rows = found.without_occupied(rows)
    noise = rows.filter(
        (pl.col("for") == "noise")
        & (pl.col("passes") > 0)
        & (pl.col("difference_bound") == "")
        & (pl.col("scale") == 0)
    )
    if noise["hz"].n_unique() < 2:
        return found
    loaded = noise.filter((pl.col("noise_rise_bound") == "") & pl.col("noise_rise_db").is_not_null())
    with_load = not loaded.is_empty()
    column = "noise_rise_db" if with_load else "level_antenna_bypass"
    occupied = {
        (hour, high): above
        for near in _near_each_other(loaded if with_load else noise)
        for (hour, _, high), above in _apart(near, column, NOISE_FALLS_DB).items()
    }
    found = replace(found, occupied=occupied)
    if with_load:
        return found
    differing = _apart(found.without_occupied(noise), "difference_db")
    apart: dict[int, float] = {}
    for (hour, _, _), db in differing.items():
        apart[hour] = max(db, apart.get(hour, 0.0))
    return replace(found, apart=apart)


def _near_each_other(rows: pl.DataFrame) -> list[pl.DataFrame]:
    """The rows by groups of channels whose frequencies lie near the lowest of the group."""
    groups: list[list[int]] = []
    for hz in sorted(rows["hz"].unique().to_list()):
        if groups and hz <= FELLOWS_WITHIN * groups[-1][0]:
            groups[-1].append(hz)
        else:
            groups.append([hz])
    return [rows.filter(pl.col("hz").is_in(group)) for group in groups if len(group) > 1]


def _apart(rows: pl.DataFrame, column: str, falls_db: float = 0.0) -> dict[tuple[int, int, int], float]:
    """Hours in which a channel stands above the lowest beyond chance: (hour, low, high) and by how many dB.

    Differences of the same night and hour, averaged over nights; their scatter is that of all hours together.
    `falls_db`: what tenfold frequency alone may make of it.
    """
    found: dict[tuple[int, int, int], float] = {}
    usual = rows.group_by("hz").agg(pl.col(column).median()).sort(column, "hz")
    for low in usual["hz"].to_list()[:1]:
        base = rows.filter(pl.col("hz") == low).select("night", "hour_utc", pl.col(column).alias("low"))
        beside = (
            rows.filter(pl.col("hz") != low)
            .join(base, on=("night", "hour_utc"))
            .select("hour_utc", "hz", (pl.col(column) - pl.col("low")).alias("apart"), "resolution_db")
            .drop_nulls("apart")
        )
        for (high,), pair in beside.partition_by("hz", as_dict=True).items():
            by_hour = pair.group_by("hour_utc").agg(
                pl.col("apart").mean(),
                pl.len().alias("nights"),
                ((pl.col("apart") - pl.col("apart").mean()) ** 2).sum().alias("squares"),
                pl.col("resolution_db").mean(),
            )
            dof = float((by_hour["nights"] - 1).sum())
            if dof < 4:
                continue
            spread = float(by_hour["squares"].sum()) / dof
            sure = -float(stdtrit(dof, CHANNELS_APART_CHANCE))
            alike_db = CHANNELS_APART_DB + falls_db * abs(float(np.log10(high / low)))
            for hour, apart, nights, coarse in by_hour.select(
                "hour_utc", "apart", "nights", "resolution_db"
            ).iter_rows():
                error = float(np.sqrt(spread / nights + 2 * (coarse or 0.0) ** 2))
                if abs(apart) > max(alike_db, sure * error):
                    pair_of = (int(low), int(high)) if apart > 0 else (int(high), int(low))
                    found[int(hour), *pair_of] = abs(float(apart))
    return found
