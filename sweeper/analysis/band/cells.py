"""One cell of the table, a band at an hour of the day: its S/N change and noise rise with their uncertainty.

From nightly rows and the gain of each band to estimates. A cell holds what is known; what follows from it is for
`verdict`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.gain import Gain
from sweeper.analysis.band.hours_together import (
    HoursTogether,
    hours_together,
    left_by_step_db,
    telling_each_other,
)
from sweeper.analysis.band.these_nights import mean_on_these
from sweeper.analysis.meter.slope import measured_noise
from sweeper.analysis.physics.friis import kept_share_slope, snr_lost_db
from sweeper.analysis.statistics.curved_mean import (
    AsymmetricEstimate,
    Curve,
    ideal_curve,
    over_all_nights,
)
from sweeper.analysis.statistics.dependent_nights import NO_SCATTER_DB
from sweeper.analysis.statistics.effective_nights import Worth, persistence_of
from sweeper.analysis.statistics.estimates import Estimate, Scatter, summed
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK
from sweeper.analysis.thresholds import (
    FEW_ON_THE_FLOOR,
    FIVE_NIGHTS,
    OFF_THE_CURVE_DB,
    RISE_OF_ANY_USE_DB,
    USUAL_SPREAD_DB,
)


@dataclass(frozen=True, slots=True)
class Cell:
    """A band at an hour. Estimates in dB, None where nothing can be said.

    `nights`: measured; `looked`: those until the last look, which estimates are of, but for `on_these_nights`.
    `difference`: noise with the stage in less noise in bypass. `ceiling` and `lower_bound` are the most and the least
    that the noise rise leaves to the S/N change. `bound` says that the S/N change is only known to be ``at most`` or
    ``at least`` its value (meter on its floor or top). `on_these_nights`: the S/N change on the nights measured, by its
    error within them. `night_sd_db` is how far single nights stray, before three
    nights as ITU-R P.372 lets expect.
    """

    band: str
    hour_utc: int
    nights: int
    looked: int
    passes: int
    difference: Estimate | None
    snr_change: Estimate | AsymmetricEstimate | None
    noise_rise: Estimate | None
    ceiling: Estimate | AsymmetricEstimate | None
    lower_bound: Estimate | AsymmetricEstimate | None
    bound: str
    flags: tuple[str, ...]
    night_sd_db: float
    on_these_nights: Estimate | None = None

    @property
    def about_these_nights_only(self) -> bool:
        """Too few nights to say anything of others."""
        return self.nights < FIRST_LOOK

    @property
    def as_measured(self) -> "Cell":
        """The same cell as far as it speaks of the nights measured and no others, by what was measured directly."""
        if self.about_these_nights_only:
            return self
        return replace(self, snr_change=self.on_these_nights, ceiling=None, lower_bound=None)


def persistence(summaries: pl.DataFrame) -> float:
    """Correlation of neighbouring nights, all bands and hours together: one series a band, the mean of its hours."""
    rows = measured_noise(summaries, "night", "band", "hour_utc", "hz", "difference_db").drop_nulls(
        "difference_db"
    )
    strayed = pl.col("difference_db") - pl.col("difference_db").mean().over("band", "hour_utc", "hz")
    by_night = (
        rows.with_columns(strayed.alias("strayed"))
        .group_by("band", "night")
        .agg(pl.col("strayed").mean())
        .sort("band", "night")
    )
    return persistence_of(
        [
            (part["night"].to_physical().to_numpy().astype(float), part["strayed"].to_numpy())
            for part in by_night.partition_by("band", maintain_order=True)
        ]
    )


def cells_of_bands(
    rows: Mapping[str, pl.DataFrame],
    gains: Mapping[str, Gain | None],
    quieter: Mapping[str, bool],
    alike: float = 0.0,
    step_db: float = 0.0,
) -> list[Cell]:
    """Cells of the bands of a station from their nightly rows, band by band, hours in order.

    `quieter`: the stage changes what the antenna takes in, so that the noise rise caps nothing. `alike`: correlation
    of neighbouring nights, as of `persistence`. `step_db`: the meter's, 0 for a fine one.
    """
    bands = telling_each_other([hours_together(here, gains[band], alike) for band, here in rows.items()])
    cells = []
    for (band, here), together in zip(rows.items(), bands, strict=True):
        seen = here.partition_by("hour_utc", as_dict=True)
        cells += [
            _cell(seen[(hour,)], column, together, gains[band], quieter[band], step_db)
            for column, hour in enumerate(together.hours)
        ]
    return cells


def _cell(
    seen: pl.DataFrame, column: int, together: HoursTogether, gain: Gain | None, quieter: bool, step_db: float
) -> Cell:
    """The cell of one hour from its nightly rows `seen`; its values stand in that `column` of the grids."""
    here, scatter = seen.filter(pl.col("passes") > 0), together.scatter[column]
    passes = int(here["passes"].sum())

    at, measured = ({name: grid[:, column] for name, grid in grids.items()} for grids in together.both)
    left, left_measured = (left_by_step_db(nights, step_db) for nights in (at, measured))

    def mean(name: str, of_one: Scatter, nights: Mapping[str, Floats], left_db: float) -> Estimate | None:
        values, errors = nights[f"{name}_db"], nights[f"{name}_se_db"]
        return _mean(values, errors, of_one, passes, left_db, together.worth(np.isfinite(values)))

    change = mean("difference", scatter, at, left)
    rise = mean("noise_rise", together.rise_scatter[column], at, left)
    each, error, counts = (measured[name] for name in ("difference_db", "difference_se_db", "passes"))
    on_these = mean_on_these(each, error, counts, left_measured)
    rise_bounds = " ".join(here["rise_bound"].to_list())
    over_all = _over_all_nights(
        gain,
        change,
        at["difference_db"],
        together.bend,
        together.outside_db[:, column],
        together.outside_scatter[column],
        left,
        together.worth(np.isfinite(at["difference_db"])),
    )
    capped, propped = not ("at most" in rise_bounds or quieter), not (rise_bounds.strip() or quieter)
    return Cell(
        band=str(seen["band"][0]),
        hour_utc=int(seen["hour_utc"][0]),
        nights=int(np.isfinite(measured["difference_db"]).sum()),
        looked=int(np.isfinite(at["difference_db"]).sum()),
        passes=passes,
        difference=change,
        snr_change=over_all or _snr_change(gain, change),
        noise_rise=rise if rise_bounds.strip() == "" else None,
        ceiling=_limit(together, column, "noise_rise_db", passes) if capped else None,
        lower_bound=_negated(_limit(together, column, "stage_noise_rise_db", passes)) if propped else None,
        bound=_bound(here["bound"].to_list()),
        flags=_flags(seen, gain, change),
        night_sd_db=_night_sd(scatter, float(together.shape[column])),
        on_these_nights=_snr_change(gain, on_these or mean("difference", scatter, measured, left_measured)),
    )


def nightly_snr_change(rows: pl.DataFrame, gains: Mapping[str, Gain | None]) -> pl.DataFrame:
    """Nightly rows with `snr_change_db`: the gain of the band minus the night's difference; null without a gain."""
    known = {band: gain.gain_db for band, gain in gains.items() if gain is not None}
    value = pl.col("band").replace_strict(known, default=None, return_dtype=pl.Float64)
    return rows.with_columns((value - pl.col("difference_db")).alias("snr_change_db"))


