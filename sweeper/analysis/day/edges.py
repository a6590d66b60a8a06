"""What carriers say of gain across edges: the route changes while the receiver stays, and both sides share the fade.

An edge is two visits of one pass to one channel, by the one route and then by the other, with no more than
`EDGE_GAP_S` between them. A fade that rises or falls meanwhile counts one way on edges to the stage and the other way
on edges back, so these are averaged apart; a meter that still shows the louder route on the way back parts them.

In an hour in which the carrier stands clear in the whole visits of no pass, it is not there: what is clear at an edge
alone is a crash of static.

Every edge counts alike in the mean of its way over an hour, however many are clear in its pass. In bypass, stage,
stage, bypass the visits through the stage are neighbours and fade together, those in bypass lie apart. Where one edge
of a pass is too weak to count, the stage's side of the other one has faded, too, more than its bypass side: it reads
low. A mean of each pass first would give such an edge the weight of two, which takes 0.2 dB from a weak carrier,
however many passes there are.
"""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.analysis.arrays import Floats
from sweeper.analysis.day.carriers import gain_of_pairs_db
from sweeper.analysis.thresholds import EDGE_GAP_S


def with_edges(table: pl.DataFrame, visits: pl.DataFrame, channel: NDArray[np.int64]) -> pl.DataFrame:
    """The pass table with `edge_there` and `edge_back`, stage minus bypass across the edges of a pass to the stage and
    of those back, dB; `edge_gain`, their mean, and `edge_lag`, their difference. Null where there is no edge.
    `channel` numbers the channel of each visit as in the table.
    """
    before, after = _pairs(visits, channel)
    there, back = np.full(len(table), np.nan), np.full(len(table), np.nan)
    if len(before):
        row = _rows(table, visits["pass"].to_numpy()[before], channel[before])
        heard = _heard(table)[row]
        before, after, row = before[heard], after[heard], row[heard]
    if len(before):
        staged_after = (visits["route"] == "stage").to_numpy()[after]
        last, first = (
            10 ** (visits[name].to_numpy()[at] / 10)
            for name, at in (("last_db", before), ("first_db", after))
        )
        under = [table[f"under_{route}"].to_numpy()[row] for route in ("bypass", "stage")]
        pairs = _by_themselves(
            table["alike"].to_numpy()[row],
            np.where(staged_after, last, first) - under[0],
            np.where(staged_after, first, last) - under[1],
            under,
        )
        there, back = (_mean_of(row, pairs, way, len(table)) for way in (staged_after, ~staged_after))
    told = table.with_columns(pl.Series("edge_there", there), pl.Series("edge_back", back))
    return told.with_columns(pl.col("edge_there", "edge_back").fill_nan(None)).with_columns(
        pl.mean_horizontal("edge_there", "edge_back").alias("edge_gain"),
        (pl.col("edge_there") - pl.col("edge_back")).alias("edge_lag"),
    )


def _heard(table: pl.DataFrame) -> NDArray[np.bool_]:
    """Rows of the pass table in whose hour the carrier stood clear of the noise in some pass."""
    clear = ~pl.col("absent") & pl.all_horizontal(pl.col("antenna_bypass", "antenna_stage").is_finite())
    return table.select(clear.any().over("channel", "night", "hour_utc")).to_series().to_numpy()


def _pairs(visits: pl.DataFrame, channel: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The visits before and after each edge on a carrier, by their places."""
    good = (visits["for"] != "noise") & (visits["source"] == "antenna") & (visits["bound"] == 0)
    places = np.flatnonzero((good & ~visits["stale"]).to_numpy())
    passes = visits["pass"].to_numpy()
    places = places[np.lexsort((places, channel[places], passes[places]))]
    before, after = places[:-1], places[1:]
    staged = (visits["route"] == "stage").to_numpy()
    gap_ms = visits["since_ms"].to_numpy()[after] - visits["until_ms"].to_numpy()[before]
    edge = (passes[before] == passes[after]) & (channel[before] == channel[after])
    edge &= (staged[before] != staged[after]) & (gap_ms <= 1000 * EDGE_GAP_S)
    for name in ("bandwidth_hz", "scale"):
        values = visits[name].to_numpy()
        edge &= values[before] == values[after]
    return before[edge], after[edge]


def _rows(table: pl.DataFrame, passes: NDArray[np.int64], channel: NDArray[np.int64]) -> NDArray[np.int64]:
    """The row of the pass table for each pass and channel."""
    numbers, nth = np.unique(table["pass"].to_numpy(), return_inverse=True)
    code = table["channel"].to_numpy() * len(numbers) + nth
    order = np.argsort(code)
    wanted = channel * len(numbers) + np.searchsorted(numbers, passes)
    rows: NDArray[np.int64] = order[np.searchsorted(code[order], wanted)]
    return rows


def _by_themselves(alike: NDArray[np.integer], bypass: Floats, stage: Floats, under: list[Floats]) -> Floats:
    """The gain of each edge as a pseudo-value, those `alike` together, dB; NaN where the carrier is not clear."""
    gain = np.full(len(alike), np.nan)
    for number in np.unique(alike):
        mine = alike == number
        known = np.isfinite(bypass[mine] + stage[mine])
        gain[mine], _ = gain_of_pairs_db(bypass[mine], stage[mine], under[0][mine], under[1][mine], known)
    return gain


def _mean_of(row: NDArray[np.int64], gain: Floats, way: NDArray[np.bool_], rows: int) -> Floats:
    """The mean over the edges of one way, by row of the pass table."""
    chosen = way & np.isfinite(gain)
    with np.errstate(invalid="ignore"):
        mean: Floats = np.bincount(row[chosen], gain[chosen], rows) / np.bincount(row[chosen], minlength=rows)
    return mean
