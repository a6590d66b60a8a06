"""What is wrong with the chain, told from the data alone: overload, compression, relays, supply, mismatch.

Looked for before any good news is told. From the summaries of one band to flags by hour and sentences for a
person. Verdicts do not belong here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.chain_faults import faults
from sweeper.analysis.band.channels import within_channel
from sweeper.analysis.band.gain_agreement import reconcile
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.overload_excess import excess_by_hour, mean_and_error
from sweeper.analysis.facts import Products, StationFacts
from sweeper.analysis.thresholds import EXCESS_DB, EXCESS_SE, NO_GAIN_DB
from sweeper.analysis.wording import listed

MOST_NAMED = 4
"""Lines whose frequencies one sentence tells."""
WITHOUT_LOAD = (
    *("difference_bound", "difference_db", "load_difference_db"),
    *("hz", "strongest_carrier_db", "level_antenna_bypass"),
)


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What ails the chain on one band.

    `hours` has columns hour_utc, excess_db, excess_se_db and overload (true: noise rose by more than gain can
    explain). `flags` hold for the whole band; each sentence says what was seen, what it means and what to do.
    """

    hours: pl.DataFrame
    flags: tuple[str, ...]
    sentences: tuple[str, ...]
    with_products: frozenset[int] = frozenset()
    """Hours (UTC) in which spectra show products of overload."""

    @property
    def overloaded_hours(self) -> tuple[int, ...]:
        """Hours (UTC) in which overload shows."""
        hours = zip(self.hours["hour_utc"].to_list(), self.hours["overload"].to_list(), strict=True)
        return tuple(sorted({int(hour) for hour, overload in hours if overload} | self.with_products))

    @property
    def hours_near_overload(self) -> frozenset[int]:
        """Hours that overload and their neighbours, in which it may have begun unseen."""
        return frozenset((hour + step) % 24 for hour in self.overloaded_hours for step in (-1, 0, 1))

    def with_sign(
        self, flags: Sequence[str], sentences: Sequence[str], *, first: bool = False
    ) -> "Diagnosis":
        """The diagnosis and another sign, told after what is known already or before it."""
        told = (*sentences, *self.sentences) if first else (*self.sentences, *sentences)
        return replace(self, flags=(*self.flags, *flags), sentences=told)


def diagnose(methods: GainMethods, facts: StationFacts) -> Diagnosis:
    """Look at the summaries of one band for everything that makes a figure look better or worse than it is."""
    hours = excess_by_hour(methods)
    signs = [
        *faults(methods, facts),
        *_overload(hours, by_carriers=methods.carriers is not None),
        *_receiver_overload(methods, facts),
        *_without_load(methods),
        *_compression(methods.summaries),
    ]
    if not signs and not (facts.rated_gain_db is not None and abs(facts.rated_gain_db) <= NO_GAIN_DB):
        apart = reconcile(methods)
        if apart.agree is False:
            signs.append(("routes-disagree", apart.sentence))
    return Diagnosis(hours, tuple(flag for flag, _ in signs), tuple(sentence for _, sentence in signs))


def with_products(diagnosis: Diagnosis, products: Sequence[Products]) -> Diagnosis:
    """The diagnosis of a band with the lines that stand with the stage in only, named first of all signs."""
    hours = frozenset(hour for each in products for hour in each.hours_utc)
    if not hours:
        return diagnosis
    places = listed([f"{hz / 1e3:.1f}" for each in products for hz in each.hz][:MOST_NAMED])
    more = " and more" if sum(len(each.hz) for each in products) > MOST_NAMED else ""
    sentence = (
        f"With the stage in, lines stand at {places} kHz{more} that are not there without it: products of "
        "intermodulation. Put a filter or an attenuator ahead, or leave the stage out at these hours."
    )
    return replace(diagnosis, with_products=hours).with_sign(["overload"], [sentence], first=True)


