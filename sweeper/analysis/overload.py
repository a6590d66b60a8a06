"""What is wrong with the chain, told from the data alone: overload, compression, relays, supply, mismatch.

Looked for before any good news is told. From the summaries of one band to flags by hour and sentences for a
person. Verdicts do not belong here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sweeper.analysis.facts import StationFacts
from sweeper.analysis.gain import weighted
from sweeper.analysis.gain_ways import (
    GainPart,
    by_carriers,
    by_load,
    by_source,
    channel_offsets_db,
    telling_of_load,
)
from sweeper.analysis.levels import Floats
from sweeper.analysis.noise_figure import thermal_dbm

if TYPE_CHECKING:
    import polars as pl

EXCESS_DB = 0.7
"""Noise that rises this much more than carriers do matters; less would not change a verdict of 1 dB."""
S9_DBM = -73.0
"""IARU Region 1 Technical Recommendation R.1, below 30 MHz."""
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
    """By how much noise with the stage in stands above what gain and load readings leave to be expected."""
    import polars as pl

    columns = {
        "hour_utc": pl.Int64,
        "excess_db": pl.Float64,
        "excess_se_db": pl.Float64,
        "strongest_db": pl.Float64,
        "overload": pl.Boolean,
    }
    rows = summaries.filter(
        (pl.col("for") == "noise") & (pl.col("noise_rise_bound") == "") & (pl.col("difference_bound") == "")
    ).drop_nulls(["power_rise_db", "stage_power_rise_db", "load_difference_db", "difference_se_db"])
    hours = pl.DataFrame(schema=columns)
    if rows.is_empty():
        return hours
    suspect: list[int] = []
    for _ in range(3):  # strong signals also press the gain down: look again without the hours found
        clean = pl.col("hour_utc").is_in(suspect).not_()
        reference_db, reference_se = _reference(summaries.filter(clean), rows.filter(clean))
        if not np.isfinite(reference_db):
            return hours
        hours = _hours_of(rows, reference_db, reference_se, channel_offsets_db(summaries))
        found = hours.filter(pl.col("overload"))["hour_utc"].to_list()
        if found == suspect:
            break
        suspect = found
    return hours


def _hours_of(
    rows: "pl.DataFrame", reference_db: float, reference_se: float, offsets_db: Mapping[int, float]
) -> "pl.DataFrame":
    """Each hour's excess over what the reference gain foretells, its error, and whether that is overload."""
    import polars as pl

    offset = np.array([offsets_db.get(hz, 0.0) for hz in rows["hz"].to_list()])
    excess, error, share = _excess_of(rows, reference_db + offset)
    hour, strongest = rows["hour_utc"].to_numpy(), rows["strongest_carrier_db"].to_numpy()
    at = np.unique(hour)
    mean = np.array([_mean(excess[hour == h], error[hour == h]) for h in at])
    # products come and go from night to night, so scatter in their hours is no error: that of the quieter half is
    quiet = np.isin(hour, at[mean[:, 0] <= np.median(mean[:, 0])])
    beyond = (excess[quiet] - np.median(excess[quiet])) / error[quiet]
    honest = max(1.0, float(np.sqrt(np.mean(np.minimum(beyond**2, 9.0)))))
    se = np.hypot(honest * mean[:, 1], np.array([share[hour == h].mean() for h in at]) * reference_se)
    return pl.DataFrame(
        {
            "hour_utc": at,
            "excess_db": mean[:, 0],
            "excess_se_db": se,
            "strongest_db": np.array([strongest[hour == h].mean() for h in at]),
            "overload": (mean[:, 0] > EXCESS_DB) & (mean[:, 0] > SURE * se),
        }
    )


