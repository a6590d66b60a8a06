"""What is expected of a band before its first night, from the station file alone.

The noise is what ITU-R P.372 expects at the place, and nights differ as its deciles say. A forecast: half of all
campaigns take longer.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from sweeper.analysis.arrays import Floats
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.physics.external_noise import expected
from sweeper.analysis.physics.friis import cascade, from_db
from sweeper.analysis.results import Verdict
from sweeper.analysis.verdict.nights_needed import (
    GAIN_SE_BY_CARRIERS_DB,
    GAIN_SE_BY_LOAD_DB,
    MOST_NIGHTS,
    aim,
    nights_needed,
    reach,
)

RECEIVER_NOISE_FIGURE_DB = 15.0
"""Of a short-wave receiver without preamplifier: common practice."""
NIGHT_SD_DB = 4.0
"""Of external noise at one hour from night to night: about the deciles of ITU-R P.372, Table 2 (a range of 2.56 sd)."""


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is expected of a band before the first night: means in dB, and the likeliest verdict.

    `nights`: how many it takes, None where a season does not suffice.
    `settles_db`: how far from the worthwhile change the S/N change must lie for `after_nights` nights to tell.
    """

    band: str
    noise_rise_db: float
    snr_change_db: float
    verdict: Verdict
    nights: int | None
    after_nights: int
    settles_db: float
    sentence: str


def expectations(facts: StationFacts, has_load: bool, nights: int = 7) -> tuple[Expectation, ...]:
    """From the station file alone, one for each band with a noise channel."""
    found = []
    for band in dict.fromkeys(channel.band for channel in facts.channels):
        hz = [channel.hz for channel in facts.channels if channel.band == band and channel.purpose == "noise"]
        if hz:
            found.append(_expectation(band, float(np.median(hz)), facts, has_load, nights))
    return tuple(found)


def _expectation(band: str, hz: float, facts: StationFacts, has_load: bool, nights: int) -> Expectation:
    outside = expected(hz, facts.environment)
    fa_db = outside.total.median_db
    gain_db = facts.rated_gain_db if facts.rated_gain_db is not None else 10.0
    figure_db = facts.rated_noise_figure_db if facts.rated_noise_figure_db is not None else max(3.0, -gain_db)
    change, rise = _chain(fa_db + NIGHT_SD_DB * _normal_quantiles(), gain_db, figure_db)
    mean, spread = float(change.mean()), float(change.std())
    gain_se = GAIN_SE_BY_LOAD_DB if has_load else GAIN_SE_BY_CARRIERS_DB

    def error(count: int) -> float:
        return float(np.hypot(spread, gain_se) / np.sqrt(count))

    verdict, distance = aim(mean, facts.worthwhile_db)
    needed = nights_needed(distance, error, 1.0 - facts.confidence)
    settles = reach(nights, error(nights), 1.0 - facts.confidence)
    if not has_load and float(np.quantile(rise, 0.1)) > 10.0:
        needed = needed if needed is not None and needed < 14 else None
    about = "about" if outside.whole else "at least about"
    text = (
        f"{band}: noise {about} {float(np.median(rise)):.0f} dB above the receiver's own is expected here; "
    )
    if needed is None:
        text += f"no verdict within {MOST_NIGHTS} nights is likely"
        text += (
            " without a load position" if not has_load else ", because the change lies close to what matters"
        )
    else:
        text += f"a verdict in about {needed} nights (“{verdict}”, {mean:+.1f} dB)".replace("-", "−")
    text += f"; {nights} nights tell a change that lies {settles:.1f} dB or more from what matters"
    return Expectation(band, float(np.median(rise)), mean, verdict, needed, nights, settles, text + ".")


def _chain(fa_db: Floats, gain_db: float, figure_db: float) -> tuple[Floats, Floats]:
    """S/N change and noise rise in dB for external noise `fa_db`: powers in kT₀B, referred to the antenna (Friis)."""
    fa_lin, receiver_lin = 10 ** (fa_db / 10), from_db(RECEIVER_NOISE_FIGURE_DB)
    both_lin = cascade(from_db(figure_db), receiver_lin, from_db(gain_db))
    bypass_lin, stage_lin = fa_lin + receiver_lin - 1, fa_lin + both_lin - 1
    return 10 * np.log10(bypass_lin / stage_lin), 10 * np.log10(bypass_lin / receiver_lin)


def _normal_quantiles(count: int = 401) -> Floats:
    quantiles: Floats = ndtri((np.arange(count) + 0.5) / count)
    return quantiles
