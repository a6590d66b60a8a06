"""Noise figures of receiver and stage: with a noise source, from the load alone, or relative to each other.

Closed formulas on linear noise factors first, then what the summaries of a band say. Arrays or numbers, no files.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.gain import Gain
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.physics.friis import factor_by_source, from_db, to_db, without_second
from sweeper.analysis.physics.radiometer import (
    T0_K,
    log_average_bias_db,
    resolution_db,
    shape_of,
    spread_db,
    thermal_dbm,
)
from sweeper.analysis.statistics.effective_nights import worth
from sweeper.analysis.statistics.estimates import Estimate, summed
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.thresholds import MOST_NOISE_FIGURE_DB

LOAD_TEMPERATURE_SE_K = 10.0
"""How far the load's temperature may be from 290 K when nobody noted it."""
MISMATCH_SE_DB = 0.2
"""Standard uncertainty from a source and a receiver input of return loss 14 to 20 dB (common practice)."""
ENR_SE_DB = 0.3
ENDLESS = 1e6
"""Degrees of freedom of what instruments are known by: a standard uncertainty that nobody estimated from readings."""
ERROR_UNTOLD_DB = 0.3
"""Of a load difference from a single pass each way, which tells no error of its own."""


@dataclass(frozen=True, slots=True)
class NoiseFigures:
    """Noise figures on one band, as intervals in dB; None where they cannot be known.

    `chain_change_db` is what the stage does to the noise figure of the whole chain (negative: better); it needs
    neither calibration nor source. `receiver_se_db` is the standard uncertainty behind the receiver's interval.
    """

    receiver_db: Interval | None
    stage_db: Interval | None
    chain_change_db: Interval | None
    receiver_se_db: float
    found_by: str
    flags: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()

    def covering(self, others: Sequence["NoiseFigures"]) -> "NoiseFigures":
        """The same with the chain's change as wide as on all of several scales that may be the meter's."""
        spans = [each.chain_change_db for each in (self, *others)]
        known = [span for span in spans if span is not None]
        if not others or self.chain_change_db is None:
            return self
        low, high = min(span.low for span in known), max(span.high for span in known)
        return replace(self, chain_change_db=Interval(self.chain_change_db.value, low, high))


def figures(
    summaries: pl.DataFrame, gain: Gain | None, facts: StationFacts, alike: float = 0.0
) -> NoiseFigures:
    """Noise figures from the `summaries` of one band: by the source where there is one, else by a calibrated load.

    `alike`: correlation of neighbouring nights.
    """
    rows = _load_rows(summaries)
    level = 1.0 - facts.confidence
    difference = load_difference_of(rows, alike)
    chain = None
    if gain is not None and difference is not None:
        parts = [(difference.se**2, difference.dof), (gain.se_db**2, gain.dof)]
        chain = summed(difference.value - gain.gain_db, parts).interval(level)
    receiver, found_by = _receiver(rows, facts, alike)
    if receiver is None:
        return NoiseFigures(None, None, chain, float("nan"), "")
    impossible = _impossible(receiver.value, receiver.se)
    if impossible:
        sentence = (
            f"The receiver's noise figure comes out at {receiver.value:.1f} dB, and {impossible}: the meter curve, its "
            "unit, the bandwidth or the noise source's value is wrong. Calibrate again; differences stay good."
        )
        return NoiseFigures(None, None, chain, float("nan"), "", ("implausible-calibration",), (sentence,))
    stage = None
    if gain is not None and difference is not None:
        stage = _stage(receiver, difference, gain, level)
    return NoiseFigures(receiver.interval(level), stage, chain, receiver.se, found_by)


def _impossible(receiver_db: float, error: float) -> str:
    """Why no receiver has this noise figure; empty where one may."""
    if receiver_db < -2 * error:
        return "none can lie below 0 dB"
    return (
        f"no working receiver reaches {MOST_NOISE_FIGURE_DB:g} dB"
        if receiver_db > MOST_NOISE_FIGURE_DB + 2 * error
        else ""
    )


def _stage(receiver: Estimate, difference: Estimate, gain: Gain, level: float) -> Interval | None:
    """From the factor of both together, D·fr/g with D the load difference; its uncertainty by slopes in dB."""

    def of(receiver_db: float, difference_db: float) -> float:
        gain_lin, receiver_lin = from_db(gain.gain_db), from_db(receiver_db)
        return to_db(without_second(from_db(difference_db) * receiver_lin / gain_lin, receiver_lin, gain_lin))

    middle = of(receiver.value, difference.value)
    if not np.isfinite(middle):
        return None
    steps = (
        (of(receiver.value + receiver.se, difference.value) - middle, receiver.dof),
        (of(receiver.value, difference.value + difference.se) - middle, difference.dof),
        (gain.se_db, gain.dof),
    )
    found = summed(middle, [(step**2, dof) for step, dof in steps if np.isfinite(step)])
    return found.interval(level) if np.isfinite(found.se) else None


def _load_rows(summaries: pl.DataFrame) -> pl.DataFrame:
    return summaries.filter((pl.col("for") == "noise") & pl.col("level_load_bypass").is_not_null())