def _mean(
    values: Floats, errors: Floats, scatter: Scatter, passes: int, resolution_db: float, worth: Worth
) -> Estimate | None:
    """Mean over nights; from three nights on its error is the nights' scatter, before that the passes' own."""
    there = np.isfinite(values)
    nights = int(there.sum())
    if nights == 0:
        return None
    value = float(values[there].mean())
    fixed = (resolution_db**2 + 1e-4, 1e6)
    if nights >= FIRST_LOOK:
        of_all = worth.all_nights(scatter)
        return summed(value, [(of_all.variance / worth.nights, of_all.dof), fixed])
    within = errors[there]
    if not np.isfinite(within).all():
        return None
    return summed(value, [(float((within**2).sum()) / nights**2, float(max(passes - nights, 1))), fixed])


def _bound(of_nights: Sequence[str]) -> str:
    """What bounds of the differences come to for the S/N change; a few nights on the floor do not make a bound."""
    bounds = [each for each in of_nights if each]
    if len(bounds) <= FEW_ON_THE_FLOOR * len(of_nights):
        return ""
    return (
        {"at least": "at most", "at most": "at least"}.get(bounds[0], "unknown")
        if len(set(bounds)) == 1
        else "unknown"
    )


def _night_sd(scatter: Scatter, shape: float) -> float:
    if scatter.dof >= FIRST_LOOK - 1:
        return float(np.sqrt(scatter.variance))
    return USUAL_SPREAD_DB * (shape if np.isfinite(shape) else 0.5)


