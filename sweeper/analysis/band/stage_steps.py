"""Nights from which on a stage does not do what it did: a contact, a wet plug, a supply, another amplifier.

Gain and load difference stand still from night to night; without a load the difference that the stage makes to the
antenna's noise does, at equal noise. A step in any of them parts the nights: figures are of those since, and a
sentence says so. Noise that changed by itself is for `change`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.nightly import measured_alike
from sweeper.analysis.statistics.steps import Steady, Step, steps
from sweeper.analysis.thresholds import NOISE_STEP_DB, STAGE_STEP_CHANCE, STAGE_STEP_DB, STAGE_STEP_JOINT

STEPPED = "stage-step"
"""The flag of a band whose stage changed on the way; its figures are of the nights since."""
FEWEST = 4
LEAST_SE_DB = 0.05
"""No nightly mean stands stiller than this: relays, cables in the sun (common practice)."""


@dataclass(frozen=True, slots=True)
class StageStep:
    """From which night on, by how many dB, and what moved: ``gain``, ``load difference`` or ``noise difference``."""

    night: date
    size_db: float
    what: str

    @property
    def sentence(self) -> str:
        """What a person should know and do."""
        size = f"{self.size_db:+.1f} dB".replace("-", "−")
        seen = {
            "gain": "the gain",
            "load difference": "what the stage does to the load's noise",
            "noise difference": "what the stage does to the antenna's noise",
        }[self.what]
        return (
            f"Since the night of {self.night.isoformat()} the stage, or the receiver behind it, is another: {seen} "
            f"changed by {size}. Figures are of the nights since. If nobody changed anything, look for a bad contact, "
            "water in a plug, the supply, the relay."
        )


def stage_steps(rows: Mapping[str, pl.DataFrame]) -> dict[str, StageStep]:
    """The latest step of each band's stage, from the summaries of all bands; bands without one are missing."""
    found: dict[str, StageStep] = {}
    left = dict(rows)
    for _ in range(3):  # a contact comes and goes
        fresh = _steps_of(left)
        if not fresh:
            break
        found |= fresh
        left = {band: left[band].filter(pl.col("night") >= step.night) for band, step in fresh.items()}
    return found


def _steps_of(rows: Mapping[str, pl.DataFrame]) -> dict[str, StageStep]:
    found: dict[str, StageStep] = {}
    series: dict[tuple[str, str], tuple[Steady, list[date]]] = {}
    for band, here in rows.items():
        if here["night"].n_unique() >= FEWEST:
            for what, frame in _nightly(here).items():
                if frame.height >= FEWEST:
                    series[band, what] = _steady(frame), frame["night"].to_list()
    for what in ("load difference", "gain", "noise difference"):
        chosen = {band: told for (band, name), told in series.items() if name == what}
        least_db = NOISE_STEP_DB if what == "noise difference" else STAGE_STEP_DB
        each = steps([steady for steady, _ in chosen.values()], least_db, STAGE_STEP_CHANCE, STAGE_STEP_JOINT)
        for (band, (steady, nights)), step in zip(chosen.items(), each, strict=True):
            if step is not None and band not in found:
                found[band] = StageStep(_night_of(step, steady, nights), step.size_db, what)
    return found


def _night_of(step: Step, steady: Steady, nights: list[date]) -> date:
    return nights[int(np.searchsorted(steady.day, step.day))]


def _steady(frame: pl.DataFrame) -> Steady:
    day = frame["night"].to_physical().to_numpy().astype(np.float64)
    beside: Floats | None = None
    if "level" in frame.columns:  # the curve over it bends where noise is low
        level = frame["level"].to_numpy()
        beside = np.column_stack([level, 10 ** (-(level - level.mean()) / 10)])
    return Steady(day, frame["value"].to_numpy(), np.maximum(frame["se"].to_numpy(), LEAST_SE_DB), beside)


def _nightly(rows: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """By what is watched: night, value, se and what it stands beside, in order of time."""
    methods = GainMethods(rows)
    noise = methods.noise.filter((pl.col("passes") > 0) & (pl.col("difference_bound") == ""))
    loaded = noise.filter(pl.col("noise_rise_bound") == "")
    found = {
        "load difference": _means(loaded, "load_difference_db", "load_difference_se_db"),
        "gain": _gains(methods),
    }
    if found["load difference"].is_empty():
        noise = measured_alike(noise)
        by_night = _means(noise, "difference_db", "difference_se_db")
        level = _means(noise, "level_antenna_bypass", "level_antenna_bypass_se_db")
        found["noise difference"] = by_night.join(
            level.select("night", pl.col("value").alias("level")), on="night", maintain_order="left"
        )
    return found


def _gains(methods: GainMethods) -> pl.DataFrame:
    """Gain by noise and by carriers, whichever is known better."""
    by_load = _means(methods.telling_of_load, "load_gain_db", "load_gain_se_db")
    heard = methods.summaries.filter((pl.col("for") == "carrier") & (pl.col("carrier_passes") > 0))
    by_carriers = _means(heard, "carrier_gain_db", "carrier_gain_se_db")
    known = [frame for frame in (by_load, by_carriers) if frame.height >= FEWEST]
    return min(known, key=lambda frame: float(frame["se"].to_numpy().mean()), default=by_load)


def _means(rows: pl.DataFrame, column: str, error: str) -> pl.DataFrame:
    """Weighted mean of each night over hours and channels, each about its own usual value; columns night, value, se."""
    place = ("hour_utc", "hz")
    known = rows.drop_nulls(column)
    usual_se = pl.col(error).median().over(*place).fill_null(1.0).clip(lower_bound=LEAST_SE_DB)
    return (
        known.with_columns(
            (pl.col(column) - pl.col(column).median().over(*place)).alias("value"), usual_se.alias("se")
        )
        .with_columns((1.0 / pl.col("se") ** 2).alias("weight"))
        .group_by("night")
        .agg(
            (pl.col("value") * pl.col("weight")).sum() / pl.col("weight").sum(),
            (1.0 / pl.col("weight").sum().sqrt()).alias("se"),
        )
        .sort("night")
    )
