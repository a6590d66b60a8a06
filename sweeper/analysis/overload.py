"""What is wrong with the chain, told from the data alone: overload, compression, relays, supply, mismatch.

Looked for before any good news is told. From the summaries of one band to flags by hour and sentences for a
person. Verdicts do not belong here.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sweeper.analysis.facts import StationFacts
from sweeper.analysis.gain import measured
from sweeper.analysis.levels import Floats
from sweeper.analysis.noise_figure import thermal_dbm

if TYPE_CHECKING:
    import polars as pl

EXCESS_DB = 0.7
"""Noise that rises this much more than carriers do matters; less would not change a verdict of 1 dB."""
S9_DBM = -73.0
"""IARU Region 1 Technical Recommendation R.1, below 30 MHz."""
WEAK_CARRIERS_DB = 6.0
"""Carriers must range over this much for the hours of weak ones to be free of what the strong ones do."""
SURE = 3.3
"""Standard errors by which it must do so (one in 2000 by chance, for one of some twenty hours)."""


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What ails the chain on one band.

    `hours` has columns hour_utc, excess_db, excess_se_db and overload (true: noise rose by more than gain can
    explain). `flags` hold for the whole band; each sentence says what was seen, what it means and what to do.
    """

    hours: "pl.DataFrame"
    flags: tuple[str, ...]
    sentences: tuple[str, ...]

    @property
    def overloaded_hours(self) -> tuple[int, ...]:
        """Hours (UTC) in which overload shows."""
        rows = self.hours.filter(self.hours["overload"])
        return tuple(int(hour) for hour in rows["hour_utc"].to_list())


def diagnose(summaries: "pl.DataFrame", facts: StationFacts) -> Diagnosis:
    """Look at the `summaries` of one band for everything that makes a figure look better or worse than it is."""
    hours = _excess_by_hour(summaries)
    signs = [
        *_overload(hours),
        *_compression(summaries),
        *_dead(summaries, facts),
        *_swapped(summaries),
        *_load_too_low(summaries),
        *_unit(summaries, facts),
    ]
    return Diagnosis(hours, tuple(flag for flag, _ in signs), tuple(sentence for _, sentence in signs))


def without_overload(summaries: "pl.DataFrame", diagnosis: Diagnosis) -> "pl.DataFrame":
    """The summaries of the hours in which no overload shows, for gain and noise figures."""
    import polars as pl

    return summaries.filter(~pl.col("hour_utc").is_in(list(diagnosis.overloaded_hours)))


def product_order(drop_db: float, attenuation_db: float) -> float:
    """What an attenuator ahead says of noise: dB of noise lost for each dB of attenuation.

    1 for real noise, 2 for second-order intermodulation products, 3 for third-order ones.
    """
    return drop_db / attenuation_db


def _excess_by_hour(summaries: "pl.DataFrame") -> "pl.DataFrame":
    """By how much noise powers rise more than carriers (or than in the quietest hours), for each hour."""
    import polars as pl

    empty = pl.DataFrame(
        schema={
            "hour_utc": pl.Int64,
            "excess_db": pl.Float64,
            "excess_se_db": pl.Float64,
            "strongest_db": pl.Float64,
            "overload": pl.Boolean,
        }
    )
    rows = summaries.filter(
        (pl.col("for") == "noise")
        & pl.col("load_gain_db").is_not_null()
        & pl.col("load_gain_se_db").is_not_null()
        & (pl.col("load_gain_se_db") < 3.0)
        & (pl.col("noise_rise_bound") == "")
        & (pl.col("difference_bound") == "")
    )
    if rows.is_empty():
        return empty
    reference_db, reference_se = _reference(summaries, rows)
    if not np.isfinite(reference_db):
        return empty
    found = []
    for (hour,), part in rows.group_by("hour_utc", maintain_order=True):
        mean, error = _mean_of_nights(part)
        excess = mean - reference_db
        coarse = float(np.sqrt(np.nanmean(part["gain_resolution_db"].to_numpy() ** 2)))
        error = float(np.sqrt(error**2 + reference_se**2 + coarse**2))
        found.append((hour, excess, error, float(np.mean(part["strongest_carrier_db"].to_numpy()))))
    hours = pl.DataFrame(found, schema=list(empty.columns)[:4], orient="row")
    overload = (pl.col("excess_db") > EXCESS_DB) & (pl.col("excess_db") > SURE * pl.col("excess_se_db"))
    return hours.with_columns(overload.alias("overload")).sort("hour_utc")


