"""What may be wrong with the chain besides overload: relays, supply, swapped paths, a load that is none, the unit.

From the summaries of one band to (flag, sentence) pairs; each sentence says what was seen, what it means and what
to do.
"""

import numpy as np
import polars as pl

from sweeper.analysis.band.channels import within_channel
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.physics.radiometer import thermal_dbm

S9_DBM = -73.0
"""IARU Region 1 Technical Recommendation R.1, below 30 MHz."""


def faults(methods: GainMethods, facts: StationFacts) -> list[tuple[str, str]]:
    """Everything that is seen, the gravest first."""
    return _stuck_meter(methods.noise) or [
        *_dead(methods, facts),
        *_swapped(methods.noise),
        *_load_too_low(methods.noise),
        *_unit(methods.summaries, facts),
    ]


def _stuck_meter(noise: pl.DataFrame) -> list[tuple[str, str]]:
    """Every path alike to the last digit, hour after hour: nothing is being measured."""
    levels = ("level_antenna_bypass", "level_antenna_stage", "level_load_bypass", "level_load_stage")
    seen = np.concatenate([noise[name].drop_nulls().to_numpy() for name in levels])
    if len(seen) < 4 or float(np.ptp(seen)) > 1e-6:
        return []
    return [
        (
            "meter-stuck",
            f"The meter stands at {seen[0]:.0f}, whatever is connected: the receiver does not report it, or it is "
            "frozen. Nothing can be said until the readings move.",
        )
    ]


def _typical(summaries: pl.DataFrame, column: str) -> float:
    values = summaries[column].drop_nulls().to_numpy()
    return float(np.median(values)) if len(values) else float("nan")


def _dead(methods: GainMethods, facts: StationFacts) -> list[tuple[str, str]]:
    """A relay that does not move, or a stage that does not work."""
    rated = facts.rated_gain_db
    if rated is None:
        return []
    noise, carriers = methods.noise, methods.carriers
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
    what = "carriers" if carriers is not None else "noise"
    if rated >= 3 and np.isfinite(passive) and passive < -1.0:
        return [
            (
                "no-gain",
                f"The stage is rated at {rated:+.0f} dB but loses {-passive:.1f} dB here, by {what}: the band lies "
                "outside its range.",
            )
        ]
    return []


def _swapped(noise: pl.DataFrame) -> list[tuple[str, str]]:
    columns = ("hz", "noise_rise_db", "noise_rise_se_db", "level_antenna_bypass", "level_load_bypass")
    rows = noise.select(columns).drop_nulls("noise_rise_db")
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
    if rows.height >= 6 and _follows(rows):
        return [
            (
                "load-follows-antenna",
                "The load rises and falls with the antenna: its relay does not move, or signals leak past it. The load "
                "readings say nothing until that is mended.",
            )
        ]
    return []


def _follows(rows: pl.DataFrame) -> bool:
    """Whether the load goes up and down with the antenna from hour to hour, each channel by itself."""
    level = pl.col("level_antenna_bypass")
    moved = rows.select(
        level=within_channel(level), apart=within_channel(level - pl.col("level_load_bypass"))
    )
    wander, left = (float(np.std(moved[name].to_numpy())) for name in ("level", "apart"))
    return wander > 1.0 and left < 0.25 * wander


def _load_too_low(noise: pl.DataFrame) -> list[tuple[str, str]]:
    """No amplifier lowers the noise of a load below that of the receiver alone."""
    rows = noise.select("load_difference_db", "load_difference_se_db").drop_nulls("load_difference_db")
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


def _unit(summaries: pl.DataFrame, facts: StationFacts) -> list[tuple[str, str]]:
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