def seen_together(diagnoses: Mapping[str, Diagnosis], facts: StationFacts) -> dict[str, Diagnosis]:
    """The diagnoses of all bands, in which a fault that most of them share is named once, for all of them.

    An amplifier that takes away on one band is outside its range there; on most bands it is not what is in the path.
    """
    hit = [band for band, found in diagnoses.items() if "no-gain" in found.flags]
    if 2 * len(hit) <= len(diagnoses):
        return dict(diagnoses)
    by_load = sum("load-too-low" in diagnoses[band].flags for band in hit) > len(hit) / 2
    sentence = (
        f"On {len(hit)} of {len(diagnoses)} bands the stage takes away, but is rated at {facts.rated_gain_db:+.0f} dB"
        + (", and the load, too, reads lower through it than is possible" if by_load else "")
        + ": stage and bypass are swapped in the station file"
        + ("" if by_load else ", or the stage has no supply")
        + ". No figure of any band holds until that is put right; the readings can be kept."
    )
    first = next(iter(diagnoses))
    return {
        band: Diagnosis(
            found.hours.with_columns(pl.lit(False).alias("overload")),
            ("swapped",),
            (sentence,) if band == first else (),
        )
        for band, found in diagnoses.items()
    }


def places_near_overload(diagnoses: Mapping[str, Diagnosis]) -> list[tuple[str, int]]:
    """(band, hour_utc) wherever `Diagnosis.hours_near_overload` says so."""
    return [(band, hour) for band, found in diagnoses.items() for hour in found.hours_near_overload]


def without_overload(summaries: pl.DataFrame, diagnosis: Diagnosis) -> pl.DataFrame:
    """The summaries of the hours in which no overload shows, for gain and noise figures."""
    return summaries.filter(~pl.col("hour_utc").is_in(list(diagnosis.overloaded_hours)))


def product_order(drop_db: float, attenuation_db: float) -> float:
    """What an attenuator ahead says of noise: dB of noise lost for each dB of attenuation.

    1 for real noise, 2 for second-order intermodulation products, 3 for third-order ones.
    """
    return drop_db / attenuation_db


def _overload(hours: pl.DataFrame, *, by_carriers: bool) -> list[tuple[str, str]]:
    hit = hours.filter(hours["overload"])
    if hit.is_empty():
        return []
    worst = float(hit["excess_db"].to_numpy().max())
    slope, error = _slope(hours["strongest_db"].to_numpy(), hours["excess_db"].to_numpy())
    follows = np.isfinite(slope) and slope > 0.1 and slope > 2 * error
    everywhere = len(hit) >= 0.9 * len(hours) and len(hours) >= 3
    alike = worst < 2 * float(np.median(hours["excess_db"].to_numpy()))
    if everywhere and alike and not follows:
        return [
            (
                "mismatch",
                f"In every hour noise rises {worst:.1f} dB more than carriers do, whatever their strength: antenna and "
                "load do not match the stage alike, or the load is not 50 ohms. Gain from the load is not to be "
                "trusted here; check the termination and its relay.",
            )
        ]
    extra = ", and most when carriers are strongest" if follows and by_carriers else ""
    that_is = (
        "that is intermodulation, not noise from outside."
        if by_carriers
        else "intermodulation does that, and so does a gain that is higher at these hours."
    )
    return [
        (
            "overload",
            f"With the stage in, noise rises up to {worst:.1f} dB more than the gain{extra}: {that_is} Put a filter "
            "or an attenuator ahead, or leave the stage out at these hours.",
        )
    ]


def _receiver_overload(methods: GainMethods, facts: StationFacts) -> list[tuple[str, str]]:
    """An attenuating stage that lowers noise by more than its loss shows that the receiver overloads without it."""
    if facts.rated_gain_db is not None and facts.rated_gain_db >= 3.0:
        return []  # an amplifier that takes away is a fault, not an attenuator
    carriers = methods.carriers
    if carriers is None or carriers.gain_db > -1.0 or carriers.se_db > 1.0 or methods.offsets_db:
        return []  # where gain differs by channel, that of a carrier is not that of a noise channel
    rows = methods.noise.filter(pl.col("difference_bound") == "")
    rows = rows.drop_nulls(["difference_db", "difference_se_db"])
    hit, orders = [], []
    for (hour,), part in rows.group_by("hour_utc", maintain_order=True):
        drop, se = mean_and_error(-part["difference_db"].to_numpy(), part["difference_se_db"].to_numpy())
        more = drop + carriers.gain_db
        if more > EXCESS_DB and more > EXCESS_SE * np.hypot(se, carriers.se_db):
            hit.append(hour)
            orders.append(product_order(drop, -carriers.gain_db))
    if not hit:
        return []
    return [
        (
            "receiver-overload",
            f"With the stage in, noise falls by {float(np.median(orders)):.1f} dB for every dB that it attenuates (1 "
            "is real noise, 2 and 3 are second- and third-order products): the receiver overloads without it. The "
            "attenuator, or a filter, is what this band needs.",
        )
    ]