def _mean_of_nights(part: "pl.DataFrame") -> tuple[float, float]:
    value, error = part["load_gain_db"].to_numpy(), part["load_gain_se_db"].to_numpy()
    weight = 1 / np.maximum(error, 0.05) ** 2
    mean = float(weight @ value / weight.sum())
    within = float(np.sqrt(1 / weight.sum()))
    if len(value) >= 3:
        between = float(np.sqrt((weight**2 * (value - mean) ** 2).sum()) / weight.sum())
        return mean, max(within, between)
    return mean, within


def _reference(summaries: "pl.DataFrame", rows: "pl.DataFrame") -> tuple[float, float]:
    """A gain that intermodulation does not raise, dB, with its standard error; NaN where there is none.

    That of carriers or of the source; that of noise at times of weak carriers; both where they agree.
    """
    import polars as pl

    blank = pl.lit(None, dtype=pl.Float64)
    steady = measured(summaries.with_columns(blank.alias("load_gain_db")))
    known = (steady.gain_db, steady.se_db) if steady is not None else (float("nan"), float("inf"))
    strength = rows["strongest_carrier_db"].to_numpy()
    weak = rows.filter(pl.Series(strength <= np.nanquantile(strength, 0.34)))
    if not weak.is_empty() and np.nanmax(strength) - np.nanmin(strength) >= WEAK_CARRIERS_DB:
        quiet = _mean_of_nights(weak)
        error = float(np.hypot(known[1], quiet[1]))
        if not np.isfinite(known[0]) or quiet[0] - known[0] < 2.5 * error:
            pair = np.array([known[0] if np.isfinite(known[0]) else 0.0, quiet[0]])
            weight = 1 / np.array([known[1], quiet[1]]) ** 2
            return float(pair @ weight / weight.sum()), float(1 / np.sqrt(weight.sum()))
    return known if known[1] < 1.0 else (float("nan"), float("nan"))


def _overload(hours: "pl.DataFrame") -> list[tuple[str, str]]:
    hit = hours.filter(hours["overload"])
    if hit.is_empty():
        return []
    worst = float(hit["excess_db"].to_numpy().max())
    slope, error = _slope(hours["strongest_db"].to_numpy(), hours["excess_db"].to_numpy())
    follows = np.isfinite(slope) and slope > 0.1 and slope > 2 * error
    everywhere = len(hit) >= 0.9 * len(hours) and len(hours) >= 3
    if everywhere and not follows:
        return [
            (
                "mismatch",
                f"In every hour noise rises {worst:.1f} dB more than carriers do, whatever their strength: antenna and "
                "load do not match the stage alike, or the load is not 50 ohms. Gain from the load is not to be "
                "trusted here; check the termination and its relay.",
            )
        ]
    named = ", ".join(f"{int(hour):02d}" for hour in hit["hour_utc"].to_list())
    extra = " and follows the strongest carrier of the hour" if follows else ""
    return [
        (
            "overload",
            f"With the stage in, noise rises up to {worst:.1f} dB more than the gain{extra} (hours {named} UTC): the "
            "stage or the receiver behind it overloads, and the added noise is its own intermodulation. Put a filter "
            "or an attenuator ahead, or leave the stage out at these hours.",
        )
    ]


def _slope(x: Floats, y: Floats) -> tuple[float, float]:
    """Slope of y over x by least squares and its standard error; NaN with fewer than four points."""
    good = np.isfinite(x) & np.isfinite(y)
    x, y = x[good], y[good]
    if len(x) < 4 or float(np.ptp(x)) < 1e-9:
        return float("nan"), float("nan")
    centred = x - x.mean()
    slope = float(centred @ y / (centred @ centred))
    left = y - y.mean() - slope * centred
    return slope, float(np.sqrt(left @ left / (len(x) - 2) / (centred @ centred)))


def _compression(summaries: "pl.DataFrame") -> list[tuple[str, str]]:
    import polars as pl

    rows = summaries.filter((pl.col("for") == "carrier") & pl.col("carrier_gain_db").is_not_null())
    if rows.height < 8:
        return []
    # the mean of both routes: against one of them, its own fading would feign a slope
    strength = (rows["level_antenna_bypass"].to_numpy() + rows["level_antenna_stage"].to_numpy()) / 2
    slope, error = _slope(strength, rows["carrier_gain_db"].to_numpy())
    if not np.isfinite(slope):
        return []
    lost = -slope * float(np.quantile(strength, 0.9) - np.quantile(strength, 0.1))
    if lost < 1.0 or -slope < 4 * error:
        return []
    return [
        (
            "compression",
            f"The stronger the carrier, the less the stage amplifies it: {lost:.1f} dB less at the strong end. It is "
            "driven into compression; attenuate ahead of it or leave it out when signals are strong.",
        )
    ]


