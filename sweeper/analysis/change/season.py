"""Month by month, day and night apart by the sun at the station, with the meter's drift told from the noise's.

From nightly rows to one table. Day is when the sun stands above the horizon in the middle of the hour.
"""

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache

import numpy as np
import polars as pl
from astral import Observer
from astral.sun import elevation

from sweeper.analysis import evidence
from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.cells import nightly_snr_change
from sweeper.analysis.band.gain import Gain
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.statistics.effective_nights import worth
from sweeper.analysis.statistics.estimates import summed
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK, look_level
from sweeper.analysis.statistics.interval import Interval

SUNSET_DEG = -0.833
"""Elevation of the sun's centre when its upper limb touches the horizon, refraction of 34' included."""


@lru_cache(maxsize=65_536)
def is_day(night: date, hour_utc: int, latitude: float, longitude: float) -> bool:
    """Whether the sun is up in the middle of that hour of that night (noon to noon)."""
    noon_utc = 12.0 - longitude / 15.0
    begin = datetime(night.year, night.month, night.day, tzinfo=UTC) + timedelta(hours=noon_utc)
    middle = begin.replace(minute=30, second=0) + timedelta(hours=(hour_utc - begin.hour) % 24)
    return elevation(Observer(latitude, longitude), middle) > SUNSET_DEG


def months(
    nights: pl.DataFrame,
    levels: pl.DataFrame,
    gains: Mapping[str, Gain | None],
    facts: StationFacts,
    alike: float = 0.0,
) -> pl.DataFrame:
    """Rows of `evidence.MONTHS`; intervals only from three nights on. `levels`: rows of `noise_levels`.

    `alike`: correlation of neighbouring nights.
    """
    changes = nightly_snr_change(nights, gains).select("night", "hour_utc", "band", "snr_change_db")
    rows = levels.join(changes, on=("night", "hour_utc", "band"), how="left")
    if rows.is_empty():
        return evidence.empty(evidence.MONTHS)
    hours = rows.select("night", "hour_utc").unique()
    light = [
        "day" if is_day(night, hour, facts.latitude, facts.longitude) else "night"
        for night, hour in hours.iter_rows()
    ]
    rows = rows.join(hours.with_columns(pl.Series("light", light)), on=("night", "hour_utc"))
    rows = rows.with_columns(pl.col("night").dt.truncate("1mo").alias("month"))
    usual = (
        pl.col("level")
        - pl.col("level").mean().over("band", "hour_utc")
        + pl.col("level").mean().over("band")
    )
    by_night = (
        rows.with_columns(usual.alias("level"))
        .group_by("band", "month", "light", "night")
        .agg(pl.col("level").mean(), pl.col("snr_change_db").mean(), pl.col("drift_db").mean())
        .sort("band", "month", "light", "night")
    )
    found: list[dict[str, object]] = []
    for (band, month, light_word), part in by_night.group_by("band", "month", "light", maintain_order=True):
        row: dict[str, object] = {"band": band, "month": month, "light": light_word, "nights": len(part)}
        row["meter_drift_db"] = part["drift_db"].mean()
        gain = gains.get(str(band))
        extra = (gain.se_db**2, gain.dof) if gain is not None else (0.0, 1.0)
        for column, name, more in (("snr_change_db", "snr_change", extra), ("level", "noise", (0.0, 1.0))):
            known = part.drop_nulls(column)
            values = known[column].to_numpy()
            value = "snr_change_db" if name == "snr_change" else "noise"
            interval = _interval(known["night"], values, more, 1.0 - facts.confidence, alike)
            row[value] = float(values.mean()) if len(values) else None
            row[f"{name}_low"] = interval.low if interval else None
            row[f"{name}_high"] = interval.high if interval else None
        found.append(row)
    return pl.DataFrame(found, schema=dict(evidence.MONTHS), orient="row")


def _interval(
    nights: pl.Series, values: Floats, more: tuple[float, float], alpha: float, alike: float
) -> Interval | None:
    if len(values) < FIRST_LOOK:
        return None
    day = nights.to_physical().to_numpy().astype(np.float64)
    spread = worth(day, alike).mean_of(float(values.var(ddof=1)) / len(values), len(values) - 1.0)
    return summed(float(values.mean()), [spread, more]).interval(look_level(len(values), alpha))


SEASONS = {12: "winter", 1: "winter", 2: "winter", 3: "spring", 4: "spring", 5: "spring"}
SEASONS |= {6: "summer", 7: "summer", 8: "summer", 9: "autumn", 10: "autumn", 11: "autumn"}
SOUTH = {"winter": "summer", "spring": "autumn", "summer": "winter", "autumn": "spring"}


def by_season(nights: pl.DataFrame, gain: Gain | None, facts: StationFacts, alike: float = 0.0) -> str:
    """What the stage is worth in each season, in a sentence; empty with fewer than two seasons of three nights.

    `nights`: nightly rows of one band. Hours are weighted alike in all seasons, as far as they were measured in all.
    """
    if gain is None or nights.is_empty():
        return ""
    south = facts.latitude < 0
    names = {month: SOUTH[name] if south else name for month, name in SEASONS.items()}
    rows = nights.drop_nulls("difference_db").with_columns(
        pl.col("night").dt.month().replace_strict(names, return_dtype=pl.String).alias("season")
    )
    count = rows["season"].n_unique()
    rows = rows.filter(pl.col("season").n_unique().over("hour_utc") == count)
    said = []
    for season in ("winter", "spring", "summer", "autumn"):
        of_night = (
            rows.filter(pl.col("season") == season)
            .group_by("night")
            .agg(pl.col("difference_db").mean())
            .sort("night")
        )
        values = gain.gain_db - of_night["difference_db"].to_numpy()
        more = (gain.se_db**2, gain.dof)
        interval = _interval(of_night["night"], values, more, 1.0 - facts.confidence, alike)
        if interval is not None:
            said.append(
                f"{season} {interval.value:.1f} dB ({interval.low:.1f} to {interval.high:.1f})".replace(
                    "-", "−"
                )
            )
    return f"By season the stage is worth: {', '.join(said)}." if len(said) >= 2 else ""
