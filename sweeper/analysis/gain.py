"""Gain of the stage with its relays: from carriers, from load differences, from a noise source, or rated.

From summaries of one band, overloaded hours already left out, to one gain with its uncertainty. What the gain
does to signal-to-noise ratio, and whether a stage overloads, do not belong here.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sweeper.analysis.facts import StationFacts
from sweeper.analysis.findings import GainSource, Interval
from sweeper.analysis.levels import Floats
from sweeper.analysis.noise_rise import kept_share_db, kept_share_slope

if TYPE_CHECKING:
    import polars as pl

RATED_SE_DB = 1.5
"""Makers' gains hold to one or two dB, cables and relays not counted (common practice)."""
LEAST_RISE_DB = 1.0
"""Noise rise in bypass below which noise powers say too little about gain."""
WORST_SE_DB = 3.0
DISAGREE_CHANCE = 0.01
DISAGREE_LEAST_DB = 0.5


@dataclass(frozen=True, slots=True)
class GainPart:
    """Gain found one way: dB, its standard error, the degrees of freedom behind it, and from how many nights."""

    source: GainSource
    gain_db: float
    se_db: float
    freedom: float
    nights: int


@dataclass(frozen=True, slots=True)
class Gain:
    """Gain of the stage on one band. `sentences` are for a person; `flags` as in the findings."""

    gain_db: float
    se_db: float
    freedom: float
    source: GainSource
    parts: tuple[GainPart, ...]
    flags: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()

    def interval(self, confidence: float) -> Interval:
        """Student's interval at `confidence`."""
        from scipy.stats import t

        reach = float(t.ppf(0.5 + confidence / 2, self.freedom)) * self.se_db
        return Interval(self.gain_db, self.gain_db - reach, self.gain_db + reach)


def combine(summaries: "pl.DataFrame", facts: StationFacts) -> Gain | None:
    """The gain on one band from its `summaries` (any nights and hours), or None when nothing tells of it.

    Each way is averaged by night and weighted by its uncertainty. Ways that differ by more than their
    uncertainties allow are named, and the uncertainty grows to cover them. The rated gain is a last resort.
    """
    return measured(summaries) or _rated(facts)


def measured(summaries: "pl.DataFrame") -> Gain | None:
    """The same without the last resort."""
    parts = [
        part
        for part in (by_carriers(summaries), by_load(summaries), by_source(summaries))
        if part is not None
    ]
    return weighted(tuple(parts)) if parts else None


def weighted(parts: tuple[GainPart, ...]) -> Gain:
    """Parts weighted by 1/se², with disagreement between them named and covered (Birge ratio)."""
    from scipy.stats import chi2

    value = np.array([part.gain_db for part in parts])
    variance = np.array([part.se_db**2 for part in parts])
    weight = 1 / variance
    share = weight / weight.sum()
    gain_db = float(share @ value)
    chi = float(((value - gain_db) ** 2 / variance).sum())
    se_db = float(np.sqrt(1 / weight.sum()))
    freedom = float(1 / (share**2 / np.array([part.freedom for part in parts])).sum())
    flags: list[str] = []
    sentences: list[str] = []
    apart = float(value.max() - value.min())
    if len(parts) > 1 and apart > DISAGREE_LEAST_DB and chi > chi2.isf(DISAGREE_CHANCE, len(parts) - 1):
        se_db *= float(np.sqrt(chi / (len(parts) - 1)))
        flags.append("gain-disagrees")
        named = ", ".join(f"{part.gain_db:.1f} dB by {_NAMES[part.source]}" for part in parts)
        sentences.append(
            f"The ways to measure gain disagree ({named}), by more than their uncertainties allow: "
            "suspect overload, compression, or antenna and load that do not match the receiver alike."
        )
    telling = [part.source for part, weighs in zip(parts, share, strict=True) if weighs > 0.1]
    source: GainSource = telling[0] if len(telling) == 1 else "combined"
    return Gain(gain_db, se_db, max(freedom, 1.0), source, parts, tuple(flags), tuple(sentences))


_NAMES: dict[GainSource, str] = {
    "carriers": "carriers",
    "load": "the noise of antenna and load",
    "noise": "the noise source",
    "rated": "the rated value",
    "combined": "all together",
}


def gain_from_powers_db(
    antenna_bypass: float, antenna_stage: float, load_bypass: float, load_stage: float
) -> float:
    """Gain from four noise powers, all in dB: (antenna-stage − load-stage) over (antenna-bypass − load-bypass).

    NaN where antenna noise does not stand above load noise in both routes.
    """
    power = 10 ** (np.array([antenna_bypass, antenna_stage, load_bypass, load_stage]) / 10)
    bypass, stage = power[0] - power[2], power[1] - power[3]
    return float(10 * np.log10(stage / bypass)) if bypass > 0 and stage > 0 else float("nan")


