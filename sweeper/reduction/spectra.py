"""From stored spectra to what many passes show of each tuning together, in bounded memory."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from sweeper.analysis import Products
from sweeper.store import Store
from sweeper.store.spectra import NO_VALUE
from sweeper.tables import pl
from sweeper.words import SignalPath

if TYPE_CHECKING:
    from sweeper.spectra.over_passes import Stored, TuningSeen

MOST_PASSES = 60
"""That are looked at of a tuning, evenly from the first to the last: some ten megabytes for nine bands."""
MOST_BINS = 4000
"""Of a spectrum, several times what this program stores."""
APART = 0.25
"""Of a tuning's width: spectra that begin farther apart are of different tunings."""


def spectra_seen(
    store: Store, start: datetime | None = None, end: datetime | None = None
) -> tuple[TuningSeen, ...]:
    """Every tuning whose spectra are stored from `start` to `end` (None: all), from the lowest on.

    Where old spectra are thinned and later ones whole, the whole ones are looked at.
    """
    from sweeper.spectra.over_passes import over_passes  # arrays take long to load

    spectra = store.spectra(start, end)
    listed = spectra.select(
        "time", "pass", "band", "start_hz", "step_hz", pl.col("mean_cdb").list.len().alias("bins")
    ).collect(engine="streaming")
    seen = [over_passes(stored) for stored in _tunings(spectra, listed)]
    return tuple(sorted((each for each in seen if each is not None), key=lambda each: each.start_hz))


def products_of(seen: Sequence[TuningSeen]) -> tuple[Products, ...]:
    """The lines that stand with the stage in only, tuning by tuning, as the analysis takes them."""
    return tuple(
        Products(
            each.band,
            tuple(line.hz for line in lines),
            tuple(sorted({hour for line in lines for hour in line.hours_utc})),
        )
        for each in seen
        if (lines := [line for line in each.lines if line.kind == "stage only"])
    )


def _tunings(spectra: pl.LazyFrame, listed: pl.DataFrame) -> Iterator[Stored]:
    told = listed.filter(pl.col("bins").is_between(1, MOST_BINS) & (pl.col("step_hz") > 0.0))
    for _, of_band in told.group_by("band", maintain_order=True):
        latest = of_band.sort("time").row(-1, named=True)
        alike = of_band.filter(
            (pl.col("step_hz") == latest["step_hz"]) & (pl.col("bins") == latest["bins"])
        ).sort("start_hz", "pass")
        width_hz = latest["step_hz"] * latest["bins"]
        tuning = (pl.col("start_hz").diff().fill_null(0) > APART * width_hz).cum_sum()
        for _, rows in alike.with_columns(tuning=tuning).group_by("tuning", maintain_order=True):
            yield _stored(spectra, rows)


def _stored(spectra: pl.LazyFrame, rows: pl.DataFrame) -> Stored:
    """The levels of a tuning's chosen passes."""
    import numpy as np

    from sweeper.spectra.over_passes import Stored

    passes = rows["pass"].unique().sort()
    chosen = passes.gather_every(-(-len(passes) // MOST_PASSES))
    first, last = rows.row(0, named=True), rows["start_hz"].max()
    here = (
        spectra.filter(
            (pl.col("band") == first["band"])
            & (pl.col("step_hz") == first["step_hz"])
            & pl.col("start_hz").is_between(first["start_hz"], last)
            & pl.col("pass").is_in(chosen.implode())
            & (pl.col("mean_cdb").list.len() == first["bins"])
        )
        .select("time", "pass", "source", "route", "start_hz", "mean_cdb", "segments")
        .collect(engine="streaming")
        .sort("time")
    )
    cdb = here["mean_cdb"].explode().to_numpy().reshape(here.height, first["bins"]).astype(np.float64)
    paths = zip(here["source"].to_list(), here["route"].to_list(), strict=True)
    return Stored(
        first["band"],
        float(first["start_hz"]),
        first["step_hz"],
        here["pass"].to_numpy(),
        here["time"].dt.hour().to_numpy().astype(np.int64),
        tuple(SignalPath(source, route) for source, route in paths),
        np.where(cdb == NO_VALUE, np.nan, cdb / 100.0),
        max(int(np.median(here["segments"].to_numpy())), 1),
    )
