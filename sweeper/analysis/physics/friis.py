"""The chain's noise by Friis: noise factors, gains from powers, and what the chain's own noise costs. Formulas only.

Noise rise Y is antenna noise over load noise through the same route, in dB.
"""

import numpy as np

from sweeper.analysis.arrays import Floats
from sweeper.analysis.physics.radiometer import T0_K


def kept_share_db(rise_db: Floats) -> Floats:
    """Share of the antenna route's noise that came in by the antenna, dB: 10·log₁₀(1 − 10^(−Y/10)), −∞ at Y = 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share: Floats = 10 * np.log10(-np.expm1(-np.log(10) / 10 * rise_db))
    return share


def kept_share_slope(rise_db: Floats) -> Floats:
    """Its slope, dB per dB of noise rise: 1/(10^(Y/10) − 1)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        slope: Floats = 1 / np.expm1(np.log(10) / 10 * rise_db)
    return slope


def snr_lost_db(rise_db: Floats) -> Floats:
    """S/N lost to the chain's own noise, dB: L(Y) = Y − 10·log₁₀(10^(Y/10) − 1). Also the most a stage can give.

    Y = 1 → 6.87, 2 → 4.33, 3 → 3.02, 4 → 2.20, 6 → 1.26, 10 → 0.46, 20 → 0.04. Infinite at Y ≤ 0.
    """
    lost = -kept_share_db(np.asarray(rise_db, dtype=np.float64))
    result: Floats = np.where(np.isnan(lost), np.inf, lost)
    return result


def to_db(ratio: float) -> float:
    """Decibels of a power ratio; NaN where there are none."""
    return float(10 * np.log10(ratio)) if ratio > 0 else float("nan")


def from_db(value_db: float) -> float:
    """The power ratio of decibels."""
    return float(10 ** (value_db / 10))


def factor_by_source(enr: float, y: float, cold_k: float = T0_K) -> float:
    """Noise factor from a source of excess noise ratio `enr` and the power ratio hot over cold `y`, both linear.

    F = (ENR − y·(Tc/T₀ − 1))/(y − 1); with a cold source at T₀, ENR/(y − 1). NaN where y ≤ 1.
    Source: IEEE definition of noise factor; manufacturers' noise-figure application notes.
    """
    return (enr - y * (cold_k / T0_K - 1)) / (y - 1) if y > 1 else float("nan")


def without_second(total: float, second: float, gain: float) -> float:
    """Noise factor of the first of two stages: F₁ = F − (F₂ − 1)/G₁ (Friis 1944). All linear."""
    return total - (second - 1) / gain


def cascade(first: float, second: float, gain: float) -> float:
    """Noise factor of two stages in a row: F₁ + (F₂ − 1)/G₁ (Friis 1944). All linear."""
    return first + (second - 1) / gain


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
