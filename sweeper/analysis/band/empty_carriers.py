"""Carrier channels on which no carrier stands, and in which hours: such a channel measures no gain."""

from datetime import datetime

import polars as pl

from sweeper.analysis.thresholds import EMPTY_PASSES, EMPTY_SHARE
from sweeper.analysis.wording import clock_spans

EMPTY = "carrier-empty"


def empty_carriers(rows: pl.DataFrame) -> dict[int, tuple[int, ...] | None]:
    """From one band's summaries: by frequency in hertz the hours (UTC) in which its carrier was missing; None: in all.

    An hour counts as empty where nearly every pass over it, all nights together, heard no carrier above the noise.
    """
    by_hour = (
        rows.filter(pl.col("for") == "carrier")
        .group_by("hz", "hour_utc")
        .agg(pl.col("passes_seen", "absent_passes").sum())
        .filter(pl.col("passes_seen") >= EMPTY_PASSES)
        .with_columns(
            (pl.col("absent_passes") >= EMPTY_SHARE * pl.col("passes_seen")).alias("empty"),
        )
        .sort("hz", "hour_utc")
    )
    found: dict[int, tuple[int, ...] | None] = {}
    for (hz,), part in by_hour.partition_by("hz", as_dict=True, maintain_order=True).items():
        hours = part.filter(pl.col("empty"))["hour_utc"].to_list()
        if hours:
            found[int(hz)] = None if len(hours) == part.height else tuple(hours)
    return found


def sentence_of(empty: dict[int, tuple[int, ...] | None], zone: str, on: datetime) -> str:
    """What a person should know of them, in the listener's time; nothing where every carrier is heard."""
    said = []
    for hz, hours in empty.items():
        channel = f"The carrier channel {hz / 1e3:g} kHz is empty"
        if hours is None:
            said.append(
                f"{channel} at all hours measured: no carrier stood above the noise there, so it measures no gain. "
                "Choose one that is on the air."
            )
        else:
            said.append(
                f"{channel} at {clock_spans(hours, zone, on)}: no carrier stands above the noise then, so it measures "
                "no gain then."
            )
    return " ".join(said)