def _snr_change(gain: Gain | None, difference: Estimate | None) -> Estimate | None:
    if gain is None or difference is None:
        return None
    return summed(
        gain.gain_db - difference.value,
        [(gain.se_db**2, gain.dof), (difference.se**2, difference.dof)],
    )


def _over_all_nights(
    gain: Gain | None,
    difference: Estimate | None,
    differences: Floats,
    bend: Curve | None,
    excess: Floats,
    scatter: Scatter,
    resolution_db: float,
    worth: Worth,
) -> AsymmetricEstimate | None:
    """The mean over all nights that could be, where noise was clear on every night and follows the curve."""
    there = np.isfinite(differences)
    if (
        gain is None
        or difference is None
        or bend is None
        or there.sum() < FIRST_LOOK
        or not np.isfinite(excess[there]).all()
    ):
        return None
    direct = gain.gain_db - differences[there]
    beside = direct - bend.at(excess[there])
    if abs(float(beside.mean())) > OFF_THE_CURVE_DB:
        return None
    rest = summed(0.0, [(gain.se_db**2, gain.dof), (resolution_db**2, 1e6)])
    return over_all_nights(bend, excess[there], direct, scatter, rest, worth.nights)


def _limit(
    together: HoursTogether, column: int, rise: str, passes: int
) -> Estimate | AsymmetricEstimate | None:
    """Mean over nights of the S/N that the chain's own noise costs at these noise rises, dB.

    Over one or two nights it speaks of these alone; from `FIVE_NIGHTS` on of all, by the curve of an ideal stage.
    """
    rise_db, error_db = (together.grids[name][:, column] for name in (rise, rise.replace("_db", "_se_db")))
    there = np.isfinite(rise_db)
    nights = int(there.sum())
    if nights == 0 or float(rise_db[there].min()) < RISE_OF_ANY_USE_DB:
        return None
    lost = snr_lost_db(rise_db[there])
    worth = together.worth(there)
    if nights < FIRST_LOOK:
        errors = error_db[there] * kept_share_slope(rise_db[there])
        return _mean(lost, errors, Scatter(float("nan"), 0.0), passes, 0.0, worth)
    if nights < FIVE_NIGHTS:
        return None
    excess_db, scatters_db = together.over_chain[rise]
    scatter = worth.all_nights(scatters_db[column])
    return over_all_nights(
        ideal_curve(),
        excess_db[there, column],
        lost,
        replace(scatter, variance=max(scatter.variance, NO_SCATTER_DB**2)),
        Estimate(0.0, 0.01, 1e6),
        worth.nights,
    )


def _negated(limit: Estimate | AsymmetricEstimate | None) -> Estimate | AsymmetricEstimate | None:
    return replace(limit, value=-limit.value) if isinstance(limit, Estimate) else limit and limit.negated()


def _flags(seen: pl.DataFrame, gain: Gain | None, change: Estimate | None) -> tuple[str, ...]:
    words = set(" ".join(seen["flags"].to_list()).split())
    for column, word in (("floor_passes", "floor"), ("clipped_passes", "clipped"), ("stale_passes", "stale")):
        if int(seen[column].sum()) > 0:
            words.add(word)
    if int(seen["occupied_passes"].sum()) > 0:
        words.add("occupied")
    if gain is None:
        words.add("no-gain-known")
    if change is None:
        words.add("few-passes")
    if seen["noise_rise_db"].null_count() == len(seen):
        words.add("no-load")
    return tuple(sorted(words))