def _without_load(methods: GainMethods) -> list[tuple[str, str]]:
    """Where no load tells what to expect: noise that rises more than carriers do, and with the strongest of them.

    Each channel by itself, from hour to hour: channels differ in gain by their frequency.
    """
    carriers = methods.carriers
    if carriers is None:
        return []
    rows = methods.noise.select(WITHOUT_LOAD).filter(pl.col("difference_bound") == "")
    if rows.is_empty() or rows["load_difference_db"].null_count() < rows.height:
        return []
    rows = rows.drop_nulls(["difference_db", "strongest_carrier_db", "level_antenna_bypass"])
    dof = rows.height - rows["hz"].n_unique() - 2
    if dof < 9:
        return []
    columns = ("strongest_carrier_db", "level_antenna_bypass", "difference_db")
    moved = rows.select(within_channel(pl.col(name)) for name in columns).to_numpy()
    design, rise = moved[:, :2], moved[:, 2]
    found, _, rank, _ = np.linalg.lstsq(design, rise, rcond=None)
    left = rise - design @ found
    if rank < 2:
        return []
    slope_se = float(np.sqrt(left @ left / dof * np.linalg.inv(design.T @ design)[0, 0]))
    worst = float(np.quantile(rows["difference_db"].to_numpy() - carriers.gain_db, 0.9))
    if found[0] < 0.1 or found[0] < 4 * slope_se or worst < EXCESS_DB + 2 * carriers.se_db:
        return []
    return [
        (
            "overload",
            f"Noise rises up to {worst:.1f} dB more than carriers do, and by {found[0]:.1f} dB with every dB of the "
            "strongest carrier: the stage overloads when signals are strong. Readings with a load would tell at which "
            "hours.",
        )
    ]


def _slope(x: Floats, y: Floats) -> tuple[float, float]:
    """Slope of y over x by least squares and its standard error; NaN with fewer than four points."""
    good = np.isfinite(x) & np.isfinite(y)
    x, y = x[good], y[good]
    if len(x) < 4 or float(np.ptp(x)) < 1e-9:
        return float("nan"), float("nan")
    centred = x - x.mean()
    slope = float(centred @ y / (centred @ centred))
    left = y - y.mean() - slope * centred
    return slope, float(np.sqrt(left @ left / (len(x) - 2) / (centred @ centred)))


def _compression(summaries: pl.DataFrame) -> list[tuple[str, str]]:
    """Each carrier by itself, as it comes stronger and weaker: carriers of one band differ in gain by its frequency."""
    rows = summaries.filter((pl.col("for") == "carrier") & pl.col("carrier_gain_db").is_not_null())
    if rows.height - rows["hz"].n_unique() < 8:
        return []
    # the mean of both routes: against one of them, its own fading would feign a slope
    level = (pl.col("level_antenna_bypass") + pl.col("level_antenna_stage")) / 2
    moved = rows.select(strength=within_channel(level), gain=within_channel(pl.col("carrier_gain_db")))
    strength = moved["strength"].to_numpy()
    slope, error = _slope(strength, moved["gain"].to_numpy())
    if not np.isfinite(slope):
        return []
    lost = -slope * float(np.quantile(strength, 0.9) - np.quantile(strength, 0.1))
    if lost < 1.0 or -slope < 4 * error:
        return []
    return [
        (
            "compression",
            f"The stronger the carrier, the less the stage amplifies it: {lost:.1f} dB less at the strong end. It is "
            "driven into compression; attenuate ahead of it or leave it out when signals are strong.",
        )
    ]
