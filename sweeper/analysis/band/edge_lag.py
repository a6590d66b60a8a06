"""Whether the meter has settled when it is read after an edge: edges to the stage and edges back then find one gain.

A meter that falls slowly still shows some of the louder route after the relay has moved on, so that every edge away
from it comes out too small. The mean over both ways is then off by half of what parts them.
"""

import numpy as np
import polars as pl
from scipy.special import stdtrit

from sweeper.analysis.statistics.estimates import Estimate
from sweeper.analysis.thresholds import LAG_CHANCE, LAG_DB


def lag_of(rows: pl.DataFrame) -> Estimate | None:
    """Edges to the stage minus edges back, dB, over the carrier rows of a band; None where no pass has both ways."""
    rows = rows.filter((pl.col("edge_passes") > 0) & (pl.col("edge_lag_se_db") > 0)).drop_nulls("edge_lag_db")
    if rows.is_empty():
        return None
    lag, se, weight = (
        rows[name].cast(pl.Float64).to_numpy() for name in ("edge_lag_db", "edge_lag_se_db", "edge_passes")
    )
    share = weight / weight.sum()
    dof = float(max(weight.sum() - len(weight), 1))
    return Estimate(float(share @ lag), float(np.sqrt(share**2 @ se**2)), dof)


def lags(lag: Estimate | None) -> bool:
    """Whether the two ways differ by more than chance and by what matters."""
    if lag is None:
        return False
    sure = -float(stdtrit(lag.dof, LAG_CHANCE / 2)) * lag.se
    return abs(lag.value) > max(LAG_DB, sure)


def borne_db(lag: Estimate | None) -> float:
    """What a lag that is not sure leaves open of the gain: half of it, less what chance makes, dB."""
    return 0.0 if lag is None else float(np.sqrt(max(lag.value**2 - lag.se**2, 0.0)) / 2)


def sentence_of(lag: Estimate) -> str:
    """What to do about it."""
    return (
        f"Changes of route to the stage and back differ by {abs(lag.value):.1f} dB on carriers: the meter is read "
        "before it has followed the relay. Those changes are left aside; write a longer `settle_s` for the receiver, "
        "or set its gain control to fast."
    )