def _receiver(rows: pl.DataFrame, facts: StationFacts, alike: float) -> tuple[Estimate | None, str]:
    """Receiver noise figure in dB and how it was found; None when it cannot be.

    A budget as in the GUM: what is known of instruments counts with endless degrees of freedom, what nights show with
    their own.
    """
    if rows.is_empty():
        return None, ""
    temperature_db = 4.34 * LOAD_TEMPERATURE_SE_K / T0_K
    if 0 in rows["scale"]:
        rows = rows.filter(pl.col("scale") == 0)  # other calibrations and units say less, or nothing
    coarse = _step_left_db(float(rows["bandwidth_hz"].to_numpy().mean()), rows, facts)
    lit = rows.filter(pl.col("level_noise_bypass").is_not_null())
    if facts.source_enr_db is not None and not lit.is_empty():
        over = lit["level_noise_bypass"].to_numpy() - lit["level_load_bypass"].to_numpy()
        y = from_db(float(over.mean()))
        slope = y / max(y - 1, 1e-9)
        noise = (0.05 * slope) ** 2 + 2 * (coarse * slope) ** 2
        budget = ENR_SE_DB**2 + MISMATCH_SE_DB**2 + noise + temperature_db**2
        variance, dof = _of_nights(lit, over, alike)
        figure = to_db(factor_by_source(from_db(facts.source_enr_db), y))
        if not np.isfinite(figure):
            return None, ""
        return summed(figure, [(budget, ENDLESS), (slope**2 * variance, dof)]), "source"
    if facts.meter.in_dbm:
        off_floor = rows.filter(pl.col("noise_rise_bound") != "at least")
        if off_floor.is_empty():
            return None, ""
        pass_band_hz = off_floor["bandwidth_hz"].to_numpy()
        noise_band_hz = (
            pass_band_hz if facts.meter.noise_bandwidth_hz is None else facts.meter.noise_bandwidth_hz
        )
        thermal = 10 * np.log10(noise_band_hz) + thermal_dbm(1)
        over = off_floor["level_load_bypass"].to_numpy() - _detector_reads_db(pass_band_hz, facts) - thermal
        budget = facts.meter.uncertainty_db**2 + temperature_db**2 + coarse**2
        parts = [(budget, ENDLESS), _of_nights(off_floor, over, alike)]
        return summed(float(np.mean(over)), parts), "load"
    return None, ""


def _of_nights(rows: pl.DataFrame, values: Floats, alike: float) -> tuple[float, float]:
    """Variance of the mean over nights of `values`, shape (rows,), dB², and its degrees of freedom; 0 before three."""
    nights, which = np.unique(rows["night"].to_physical().to_numpy(), return_inverse=True)
    if len(nights) < FIRST_LOOK:
        return 0.0, 1.0
    nightly = np.bincount(which, values) / np.bincount(which)
    variance = float(nightly.var(ddof=1)) / len(nights)
    return worth(nights.astype(np.float64), alike).mean_of(variance, len(nights) - 1.0)


def _detector_reads_db(bandwidth_hz: Floats, facts: StationFacts) -> Floats:
    """What the level of noise lies beside a carrier of the same power, dB, on a meter whose curve is of carriers.

    A detector that takes the logarithm before it averages shows noise 2.51 dB low, however long it averages (common
    practice in spectrum analysis); the level has been corrected for the averaging that the readings show, and no more.
    """
    if facts.meter.detector != "log-average":
        return np.zeros(len(bandwidth_hz))
    if facts.meter.averaging_s is None:
        return np.full(len(bandwidth_hz), log_average_bias_db(1.0))
    corrected = [log_average_bias_db(shape_of(float(hz), facts.meter.averaging_s)) for hz in bandwidth_hz]
    return log_average_bias_db(1.0) - np.array(corrected)


def _step_left_db(bandwidth_hz: float, rows: pl.DataFrame, facts: StationFacts) -> float:
    """What the step of the meter leaves uncertain of a load, which stands still, dB."""
    scatter = (
        0.0 if facts.meter.averaging_s is None else spread_db(shape_of(bandwidth_hz, facts.meter.averaging_s))
    )
    seen = rows["step_db"].drop_nulls().to_numpy()
    step_db = float(seen.max()) if len(seen) else facts.meter.step_db or 0.0
    return float(resolution_db(step_db, np.array([scatter]))[0])


def load_difference_of(rows: pl.DataFrame, alike: float = 0.0) -> Estimate | None:
    """Mean load difference over summary rows, dB; None where no row has one.

    Further nights lower what scatters, by the root of what they are worth; what a night cannot resolve, such as the
    meter's step (`load_resolution_db`), they cannot resolve either.
    """
    good = rows.drop_nulls("load_difference_db")
    if good.is_empty():
        return None
    levels = good["load_difference_db"].to_numpy()
    error = float(good["load_difference_se_db"].fill_null(ERROR_UNTOLD_DB).to_numpy().mean())
    resolution = float(np.sqrt(np.mean(good["load_resolution_db"].fill_null(0.0).to_numpy() ** 2)))
    nights, which = np.unique(good["night"].to_physical().to_numpy(), return_inverse=True)
    own = max(error**2 - resolution**2, 0.0) / len(nights)
    variance, dof = own, float(max(int(good["passes"].sum()) - len(good), 1))
    if len(nights) >= FIRST_LOOK:
        nightly = np.bincount(which, levels) / np.bincount(which)
        scatter = float(nightly.var(ddof=1)) / len(nights)
        if scatter > own:
            variance, dof = worth(nights.astype(np.float64), alike).mean_of(scatter, len(nights) - 1.0, own)
    return summed(float(levels.mean()), [(variance, dof), (resolution**2, ENDLESS)])
