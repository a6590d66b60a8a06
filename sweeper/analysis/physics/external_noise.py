"""External noise: the station's fa from what it measured, and what ITU-R P.372 expects at the place.

Closed formulas of the Recommendation; the published constants sit beside them. What a fix changed, and noise
figures, do not belong here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sweeper.analysis.arrays import Floats
from sweeper.analysis.facts import Environment

DECILE_SIGMAS = 1.282
"""A decile of a normal distribution lies this many standard deviations from its median."""
WIDE_DECILE_DB = 12.0
"""Decile deviation of a part beyond which the sum's is limited: ITU-R P.372, combination of noises, equation 25."""
MAN_MADE: dict[Environment, tuple[float, float]] = {
    "city": (76.8, 27.7),
    "residential": (72.5, 27.7),
    "rural": (67.2, 27.7),
    "quiet-rural": (53.6, 28.6),
}
"""Constants c and d of Fam = c − d·log₁₀(f/MHz), dB above kT₀b: ITU-R P.372, Table 1."""
GALACTIC = (52.0, 23.0)
"""The same for galactic noise, which varies by ±2 dB in time (same source)."""
GALACTIC_DECILES_DB = (2.0, 2.0)
TIME_DECILES_DB: dict[Environment, tuple[float, float]] = {
    "city": (11.0, 6.7),
    "residential": (10.6, 5.3),
    "rural": (9.2, 4.6),
    "quiet-rural": (9.2, 4.6),
}
"""Upper and lower decile deviations with time, dB: ITU-R P.372, Table 2. Quiet rural has none; rural's are taken."""
LOCATION_DECILES_DB: dict[Environment, float] = {
    "city": 8.4,
    "residential": 5.8,
    "rural": 6.8,
    "quiet-rural": 6.8,
}
"""How far the noisiest and the quietest tenth of places of a category lie from its median, dB, either way: ITU-R P.372,
Table 2, variation with location (values from memory). Quiet rural has none; rural's is taken."""
GALACTIC_ABOVE_HZ = 10e6
"""Below about the critical frequency of the ionosphere galactic noise does not come through."""
ATMOSPHERIC_BELOW_HZ = 10e6
"""Below this atmospheric noise may be the greatest part by far, at night most of all: common practice."""


Deciles = tuple[float, float]
"""How far the upper and the lower decile lie from the median, dB, both positive."""


@dataclass(frozen=True, slots=True)
class Component:
    """One cause of noise: median fa in dB above kT₀b, and how far its deciles in time lie above and below."""

    median_db: float
    upper_db: float
    lower_db: float


@dataclass(frozen=True, slots=True)
class Expected:
    """What P.372 expects at a place: the total, and the parts (None: does not arrive, or is not known).

    `whole`: no part is left out that could be the greatest; without atmospheric noise that is so from about 10 MHz up.
    """

    total: Component
    man_made: Component
    galactic: Component | None
    atmospheric: Component | None
    whole: bool
    place_upper_db: float
    place_lower_db: float
    """How far the total lies above and below its median, dB, at the noisiest and the quietest tenth of such places."""

    @property
    def causes(self) -> str:
        """The parts in words, such as ``man-made and atmospheric``."""
        parts = {"man-made": self.man_made, "galactic": self.galactic, "atmospheric": self.atmospheric}
        names = [name for name, part in parts.items() if part is not None]
        return " and ".join([*([", ".join(names[:-1])] if len(names) > 1 else []), names[-1]])


def man_made(hz: float, environment: Environment) -> Component:
    """Man-made noise of the category. The constants hold from 0.3 to 250 MHz."""
    c, d = MAN_MADE[environment]
    return Component(float(c - d * np.log10(hz / 1e6)), *TIME_DECILES_DB[environment])


def galactic(hz: float) -> Component:
    """Galactic noise, where the ionosphere lets it through."""
    c, d = GALACTIC
    return Component(float(c - d * np.log10(hz / 1e6)), *GALACTIC_DECILES_DB)


