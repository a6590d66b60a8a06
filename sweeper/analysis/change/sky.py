"""What the carriers say of a change: they come by the sky, so that nothing done at home changes them."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from sweeper.analysis.band.nightly import SCALES
from sweeper.analysis.change.before_after import before_after, matched_nights, shared_dependence
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.statistics.interval import Interval


@dataclass(frozen=True, slots=True)
class Sky:
    """By how much carriers came in stronger after the fix, dB; `want` says what is missing where that is not known."""

    change_db: Interval | None
    want: str = ""
    loaded: bool = False
    """Whether a load told what the receiver did by itself, which is taken out."""

    def went_with(self, change_db: float) -> bool:
        """Whether carriers surely moved the way of a change of noise."""
        span = self.change_db
        return span is not None and (
            (span.low > 0.0 and change_db > 0.0) or (span.high < 0.0 and change_db < 0.0)
        )

    @property
    def sentence(self) -> str:
        """What a listener is told."""
        interval = self.change_db
        if interval is None:
            return self.want
        span = f"{interval.low:+.1f} to {interval.high:+.1f} dB".replace("-", "−")
        if interval.low <= 0.0 <= interval.high:
            return f"Distant stations show no change in propagation ({span})."
        way = "stronger" if interval.value > 0 else "weaker"
        or_receiver = "" if self.loaded else ", or the receiver reads otherwise"
        return (
            f"Distant stations came in {way} after the fix ({span}): propagation changed too{or_receiver}, so part of "
            "a change in noise may come from there. More nights, or nights of another month, would tell them apart."
        )


TOO_FEW = "Too few nights with carriers to tell whether propagation changed."


def sky_of(summaries: pl.DataFrame, first: date, facts: StationFacts, receiver_drift: pl.DataFrame) -> Sky:
    """What the carriers of these `summaries` say, the first night after the fix being `first`.

    `receiver_drift`: night and `drift_db`, by how much the loads show the receiver to read higher; null without any.
    """
    by_night = summaries.join(receiver_drift, on="night", how="left", maintain_order="left")
    rows = by_night.filter(
        (pl.col("for") == "carrier")
        & (pl.col("carrier_passes") > 0)
        & pl.col("level_antenna_bypass").is_not_null()
    ).select(
        "night",
        "hour_utc",
        "hz",
        *SCALES,
        (pl.col("level_antenna_bypass") - pl.col("drift_db").fill_null(0.0)).alias("level"),
        pl.lit(True).alias("controlled"),
        pl.lit(False).alias("external"),
        (pl.col("night").dt.weekday() >= 6).alias("weekend"),
    )
    if rows.is_empty():
        measured = summaries.filter(pl.col("for") == "carrier")["hz"].unique().sort().to_list()
        if not measured:
            return Sky(None, "No carriers were measured, so nothing tells whether propagation changed.")
        named = ", ".join(f"{hz / 1000:.10g} kHz" for hz in measured[:4]) + (
            " and others" if len(measured) > 4 else ""
        )
        return Sky(
            None,
            f"The carriers measured ({named}) did not stand clear of the noise, so nothing tells whether propagation "
            "changed.",
        )
    nights = matched_nights(rows, first, ("hz", "hour_utc"))
    change = before_after(nights, shared_dependence([nights]), 1.0 - facts.confidence)
    loaded = not receiver_drift.is_empty() and not receiver_drift["drift_db"].has_nulls()
    return Sky(change.estimate.interval(change.level), "", loaded) if change.estimate else Sky(None, TOO_FEW)
