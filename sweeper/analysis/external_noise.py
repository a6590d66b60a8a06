"""External noise: the station's fa from what it measured, and what ITU-R P.372 expects at the place.

Closed formulas of the Recommendation; the published constants sit beside them. What a fix changed, and noise
figures, do not belong here.
"""

from dataclasses import dataclass

import numpy as np

from sweeper.analysis.facts import Environment
from sweeper.analysis.levels import Floats

MAN_MADE: dict[Environment, tuple[float, float]] = {
    "city": (76.8, 27.7),
    "residential": (72.5, 27.7),
    "rural": (67.2, 27.7),
    "quiet-rural": (53.6, 28.6),
}
"""Constants c and d of Fam = c − d·log₁₀(f/MHz), dB above kT₀b: ITU-R P.372, Table 1."""
GALACTIC = (52.0, 23.0)
"""The same for galactic noise."""
TIME_DECILES_DB: dict[Environment, tuple[float, float]] = {
    "city": (11.0, 6.7),
    "residential": (10.6, 5.3),
    "rural": (9.2, 4.6),
    "quiet-rural": (9.2, 4.6),
}
"""Upper and lower decile deviations with time, dB: ITU-R P.372, Table 2. Quiet rural has none; rural's are taken."""
GALACTIC_ABOVE_HZ = 10e6
"""Below about the critical frequency of the ionosphere galactic noise does not come through."""


@dataclass(frozen=True, slots=True)
class Expected:
    """What P.372 expects: median fa and its time deciles, dB above kT₀b, and the parts it is the sum of."""

    median_db: float
    lower_decile_db: float
    upper_decile_db: float
    man_made_db: float
    galactic_db: float | None
    atmospheric_db: float | None


def man_made_db(hz: float, environment: Environment) -> float:
    """Median man-made noise figure Fam, dB above kT₀b. Valid from 0.3 to 250 MHz."""
    c, d = MAN_MADE[environment]
    return float(c - d * np.log10(hz / 1e6))


def galactic_db(hz: float) -> float:
    """Median galactic noise figure, dB above kT₀b; where the ionosphere lets it through."""
    c, d = GALACTIC
    return float(c - d * np.log10(hz / 1e6))


def expected(hz: float, environment: Environment, atmospheric_db: float | None = None) -> Expected:
    """Man-made, galactic and (where given) atmospheric medians added as powers."""
    man_made = man_made_db(hz, environment)
    galactic = galactic_db(hz) if hz >= GALACTIC_ABOVE_HZ else None
    parts = [part for part in (man_made, galactic, atmospheric_db) if part is not None]
    median = float(10 * np.log10(sum(10 ** (part / 10) for part in parts)))
    upper, lower = TIME_DECILES_DB[environment]
    return Expected(median, median - lower, median + upper, man_made, galactic, atmospheric_db)


def fa_from_rise_db(noise_rise_db: Floats, receiver_noise_figure_db: float) -> Floats:
    """External noise fa in dB from noise rise in bypass and receiver noise figure: fa = fr·(y − 1) + 1.

    The chain's own noise is taken out, as ITU-R SM.1753-2 §10.2 asks. NaN where the rise is not above 0 dB.
    """
    fr = 10 ** (receiver_noise_figure_db / 10)
    with np.errstate(invalid="ignore", divide="ignore"):
        excess = fr * np.expm1(np.log(10) / 10 * np.asarray(noise_rise_db, dtype=np.float64))
        fa: Floats = 10 * np.log10(np.where(excess > 0, excess + 1, np.nan))
    return fa


def fa_from_level_db(level_dbm: Floats, bandwidth_hz: float, receiver_noise_figure_db: float) -> Floats:
    """External noise fa in dB from a calibrated level: fa = N/(kT₀B) − fr + 1. NaN where nothing is left over."""
    from sweeper.analysis.noise_figure import thermal_dbm

    ratio = 10 ** ((np.asarray(level_dbm, dtype=np.float64) - thermal_dbm(bandwidth_hz)) / 10)
    excess = ratio - 10 ** (receiver_noise_figure_db / 10) + 1
    fa: Floats = 10 * np.log10(np.where(excess > 0, excess, np.nan))
    return fa


def standing(fa_db: float, expectation: Expected) -> str:
    """The one-line diagnosis: how far the station's noise lies above or below what P.372 expects."""
    over = fa_db - expectation.median_db
    if fa_db > expectation.upper_decile_db:
        return (
            f"noise stands {over:.0f} dB above what P.372 expects here, which is more than nine tenths of the time "
            "would bring: look for a local source"
        )
    if fa_db < expectation.lower_decile_db:
        return (
            f"noise stands {-over:.0f} dB below what P.372 expects here: a quiet place, or an antenna that takes "
            "in little"
        )
    return f"noise is within what P.372 expects here ({over:+.0f} dB from its median)"