def _excess_of(rows: "pl.DataFrame", gain_db: Floats) -> tuple[Floats, Floats, Floats]:
    """Excess of each row in dB, its standard error, and how much of it an error of the gain would make.

    With the gain g and the load difference d, antenna noise y in bypass (load = 1) comes to 1 + (y − 1)·g/d
    with the stage in, whatever the noise figures are.
    """
    seen = rows["stage_power_rise_db"].to_numpy()
    over = np.maximum(10 ** (rows["power_rise_db"].to_numpy() / 10) - 1, 0.0)
    lifted = 10 ** ((gain_db - rows["load_difference_db"].to_numpy()) / 10)
    expected = 1 + lifted * over
    slope = lifted * (1 + over) / expected
    load_se = rows["load_difference_se_db"].to_numpy()
    coarse = rows["resolution_db"].to_numpy()
    error: Floats = np.sqrt(
        (np.maximum(1.0, slope) * rows["difference_se_db"].to_numpy()) ** 2
        + (np.maximum(1.0, slope) * load_se) ** 2
        + (np.maximum(1.0, slope) * coarse) ** 2
    )
    excess: Floats = seen - 10 * np.log10(expected)
    return excess, error, lifted * over / expected


def _mean(value: Floats, error: Floats) -> tuple[float, float]:
    """Mean weighted by 1/error² and the standard error that follows."""
    weight = 1 / np.maximum(error, 0.05) ** 2
    return float(weight @ value / weight.sum()), float(np.sqrt(1 / weight.sum()))


def _reference(summaries: "pl.DataFrame", rows: "pl.DataFrame") -> tuple[float, float]:
    """A gain that intermodulation does not raise, dB, with its standard error; NaN where there is none.

    That of carriers or of the source; that of noise in the hours in which it rises least for what comes in, since
    products only ever add; both where they agree.
    """
    steady = [part for part in (by_carriers(summaries), by_source(summaries)) if part is not None]
    known = weighted(tuple(steady)) if steady else None
    quiet = _quietest_hours(rows)
    if quiet is not None and (
        known is None or quiet.gain_db - known.gain_db < 2.5 * np.hypot(known.se_db, quiet.se_db)
    ):
        steady.append(quiet)
    if not steady:
        return float("nan"), float("nan")
    together = weighted(tuple(steady))
    return (together.gain_db, together.se_db) if together.se_db < 1.0 else (float("nan"), float("nan"))


def _quietest_hours(rows: "pl.DataFrame") -> GainPart | None:
    """Gain by the load in the third of the hours in which it comes out lowest; None with fewer than three."""
    import polars as pl

    telling = telling_of_load(rows)
    level = telling.group_by("hour_utc").agg(
        ((pl.col("load_gain_db") * pl.col("weight")).sum() / pl.col("weight").sum()).alias("gain")
    )
    if level.height < 3:
        return None
    lowest = level.sort("gain").head(-(-level.height // 3))["hour_utc"].to_list()
    return by_load(rows.filter(pl.col("hour_utc").is_in(lowest)))


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
    if rated is None:
        return []
    noise = summaries.filter(pl.col("for") == "noise")
    carriers = by_carriers(summaries)
    difference, load_difference = _typical(noise, "difference_db"), _typical(noise, "load_difference_db")
    seen = [value for value in (difference, load_difference) if np.isfinite(value)]
    resolution = _typical(noise, "resolution_db")
    still = 0.3 + 2 * (resolution if np.isfinite(resolution) else 0.0)
    moved = carriers is not None and abs(carriers.gain_db) > still + 3 * carriers.se_db
    if seen and abs(rated) >= 3 and not moved and all(abs(value) < still for value in seen):
        return [
            (
                "stuck-relay",
                f"Stage and bypass read the same within {still:.1f} dB on noise and carriers alike, but the stage is "
                f"rated at {rated:+.0f} dB: the stage relay does not move, or both paths name the same coils. "
                "Listen for the click, then look at the wiring and at `paths` in the station file.",
            )
        ]
    passive = carriers.gain_db if carriers is not None else difference
    if rated >= 3 and np.isfinite(passive) and passive < -1.0:
        return [
            (
                "no-gain",
                f"The stage is rated at {rated:+.0f} dB but takes {-passive:.1f} dB away here: this is outside its "
                "range or, if it does so on every band, it has no supply, or stage and bypass are swapped in the "
                "station file.",
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
