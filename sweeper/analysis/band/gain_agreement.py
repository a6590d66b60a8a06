"""The S/N change of a band by two independent routes, hour by hour, and whether they agree.

Direct: gain by carriers minus what the stage adds to antenna noise. Predicted: noise rise with and without the
stage, from load readings alone (Friis). They share the antenna readings but neither gain nor load.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.physics.friis import kept_share_db, kept_share_slope
from sweeper.analysis.thresholds import ROUTES_APART_DB, ROUTES_APART_SE

PREDICTING = ("power_rise_db", "stage_power_rise_db", "load_difference_se_db", "gain_resolution_db")


@dataclass(frozen=True, slots=True)
class Reconciled:
    """`hours` has hour_utc, direct_db, direct_se_db, predicted_db, predicted_se_db and agree.

    `agree` is None where only one route says anything, else whether most hours do. `sentence` is empty when they do.
    """

    hours: pl.DataFrame
    agree: bool | None
    sentence: str


def reconcile(methods: GainMethods) -> Reconciled:
    """Both routes from the summaries of one band."""
    columns = {
        "hour_utc": pl.Int64,
        "direct_db": pl.Float64,
        "direct_se_db": pl.Float64,
        "predicted_db": pl.Float64,
        "predicted_se_db": pl.Float64,
        "agree": pl.Boolean,
    }
    gain = None if methods.offsets_db else methods.carriers
    rows = (
        methods.noise.lazy()
        .filter((pl.col("difference_bound") == "") & (pl.col("noise_rise_bound") == ""))
        .drop_nulls(["difference_db", "difference_se_db"])
        .select("hour_utc", "night", "difference_db", "difference_se_db", "resolution_db", *PREDICTING)
        .collect()
    )
    power = (pl.col("power_rise_db"), pl.col("stage_power_rise_db"))
    clear = rows.drop_nulls(PREDICTING).filter(pl.all_horizontal([each > 0.1 for each in power]))
    predicting = clear.partition_by("hour_utc", as_dict=True)
    found = []
    for (hour,), part in rows.partition_by("hour_utc", as_dict=True).items():
        difference = part["difference_db"].to_numpy()
        noise_se = part["difference_se_db"].to_numpy()
        coarse = float(np.mean(part["resolution_db"].fill_null(0.0).to_numpy() ** 2))
        direct = direct_se = None
        if gain is not None:
            direct = gain.gain_db - float(difference.mean())
            direct_se = float(np.sqrt(gain.se_db**2 + np.mean(noise_se**2) / len(part) + coarse))
        predicted, predicted_se, gap, gap_se = _predicted(
            predicting.get((hour,), clear.clear()), gain.gain_db if gain is not None else None
        )
        agree = None
        if gain is not None and gap is not None and gap_se is not None:
            agree = bool(abs(gap) < max(ROUTES_APART_DB, ROUTES_APART_SE * np.hypot(gap_se, gain.se_db)))
        found.append((hour, direct, direct_se, predicted, predicted_se, agree))
    hours = pl.DataFrame(found, schema=columns, orient="row").sort("hour_utc")
    known = hours["agree"].drop_nulls().to_numpy()
    # the gain by carriers is common to all hours, so chance sets one hour apart more easily than half of them
    agree = bool(known.mean() > 0.5) if len(known) else None
    return Reconciled(hours, agree, _sentence(hours) if agree is False else "")


def _predicted(
    clear: pl.DataFrame, gain_db: float | None
) -> tuple[float | None, float | None, float | None, float | None]:
    """L(bypass) − L(stage) of an hour, mean over nights and channels whose noise stands `clear` of the load, with its
    error; and how far the direct route lies above it where both are sharp, with the error of that."""
    if clear.is_empty():
        return None, None, None, None
    bypass, stage = clear["power_rise_db"].to_numpy(), clear["stage_power_rise_db"].to_numpy()
    change = kept_share_db(stage) - kept_share_db(bypass)
    load_se = (kept_share_slope(bypass) + kept_share_slope(stage)) * clear["load_difference_se_db"].to_numpy()
    error = np.hypot(
        load_se, kept_share_slope(np.minimum(bypass, stage)) * clear["difference_se_db"].to_numpy()
    )
    weight = 1 / np.maximum(error, 0.02) ** 2
    nights = clear["night"].n_unique()
    coarse = float(np.sqrt(np.mean(clear["gain_resolution_db"].to_numpy() ** 2)))
    predicted_se = float(np.hypot(np.sqrt(np.mean(error**2) / nights), coarse))
    if gain_db is None:
        return float(change.mean()), predicted_se, None, None
    gap = gain_db - clear["difference_db"].to_numpy() - change
    # load readings are shared by the channels of a night, so their error does not average over those
    gap_se = float(np.hypot(np.sqrt(1 / weight.mean() / nights), coarse))
    return float(change.mean()), predicted_se, float(weight @ gap / weight.sum()), gap_se


def _sentence(hours: pl.DataFrame) -> str:
    apart = hours.filter(~pl.col("agree"))
    gap = (apart["direct_db"] - apart["predicted_db"]).to_numpy()
    worst = float(gap[np.argmax(np.abs(gap))])
    way = "more" if worst > 0 else "less"
    return (
        f"Carriers say {abs(worst):.1f} dB {way} S/N change than noise figures and gain predict: overload, compression "
        "or a load that does not match the antenna. The good news waits until they agree."
    )