def gain_from_rises(
    load_difference: Floats,
    rise_bypass: Floats,
    rise_stage: Floats,
    difference_se: Floats,
    load_bypass_se: Floats,
    load_stage_se: Floats,
) -> tuple[Floats, Floats]:
    """Gain of the stage from two powers that it adds nothing to by itself, dB, and its standard error.

    (hot − load) of the stage route over that of the bypass route; NaN where the hot source does not stand above
    the load in both. Arrays of one shape.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        clear = (rise_bypass > 0) & (rise_stage > 0)
        bypass, stage = np.where(clear, rise_bypass, np.nan), np.where(clear, rise_stage, np.nan)
        gain: Floats = load_difference + (stage + kept_share_db(stage)) - (bypass + kept_share_db(bypass))
        error: Floats = np.sqrt(
            ((1 + np.fmax(kept_share_slope(stage), kept_share_slope(bypass))) * difference_se) ** 2
            + (kept_share_slope(bypass) * load_bypass_se) ** 2
            + (kept_share_slope(stage) * load_stage_se) ** 2
        )
    return gain, error


def snr_change_db(gain_db: float, antenna_bypass_db: float, antenna_stage_db: float) -> float:
    """What the stage does to signal-to-noise ratio: gain minus what it adds to antenna noise, dB."""
    return gain_db - (antenna_stage_db - antenna_bypass_db)


def _rated(facts: StationFacts) -> Gain | None:
    if facts.rated_gain_db is None:
        return None
    part = GainPart("rated", facts.rated_gain_db, RATED_SE_DB, 1e6, 0)
    sentence = (
        f"Nothing measured the gain here; the rated {facts.rated_gain_db:+.1f} dB is taken, give or take a few dB. "
        "A load position of the relay, or a steady carrier, would measure it."
    )
    return Gain(part.gain_db, part.se_db, part.freedom, "rated", (part,), ("gain-rated",), (sentence,))


def by_carriers(summaries: "pl.DataFrame") -> GainPart | None:
    """Gain by carriers: stage minus bypass after taking the noise out of each."""
    import polars as pl

    rows = summaries.filter((pl.col("for") == "carrier") & pl.col("carrier_gain_db").is_not_null())
    if rows.is_empty():
        return None
    passes = rows["carrier_passes"].to_numpy().astype(np.float64)
    return _by_night("carriers", rows, "carrier_gain_db", "carrier_gain_se_db", passes)


def by_load(summaries: "pl.DataFrame") -> GainPart | None:
    """Gain by the noise powers of antenna and load.

    Weighted by the noise rise usual at the hour, not by that of the night: a chance high or low reading
    must not choose its own weight."""
    import polars as pl

    rows = summaries.filter((pl.col("for") == "noise") & (pl.col("passes") > 0))
    rows = rows.with_columns(pl.col("noise_rise_db").median().over("hour_utc", "hz").alias("usual_rise"))
    rows = rows.with_columns(pl.col("load_gain_se_db").median().over("hour_utc", "hz").alias("usual_se"))
    rows = rows.filter(
        (pl.col("usual_rise") > LEAST_RISE_DB)
        & (pl.col("usual_se") < WORST_SE_DB)
        & pl.col("load_gain_db").is_not_null()
        & (pl.col("noise_rise_bound") == "")
        & (pl.col("difference_bound") == "")
    )
    if rows.is_empty():
        return None
    weights = 1 / rows["usual_se"].to_numpy() ** 2
    return _by_night("load", rows, "load_gain_db", "load_gain_se_db", weights, "gain_resolution_db")


def by_source(summaries: "pl.DataFrame") -> GainPart | None:
    """Gain by the powers of noise source and load."""
    import polars as pl

    rows = summaries.filter(
        pl.col("source_gain_db").is_not_null() & (pl.col("source_gain_se_db") < WORST_SE_DB)
    )
    if rows.is_empty():
        return None
    weights = np.ones(len(rows))
    return _by_night("noise", rows, "source_gain_db", "source_gain_se_db", weights)


def _by_night(
    source: GainSource,
    rows: "pl.DataFrame",
    value: str,
    error: str,
    weights: Floats,
    resolution: str = "resolution_db",
) -> GainPart | None:
    """Weighted mean over all rows; its error from the scatter of nights where there are three or more."""
    gain = rows[value].to_numpy()
    se = rows[error].to_numpy()
    night = rows["night"].to_physical().to_numpy()
    nights, which = np.unique(night, return_inverse=True)
    total = weights.sum()
    mean = float(weights @ gain / total)
    within = float(np.sqrt(np.nansum((weights * se) ** 2)) / total)
    coarse = float(np.sqrt((weights @ rows[resolution].fill_null(0.0).to_numpy() ** 2) / total))
    if len(nights) >= 3:
        moved = np.bincount(which, weights * (gain - mean))
        between = float(np.sqrt((moved**2).sum() * len(nights) / (len(nights) - 1)) / total)
        # few nights may agree by chance; they cannot agree better than the passes within them
        spread = max(between, 0.5 * within)
        freedom = float(len(nights) - 1)
    else:
        spread, freedom = within, float(max(len(rows) - 1, 1))
    se_db = float(np.sqrt(spread**2 + coarse**2 + 0.01**2))
    return GainPart(source, mean, se_db, freedom, len(nights)) if np.isfinite(mean + se_db) else None
