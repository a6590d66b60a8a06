"""The chain's noise by Friis: noise factors, gains from powers, and what the chain's own noise costs. Formulas only.

Noise rise Y is antenna noise over load noise through the same route, in dB. Power ratios end in `_lin`.
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
    """Slope of `kept_share_db`, dB per dB of noise rise: 1/(10^(Y/10) − 1)."""
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


def factor_by_source(enr_lin: float, y_lin: float, cold_k: float = T0_K) -> float:
    """Noise factor from a source of excess noise ratio `enr_lin` and the power ratio hot over cold `y_lin`, all linear.

    F = (ENR − y·(Tc/T₀ − 1))/(y − 1); with a cold source at T₀, ENR/(y − 1). NaN where y ≤ 1.
    Source: IEEE definition of noise factor; manufacturers' noise-figure application notes.
    """
    return (enr_lin - y_lin * (cold_k / T0_K - 1)) / (y_lin - 1) if y_lin > 1 else float("nan")


def cascade(first_lin: float, second_lin: float, gain_lin: float) -> float:
    """Noise factor of two stages in a row: F₁ + (F₂ − 1)/G₁ (Friis 1944). All linear."""
    return first_lin + (second_lin - 1) / gain_lin


def without_second(total_lin: float, second_lin: float, gain_lin: float) -> float:
    """Noise factor of the first of two stages: F₁ = F − (F₂ − 1)/G₁ (Friis 1944). All linear."""
    return total_lin - (second_lin - 1) / gain_lin


def snr_change_db(outside_lin: Floats, gain_db: float, load_difference_db: float) -> Floats:
    """What a stage does to S/N, dB, from gain and load difference (stage minus bypass) alone; Friis 1944.

    `outside_lin` is noise from outside in units of the load's level in bypass, x. With gain g and load difference d the
    chain puts out, in those units,

        load 1, antenna 1 + x in bypass;  load d, antenna d + g·x with the stage in,

    so the change is 10·log₁₀(g·(1 + x)/(d + g·x)): gain minus load difference at x = 0, none at x → ∞.
    """
    g_lin, d_lin = from_db(gain_db), from_db(load_difference_db)
    change: Floats = 10 * np.log10(g_lin * (1 + outside_lin) / (d_lin + g_lin * outside_lin))
    return change


def outside_at_change_lin(change_db: float, gain_db: float, load_difference_db: float) -> float:
    """The inverse: noise from outside, in units of the load's level in bypass, at which the S/N change is `change_db`.

    From g·(1 + x) = w·(d + g·x): x = (g − w·d)/(g·(w − 1)). NaN where no noise gives that change (`change_db` > 0).
    """
    w_lin, g_lin, d_lin = from_db(change_db), from_db(gain_db), from_db(load_difference_db)
    outside_lin = (g_lin - w_lin * d_lin) / (g_lin * (w_lin - 1)) if w_lin > 1 else float("nan")
    return outside_lin if outside_lin > 0 else float("nan")


def outside_with_stage_lin(outside_lin: Floats, gain_db: Floats, load_difference_db: Floats) -> Floats:
    """Noise from outside in units of the load's level with the stage in, x·g/d in the terms of `snr_change_db`."""
    outside: Floats = outside_lin * 10 ** ((gain_db - load_difference_db) / 10)
    return outside


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
