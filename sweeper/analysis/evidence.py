"""What stands behind the findings, as small tables for pictures and for anyone who wants to check.

Shapes only: frozen, one polars frame for each picture, with its columns listed here. Nothing computes.
Every interval is at the findings' confidence. Unknown is null; a picture without data is an empty frame.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

_F = pl.Float64()

LEVELS: dict[str, pl.DataType] = {
    "band": pl.String(),
    "hour_utc": pl.Int64(),
    "path": pl.String(),  # antenna-bypass, antenna-stage, load-bypass, load-stage
    "level": _F,  # mean over nights, in the meter's decibels (dBm where calibrated)
    "low": _F,  # over nights from three on; of fewer, from their passes, and null for loads
    "high": _F,
    "nights": pl.Int64(),
    "impulsiveness_db": _F,  # mean power over the level; null for loads
}
NIGHTS: dict[str, pl.DataType] = {
    "band": pl.String(),
    "night": pl.Date(),  # the day the night began on
    "hour_utc": pl.Int64(),
    "snr_change_db": _F,  # of that night alone
    "low": _F,
    "high": _F,
    "noise_rise_db": _F,  # bypass
    "passes": pl.Int64(),
    "flags": pl.String(),
}
CURVE: dict[str, pl.DataType] = {
    "band": pl.String(),
    "noise_rise_db": _F,  # antenna over load through bypass
    "snr_change_db": _F,
    "low": _F,
    "high": _F,
    "ceiling_db": _F,  # what the best of all stages could give at this noise rise
}
POINTS: dict[str, pl.DataType] = {
    "band": pl.String(),
    "night": pl.Date(),
    "hour_utc": pl.Int64(),
    "noise_rise_db": _F,
    "snr_change_db": _F,
    "low": _F,  # of the S/N change of that night alone
    "high": _F,
}
CROSSINGS: dict[str, pl.DataType] = {
    "band": pl.String(),
    "worthwhile_db": _F,
    "noise_rise_db": _F,  # where the curve crosses the worthwhile change
    "noise_rise_low": _F,
    "noise_rise_high": _F,
    "reading": _F,  # the same as a meter reading in bypass: "stage in when noise reads below"
    "reading_low": _F,
    "reading_high": _F,
}
HEALTH: dict[str, pl.DataType] = {
    "night": pl.Date(),
    "passes": pl.Int64(),
    "floor": pl.Int64(),  # readings on the meter's floor
    "clipped": pl.Int64(),
    "occupied": pl.Int64(),  # visits set aside because somebody was transmitting there
    "stale": pl.Int64(),
    "overload": pl.Int64(),  # band hours with a sign of overload
}
GAINS: dict[str, pl.DataType] = {
    "band": pl.String(),
    "method": pl.String(),  # carriers, load, bend, noise, rated, combined; channel, where channels differ
    "hz": pl.Int64(),  # of a channel whose gain is its own, null else; then combined is the mean of the channels
    "gain_db": _F,
    "low": _F,
    "high": _F,
    "used": pl.Boolean(),
    "agrees": pl.Boolean(),
}
MONTHS: dict[str, pl.DataType] = {
    "band": pl.String(),
    "month": pl.Date(),  # its first day
    "light": pl.String(),  # day, night
    "nights": pl.Int64(),
    "snr_change_db": _F,
    "snr_change_low": _F,
    "snr_change_high": _F,
    "noise": _F,  # antenna-bypass level less the meter's drift
    "noise_low": _F,
    "noise_high": _F,
    "meter_drift_db": _F,  # load-bypass level against its own mean
}
PARTS: dict[str, pl.DataType] = {
    "band": pl.String(),  # or "all bands"
    "part": pl.String(),  # household, weekday, hour, season, night to night, rest
    "share": _F,  # of the variance of the noise level
    "low": _F,
    "high": _F,
    "size_db": _F,  # standard deviation it causes
    "cause": pl.String(),  # local, or either where the sky does the same
}

EXPECTED: dict[str, pl.DataType] = {
    "band": pl.String(),
    "hour_utc": pl.Int64(),
    "fa_db": _F,  # measured; null when uncalibrated
    "fa_low": _F,
    "fa_high": _F,
    "expected_db": _F,  # median of ITU-R P.372 at the band's first noise channel
    "expected_low": _F,  # its lower decile in time
    "expected_high": _F,
    "usual_low": _F,  # the same of time and of places of this kind together
    "usual_high": _F,
    "causes": pl.String(),  # what is expected of: man-made, galactic, atmospheric
    "whole": pl.Boolean(),  # false: a part is left out that may be the greatest, so nothing can be judged
}


def empty(columns: dict[str, pl.DataType]) -> pl.DataFrame:
    """A frame with these columns and no rows."""
    return pl.DataFrame(schema=columns)


@dataclass(frozen=True, slots=True)
class Evidence:
    """The tables behind the findings; the columns of each are the constant of the same name above."""

    levels: pl.DataFrame
    nights: pl.DataFrame
    curve: pl.DataFrame
    points: pl.DataFrame
    crossings: pl.DataFrame
    health: pl.DataFrame
    gains: pl.DataFrame
    months: pl.DataFrame
    parts: pl.DataFrame
    expected: pl.DataFrame
    local_or_sky: str = ""
    """One or two sentences: how far the noise follows the household, and how far the sky."""
    standing: Mapping[str, str] = field(default_factory=dict)
    """Of each calibrated band, in a few words: how its noise stands to what ITU-R P.372 expects."""
    settling: Mapping[str, str] = field(default_factory=dict)
    """Of each band, a clause: what would settle its open hours, as in its recommendation."""
