"""What is expected of a band before its first night, from the station file and what the first passes measured.

The noise is what ITU-R P.372 expects at the place from an antenna without loss, less what this antenna may lose, and
nights differ as its deciles say. A forecast: half of all campaigns take longer.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import polars as pl
from scipy.special import ndtri

from sweeper.analysis.arrays import Floats
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.physics.external_noise import expected
from sweeper.analysis.physics.friis import cascade, from_db
from sweeper.analysis.results import Verdict
from sweeper.analysis.states import words_of
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


UNKNOWN_LOSS_DB = (0.0, 15.0, 30.0)
"""Loss of an antenna before anything was measured. ITU-R P.372 counts for one without loss; small loops, and wires
short for the band, lose tens of decibels (common practice)."""


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is expected of a band before there are verdicts: means in dB, and the likeliest verdict.

    `noise_rise_db`: of noise from outside over the receiver's own, lowest and highest that the antenna's loss allows;
    the same twice where it was measured. `snr_change_db` goes with the highest. `verdict`: ``undecided`` where it hangs
    on the loss. `nights`: how many it takes at the least, None where a season does not suffice.
    `settles_db`: how far from the worthwhile change the S/N change must lie for `after_nights` nights to tell.
    """

    band: str
    noise_rise_db: tuple[float, float]
    snr_change_db: float
    verdict: Verdict
    nights: int | None
    after_nights: int
    settles_db: float
    sentence: str


@dataclass(frozen=True, slots=True)
class _Forecast:
    """For one loss of the antenna."""

    rise_db: float
    change_db: float
    verdict: Verdict
    nights: int | None
    settles_db: float


def expectations(
    facts: StationFacts,
    has_load: bool,
    nights: int = 7,
    measured_rise_db: Mapping[str, float] = MappingProxyType({}),
) -> tuple[Expectation, ...]:
    """From the station file, one for each band with a noise channel.

    `measured_rise_db`: antenna over load in bypass, by band, dB, where there is one pass or more; it takes the place of
    the antenna's loss, which nobody knows before.
    """
    found = []
    for band in dict.fromkeys(channel.band for channel in facts.channels):
        hz = [channel.hz for channel in facts.channels if channel.band == band and channel.purpose == "noise"]
        if hz:
            rise_db = measured_rise_db.get(band)
            found.append(_expectation(band, float(np.median(hz)), facts, has_load, nights, rise_db))
    return tuple(found)


def measured_rises(summaries: pl.DataFrame) -> dict[str, float]:
    """Antenna over load in bypass by band, dB: the median of what was measured, bounds left out."""
    told = summaries.filter(
        pl.col("noise_rise_db").is_finite() & (pl.col("noise_rise_bound").fill_null("") == "")
    )
    medians = told.group_by("band", maintain_order=True).agg(pl.col("noise_rise_db").median())
    return dict(medians.iter_rows())


def _expectation(
    band: str, hz: float, facts: StationFacts, has_load: bool, nights: int, measured_db: float | None
) -> Expectation:
    outside = expected(hz, facts.environment)
    fa_db = outside.total.median_db
    losses_db = UNKNOWN_LOSS_DB if measured_db is None else (fa_db - _external_db(measured_db),)
    each = [_forecast(fa_db - loss_db, facts, has_load, nights) for loss_db in losses_db]
    highest, lowest = each[0], each[-1]
    if measured_db is None:
        about = "about" if outside.whole else "at least about"
        text = (
            f"{band}: an antenna without loss would bring noise {about} {highest.rise_db:.0f} dB above the receiver's "
            f"own here, one that loses {UNKNOWN_LOSS_DB[-1]:.0f} dB would bring {lowest.rise_db:.0f}; "
            "the first pass with a load tells; "
        )
    else:
        text = f"{band}: noise was measured {measured_db:.0f} dB above the receiver's own; "
    counts = [one.nights for one in each if one.nights is not None]
    verdicts = tuple(dict.fromkeys(one.verdict for one in each))
    text += _verdict_clause(each, counts, verdicts, has_load)
    settles = max(one.settles_db for one in each)
    text += f"; {nights} nights tell a change that lies {settles:.1f} dB or more from what matters."
    return Expectation(
        band,
        (lowest.rise_db, highest.rise_db),
        highest.change_db,
        verdicts[0] if len(verdicts) == 1 else "undecided",
        min(counts, default=None),
        nights,
        settles,
        text,
    )


def _verdict_clause(
    each: Sequence[_Forecast], counts: Sequence[int], verdicts: Sequence[Verdict], has_load: bool
) -> str:
    if not counts:
        why = "because the change lies close to what matters" if has_load else "without a load position"
        comma = ", " if has_load else " "
        return f"no answer within {MOST_NIGHTS} nights is likely{comma}{why}"
    low, high = min(counts), max(counts)
    span = f"{low}" if low == high else f"{low} to {high}"
    changes = sorted(one.change_db for one in each)
    worth = (
        f"{changes[0]:+.1f} dB"
        if changes[-1] - changes[0] < 0.1
        else f"{changes[0]:+.1f} to {changes[-1]:+.1f} dB"
    )
    named = " or ".join(f"“{words_of(verdict)}”" for verdict in verdicts)
    clause = f"an answer in about {span} nights ({named}, {worth})".replace("-", "−")
    if len(counts) < len(each):
        clause += f", or none within {MOST_NIGHTS}"
    return clause + ("" if len(each) == 1 else ", by the antenna's loss")


def _forecast(fa_db: float, facts: StationFacts, has_load: bool, nights: int) -> _Forecast:
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
    return _Forecast(float(np.median(rise)), mean, verdict, needed, settles)


def _external_db(rise_db: float) -> float:
    """The external noise, in kT₀B at the receiver, that raises its own by `rise_db`; what `_chain` turns round."""
    receiver_lin = from_db(RECEIVER_NOISE_FIGURE_DB)
    external_lin = receiver_lin * (from_db(rise_db) - 1.0) + 1.0
    return 10.0 * math.log10(max(external_lin, 1e-3))


def _chain(fa_db: Floats, gain_db: float, figure_db: float) -> tuple[Floats, Floats]:
    """S/N change and noise rise in dB for external noise `fa_db`: powers in kT₀B, referred to the antenna (Friis)."""
    fa_lin, receiver_lin = 10 ** (fa_db / 10), from_db(RECEIVER_NOISE_FIGURE_DB)
    both_lin = cascade(from_db(figure_db), receiver_lin, from_db(gain_db))
    bypass_lin, stage_lin = fa_lin + receiver_lin - 1, fa_lin + both_lin - 1
    return 10 * np.log10(bypass_lin / stage_lin), 10 * np.log10(bypass_lin / receiver_lin)


def _normal_quantiles(count: int = 401) -> Floats:
    quantiles: Floats = ndtri((np.arange(count) + 0.5) / count)
    return quantiles
