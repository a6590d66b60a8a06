"""What the chain's own noise costs at a given noise rise. Closed formulas only; no data, no statistics.

Noise rise Y is antenna noise over load noise through the same route, in dB.
"""

import numpy as np

from sweeper.analysis.levels import Floats


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
