"""How the stage's gain differs from hour to hour: warmth, a supply that sags, a receiver that drifts.

A gain averaged over the night, less the difference of one hour, turns such a drift into a change of S/N that is none.
The noise of antenna and load tells the gain of each hour by itself, and so do carriers. Where an hour lies above the
others by noise alone, products of the stage may have lifted it: then carriers must say the same, or nothing is said.
From the summaries of one band, night by night; no verdicts.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from scipy.special import stdtrit

from sweeper.analysis.band.gain import QUIETER, Gain
from sweeper.analysis.band.gain_methods import GainMethods, heard
from sweeper.analysis.band.noise_bend import NEPER_DB, hours_by_bend
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK
from sweeper.analysis.thresholds import FOLLOWS_SE, GAINS_APART_DB, HOURS_APART_CHANCE

DISAGREE = "hours-disagree"
"""The flag of hours of which nothing tells the gain, on a band where hours do not agree on it."""
BY_HOUR = "gain-by-hour"
"""The flag of a band on which they do not agree."""


@dataclass(frozen=True, slots=True)
class HourGains:
    """`offsets_db`: by hour (UTC), what the gain lies over the band's, `se_db`: the largest error of one. `spread_db`:
    how far hours lie apart; 0 where they agree, and every hour has the band's gain.
    """

    offsets_db: Mapping[int, float] = field(default_factory=dict)
    se_db: float = 0.0
    spread_db: float = 0.0
    by_carriers: bool = False
    """Whether carriers say so too, or alone."""

    def troubles(self, hour: int) -> frozenset[str]:
        """The flag of an hour whose gain nothing tells."""
        unknown = self.spread_db > 0.0 and hour not in self.offsets_db
        return frozenset({DISAGREE} if unknown else ())

    def applied(self, gain: Gain) -> Gain:
        """The band's gain, as sure as that of its hours, and a sentence where they differ."""
        if not self.spread_db:
            return gain
        told = ", ".join(
            f"{gain.gain_db + off:+.1f} dB at {hour:02d}" for hour, off in self.offsets_db.items()
        )
        sentence = (
            f"The gain is not the same all night: {told} UTC. Each hour is computed with its own. Look for warmth, a "
            "supply that sags, a contact."
            if self.by_carriers
            else f"By the noise, the gain differs by {self.spread_db:.1f} dB from hour to hour, and carriers do not "
            "say whether the gain drifts or the stage makes noise of its own at some hours."
        )
        return gain.less_sure(self.se_db, BY_HOUR, sentence.replace(" -", " −"))


@dataclass(frozen=True, slots=True)
class _Hour:
    off_db: float
    se_db: float
    dof: float

    @property
    def apart(self) -> bool:
        """Whether the hour has another gain than the band beyond chance."""
        sure = -float(stdtrit(self.dof, HOURS_APART_CHANCE / 2))
        return abs(self.off_db) > max(GAINS_APART_DB, sure * self.se_db)


def gain_by_hour(methods: GainMethods, gain: Gain) -> HourGains:
    """What the hours of one band, none of which overloads, say of its `gain`."""
    by_noise, by_carriers = _of_hours(_by_noise(methods)), _of_hours(_by_carriers(methods))
    loaded = methods.load is not None and len(by_noise) > 1
    if not loaded:
        at, dof = hours_by_bend(methods.noise)
        by_noise = {hour: _Hour(*each, dof) for hour, each in at.items()}
    told = by_noise if len(by_noise) > 1 else by_carriers
    if QUIETER in gain.flags or len(told) < 2 or not any(hour.apart for hour in told.values()):
        return HourGains()
    believed = told is by_carriers or _follow(by_noise, by_carriers)
    over_db = methods.load.gain_db - gain.gain_db if methods.load is not None else _apart(by_carriers, told)
    offsets_db = {
        hour: each.off_db + over_db
        for hour, each in sorted(told.items())
        if believed or (loaded and each.off_db < GAINS_APART_DB)
    }
    se_db = max((told[hour].se_db for hour in offsets_db), default=0.0)
    spread_db = float(np.ptp([each.off_db for each in told.values()]))
    return HourGains(offsets_db, se_db, spread_db, believed)


def _apart(by_carriers: Mapping[int, _Hour], by_noise: Mapping[int, _Hour]) -> float:
    """What carriers, which the band's gain is of, lie over noise in the mean of the hours that both tell, dB."""
    both = sorted(by_carriers.keys() & by_noise.keys())
    weight = [1 / by_carriers[hour].se_db ** 2 for hour in both]
    apart = [by_carriers[hour].off_db - by_noise[hour].off_db for hour in both]
    return float(np.average(apart, weights=weight)) if both else 0.0