def _typical(summaries: "pl.DataFrame", column: str) -> float:
    values = summaries[column].drop_nulls().to_numpy()
    return float(np.median(values)) if len(values) else float("nan")


def _dead(summaries: "pl.DataFrame", facts: StationFacts) -> list[tuple[str, str]]:
    """A relay that does not move, or a stage that does not work."""
    import polars as pl

    rated = facts.rated_gain_db
    noise = summaries.filter(pl.col("for") == "noise")
    carriers = _typical(summaries, "carrier_gain_db")
    difference, load_difference = _typical(noise, "difference_db"), _typical(noise, "load_difference_db")
    seen = [value for value in (carriers, difference, load_difference) if np.isfinite(value)]
    resolution = max(_typical(noise, "resolution_db"), 0.0) if noise.height else 0.0
    still = 0.3 + 2 * (resolution if np.isfinite(resolution) else 0.0)
    if seen and all(abs(value) < still for value in seen) and rated is not None and abs(rated) >= 3:
        return [
            (
                "stuck-relay",
                f"Stage and bypass read the same within {still:.1f} dB on noise and carriers alike, but the stage is "
                f"rated at {rated:+.0f} dB: the stage relay does not move, or both paths name the same coils. "
                "Listen for the click, then look at the wiring and at `paths` in the station file.",
            )
        ]
    passive = carriers if np.isfinite(carriers) else difference
    if rated is not None and rated >= 3 and np.isfinite(passive) and passive < -1.0:
        return [
            (
                "no-gain",
                f"The stage is rated at {rated:+.0f} dB but takes {-passive:.1f} dB away: it has no supply, or stage "
                "and bypass are swapped in the station file. Check the supply first.",
            )
        ]
    return []


def _swapped(summaries: "pl.DataFrame") -> list[tuple[str, str]]:
    import polars as pl

    rows = summaries.filter((pl.col("for") == "noise") & pl.col("noise_rise_db").is_not_null())
    if rows.is_empty():
        return []
    rise = rows["noise_rise_db"].to_numpy()
    error = rows["noise_rise_se_db"].fill_null(0.5).to_numpy()
    below = float(np.mean(rise < -np.maximum(0.5, 3 * error)))
    if below > 0.5:
        return [
            (
                "load-above-antenna",
                f"The load reads {-float(np.median(rise)):.1f} dB above the antenna most of the time. Nothing is "
                "quieter than a load: load and antenna are swapped, or the termination picks up signals.",
            )
        ]
    level, load = rows["level_antenna_bypass"].to_numpy(), rows["level_load_bypass"].to_numpy()
    if (
        rows.height >= 6
        and float(np.std(level)) > 1.0
        and float(np.std(level - load)) < 0.25 * float(np.std(level))
    ):
        return [
            (
                "load-follows-antenna",
                "The load rises and falls with the antenna: its relay does not move, or signals leak past it. The load "
                "readings say nothing until that is mended.",
            )
        ]
    return []


def _load_too_low(summaries: "pl.DataFrame") -> list[tuple[str, str]]:
    """No amplifier lowers the noise of a load below that of the receiver alone."""
    import polars as pl

    rows = summaries.filter((pl.col("for") == "noise") & pl.col("load_difference_db").is_not_null())
    if rows.is_empty():
        return []
    difference = float(np.median(rows["load_difference_db"].to_numpy()))
    error = float(np.median(rows["load_difference_se_db"].fill_null(0.5).to_numpy()))
    if difference < -max(0.5, 3 * error):
        return [
            (
                "load-too-low",
                f"With the load, the stage lowers the noise by {-difference:.1f} dB below that of the receiver alone. "
                "Nothing that is terminated can do that: it is not a gain below one but something wrong with the "
                "reading, the termination, or the receiver's own gain control or attenuator moving with the relay.",
            )
        ]
    return []


def _unit(summaries: "pl.DataFrame", facts: StationFacts) -> list[tuple[str, str]]:
    """Levels that no receiver on these bands would show in the unit the station file names."""
    readings = summaries["meter_reading_bypass"].drop_nulls().to_numpy()
    if not len(readings) or facts.meter.unit == "raw":
        return []
    middle = float(np.median(readings))
    thermal = thermal_dbm(float(np.median(summaries["bandwidth_hz"].to_numpy())))
    over = S9_DBM if facts.meter.unit == "dB-over-S9" else 0.0
    if thermal - 10.0 <= middle + over <= 20.0:
        return []
    return [
        (
            "meter-unit",
            f"The meter typically reads {middle:.0f}, which is no likely {facts.meter.unit} value: the unit in the "
            "station file is wrong, or the readings are not decibels at all. No figure holds until it is mended.",
        )
    ]
