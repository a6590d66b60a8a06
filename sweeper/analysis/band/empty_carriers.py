"""Carrier channels that measure no gain, and in which hours: no carrier stands there, or through one route only."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import polars as pl

from sweeper.analysis.thresholds import EMPTY_PASSES, EMPTY_SHARE, GONE_DB, STANDS_DB
from sweeper.analysis.wording import clock_spans

EMPTY = "carrier-empty"
ROUTES = ("bypass", "stage")
SAID = {
    "": ("is empty", "no carrier stood above the noise there", "Choose one that is on the air."),
    "stage": (
        "holds a carrier with the stage in only",
        "with the stage out none stood above the noise",
        "The stage lifts it out of the receiver's own noise, or makes it itself: choose one that is heard both ways.",
    ),
    "bypass": (
        "has no carrier any more with the stage in",
        "with the stage out it stood above the noise",
        "See whether the stage has its supply and passes this frequency, or choose another carrier.",
    ),
}
"""By the route through which it stands: what is the matter, what was seen, what to do."""


@dataclass(frozen=True, slots=True)
class Empty:
    """The hours (UTC) in which a channel had no carrier through both routes; None: in all. `stands`: the one route
    through which it had one then, empty where it had none.
    """

    hours: tuple[int, ...] | None
    stands: Literal["", "bypass", "stage"] = ""


def empty_carriers(rows: pl.DataFrame) -> dict[int, Empty]:
    """From one band's summaries, by frequency in hertz.

    An hour counts as empty where nearly every pass over it, all nights together, heard no carrier above the noise of
    both routes.
    """
    by_hour = (
        _over_noise(rows)
        .group_by("hz", "hour_utc")
        .agg(pl.col("passes_seen", "absent_passes").sum(), pl.col("over_bypass", "over_stage").mean())
        .filter(pl.col("passes_seen") >= EMPTY_PASSES)
        .sort("hz", "hour_utc")
    )
    found: dict[int, Empty] = {}
    for (hz,), part in by_hour.partition_by("hz", as_dict=True, maintain_order=True).items():
        empty = part.filter(pl.col("absent_passes") >= EMPTY_SHARE * pl.col("passes_seen"))
        if empty.height:
            hours = None if empty.height == part.height else tuple(empty["hour_utc"].to_list())
            found[int(hz)] = Empty(
                hours, _stands(*empty.select(pl.col("over_bypass", "over_stage").mean()).row(0))
            )
    return found


def _over_noise(rows: pl.DataFrame) -> pl.DataFrame:
    """Carriers and ratios with what stands in their channel over the noise of their band and hour, dB by route; null
    where the noise is not known. A ratio is that by itself.
    """
    keys = ("night", "hour_utc", "scale")
    density = [pl.col(f"level_antenna_{route}") - 10 * pl.col("bandwidth_hz").log10() for route in ROUTES]
    noise = (
        rows.filter(pl.col("for") == "noise")
        .group_by(*keys)
        .agg(each.mean().alias(f"density_{route}") for route, each in zip(ROUTES, density, strict=True))
    )
    over = (
        pl.when(pl.col("for") == "ratio")
        .then(pl.col(f"level_antenna_{route}"))
        .otherwise(each - pl.col(f"density_{route}"))
        .alias(f"over_{route}")
        for route, each in zip(ROUTES, density, strict=True)
    )
    return rows.filter(pl.col("for") != "noise").join(noise, on=keys, how="left").with_columns(over)


def _stands(over_bypass: float | None, over_stage: float | None) -> Literal["", "bypass", "stage"]:
    if over_bypass is None or over_stage is None:
        return ""
    if over_stage >= STANDS_DB and over_bypass < GONE_DB:
        return "stage"
    return "bypass" if over_bypass >= STANDS_DB and over_stage < GONE_DB else ""


def sentence_of(empty: dict[int, Empty], zone: str, on: datetime) -> str:
    """What a person should know of them, in the listener's time; nothing where every carrier is heard."""
    said = []
    for hz, one in empty.items():
        matter, seen, mend = SAID[one.stands]
        channel = f"The carrier channel {hz / 1e3:g} kHz {matter}"
        if one.hours is None:
            said.append(f"{channel} at all hours measured: {seen}, so it measures no gain. {mend}")
        else:
            said.append(
                f"{channel} at {clock_spans(one.hours, zone, on)}: {seen}, so it measures no gain then."
                + (f" {mend}" if one.stands else "")
            )
    return " ".join(said)