def _follow(by_noise: Mapping[int, _Hour], by_carriers: Mapping[int, _Hour]) -> bool:
    """Whether carriers gain and lose from hour to hour as noise does."""
    both = by_noise.keys() & by_carriers.keys()
    noise, carriers = (np.array([of[hour].off_db for hour in both]) for of in (by_noise, by_carriers))
    weight = np.array([1 / (by_noise[hour].se_db ** 2 + by_carriers[hour].se_db ** 2) for hour in both])
    if len(both) < 2:
        return False
    noise, carriers = (each - np.average(each, weights=weight) for each in (noise, carriers))
    told = max(float(weight @ noise**2), 1e-12)
    slope, error = float(weight @ (noise * carriers)) / told, told**-0.5
    return bool(slope > FOLLOWS_SE * error and abs(slope - 1) < FOLLOWS_SE * error)


def _by_noise(methods: GainMethods) -> pl.DataFrame:
    """By hour and night, the gain by antenna and load over that of all hours: `value` and `se`, dB.

    The gain of an hour is a ratio of sums over its nights; a night's value is its pseudo-value.
    """
    share = pl.col("weight") / pl.col("usual")
    return (
        methods.telling_of_load.with_columns(
            (share * pl.col("stage") / pl.col("ratio")).alias("stage"),
            (share * pl.col("bypass")).alias("bypass"),
        )
        .group_by("hour_utc", "night", maintain_order=True)
        .agg(
            pl.col("stage", "bypass", "weight").sum(), pl.col("gain_resolution_db").mean().alias("resolution")
        )
        .with_columns((pl.col("stage").sum() / pl.col("bypass").sum()).over("hour_utc").alias("ratio"))
        .filter((pl.col("ratio") > 0) & (pl.col("bypass").sum() > 0).over("hour_utc"))
        .select(
            "hour_utc",
            (
                NEPER_DB
                * (
                    pl.col("ratio").log()
                    + (pl.col("stage") / pl.col("ratio") - pl.col("bypass"))
                    / pl.col("bypass").mean().over("hour_utc")
                )
            ).alias("value"),
            (1 / pl.col("weight").sqrt()).alias("se"),
            "resolution",
        )
    )


def _by_carriers(methods: GainMethods) -> pl.DataFrame:
    """The same by carriers, each over its own mean."""
    rows = heard(methods.summaries, "carrier").filter(pl.col("carrier_gain_se_db").is_not_null())
    weight = 1 / pl.col("carrier_gain_se_db").clip(lower_bound=0.05) ** 2
    rows = rows.with_columns(weight.median().over("hz", "hour_utc").alias("weight"))
    value, weight = pl.col("carrier_gain_db"), pl.col("weight")
    mean = (value * weight).sum().over("hz") / weight.sum().over("hz")
    return (
        rows.with_columns((value - mean).alias("value"))
        .group_by("hour_utc", "night", maintain_order=True)
        .agg(
            (pl.col("value") * weight).sum() / weight.sum(),
            (1 / weight.sum().sqrt()).alias("se"),
            pl.col("resolution_db").mean().alias("resolution"),
        )
        .select("hour_utc", "value", "se", "resolution")
    )


def _of_hours(nights: pl.DataFrame) -> dict[int, _Hour]:
    """The mean of each hour over its nights; how far nights scatter beside their errors is known by all hours."""
    hours = nights.group_by("hour_utc", maintain_order=True).agg(
        pl.col("value").mean(),
        (((pl.col("value") - pl.col("value").mean()) / pl.col("se")) ** 2).sum().alias("squares"),
        (pl.col("se") ** 2).mean().sqrt(),
        pl.col("resolution").fill_null(0.0).mean(),
        pl.len().alias("nights"),
    )
    hours = hours.filter(pl.col("nights") >= FIRST_LOOK)
    dof = float((hours["nights"] - 1).sum())
    if dof < 1:
        return {}
    scatter = float(np.sqrt(hours["squares"].to_numpy().sum() / dof))
    return {
        int(hour): _Hour(value, float(np.hypot(scatter * se / np.sqrt(count), coarse)), dof)
        for hour, value, se, coarse, count in hours.select(
            "hour_utc", "value", "se", "resolution", "nights"
        ).iter_rows()
    }