def combined(parts: Sequence[Component]) -> Component:
    """Noise of several causes together: powers that are log-normal each, and nearly so in sum (ITU-R P.372).

    Section "The combination of noises from several sources" (§8; Part 7 since edition 17): equations 18 to 24, and
    where a decile deviation exceeds `WIDE_DECILE_DB`, equation 25 as the most that the deviation of the sum may be. Of
    the medians that follow from the upper and from the lower deciles the lower one holds.
    """
    upper_median, upper = _sum_of([(part.median_db, part.upper_db) for part in parts])
    lower_median, lower = _sum_of([(part.median_db, part.lower_db) for part in parts])
    return Component(min(upper_median, lower_median), upper, lower)


def _sum_of(parts: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Median and decile deviation of a sum of log-normal powers, by its mean and variance, dB.

    A wide part makes the mean of the sum so great that a median found from it falls short. The deviation is limited to
    that of a sum whose median is the sum of the medians: where the Recommendation asks for it, and wherever else the
    sum would lie below its greatest part, which no sum of powers does.
    """
    neper = 10 / np.log(10)
    median, decile = (np.array(column) / neper for column in zip(*parts, strict=True))
    sigma = decile / DECILE_SIGMAS
    mean = np.exp(median + sigma**2 / 2)
    variance_lin = (mean**2 * np.expm1(sigma**2)).sum()
    together = np.sqrt(np.log1p(variance_lin / mean.sum() ** 2))
    widest = np.sqrt(2 * np.log(mean.sum() / np.exp(median).sum()))
    too_low = np.log(mean.sum()) - together**2 / 2 < median.max()
    if decile.max() * neper > WIDE_DECILE_DB or too_low:
        together = min(together, widest)
    return float(neper * (np.log(mean.sum()) - together**2 / 2)), float(neper * DECILE_SIGMAS * together)


def expected(hz: float, environment: Environment, atmospheric: Component | None = None) -> Expected:
    """Noise that P.372 expects at `hz`: man-made of the category, galactic, and atmospheric where it is given."""
    town = man_made(hz, environment)
    sky = galactic(hz) if hz >= GALACTIC_ABOVE_HZ else None
    rest = [part for part in (sky, atmospheric) if part is not None]
    total, apart = combined([town, *rest]), LOCATION_DECILES_DB[environment]
    upper, lower = (
        combined([replace(town, median_db=town.median_db + off), *rest]).median_db for off in (apart, -apart)
    )
    return Expected(
        total,
        town,
        sky,
        atmospheric,
        whole=atmospheric is not None or hz >= ATMOSPHERIC_BELOW_HZ,
        place_upper_db=upper - total.median_db,
        place_lower_db=total.median_db - lower,
    )


def fa_from_rise_db(noise_rise_db: Floats, receiver_noise_figure_db: float) -> Floats:
    """External noise fa in dB from noise rise in bypass and receiver noise figure: fa = fr·(y − 1) + 1.

    The chain's own noise is taken out, as ITU-R SM.1753-2 §10.2 asks. NaN where the rise is not above 0 dB.
    """
    fr = 10 ** (receiver_noise_figure_db / 10)
    with np.errstate(invalid="ignore", divide="ignore"):
        excess = fr * np.expm1(np.log(10) / 10 * np.asarray(noise_rise_db, dtype=np.float64))
        fa: Floats = 10 * np.log10(np.where(excess > 0, excess + 1, np.nan))
    return fa


def standing(fa_db: float, median_db: float, deciles_db: Deciles, usual_db: Deciles) -> str:
    """The one-line diagnosis: how far noise lies from the median that P.372 expects.

    `deciles_db`: in time; `usual_db`: of time and of places of a kind, which stray independently of each other, so that
    their deciles add as squares.
    """
    over = fa_db - median_db
    upper, lower = usual_db
    if over > upper:
        return (
            f"noise stands {over:.0f} dB above what P.372 expects here, which is more than nine tenths of such places "
            "and times would bring: look for a local source"
        )
    if over > deciles_db[0]:
        return (
            f"noise stands {over:.0f} dB above what P.372 expects here, more than nine tenths of the time would bring; "
            "places of a kind differ by as much, so it may be a local source or the place"
        )
    if -over > lower:
        return (
            f"noise stands {-over:.0f} dB below what P.372 expects here: a quiet place, or an antenna that takes "
            "in little"
        )
    words = f"{over:+.0f} dB from its median".replace("-", "−")
    return f"noise is within what P.372 expects here ({words})"
