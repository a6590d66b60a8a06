"""One cell of the table, a band at an hour of the day: its S/N change and noise rise with their uncertainty.

From nightly rows and the gain of each band to estimates. A cell holds what is known; what follows from it is for
`verdict`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sweeper.analysis.gain import Gain
from sweeper.analysis.intervals import Estimate, Floats, Scatter, scatters, summed
from sweeper.analysis.noise_rise import kept_share_slope, snr_lost_db
from sweeper.analysis.sequence import FIRST_LOOK

if TYPE_CHECKING:
    import polars as pl

TYPICAL_SCATTER_DB = 4.0
"""Night-to-night standard deviation of external noise: about the deciles of ITU-R P.372, Table 2."""
LEAST_RISE_DB = 0.05


@dataclass(frozen=True, slots=True)
class Cell:
    """A band at an hour. Estimates in dB, None where nothing can be said.

    `ceiling` and `ground` are the most and the least that the noise rise leaves to the S/N change. `bound` says that
    the S/N change is only known to be ``at most`` or ``at least`` its value (meter on its floor or top). `night_sd_db`
    is how far single nights stray, before three nights as ITU-R P.372 lets expect.
    """

    band: str
    hour_utc: int
    nights: int
    passes: int
    snr_change: Estimate | None
    noise_rise: Estimate | None
    ceiling: Estimate | None
    ground: Estimate | None
    bound: str
    flags: tuple[str, ...]
    night_sd_db: float

    @property
    def about_these_nights_only(self) -> bool:
        """Too few nights to say anything of others."""
        return self.nights < FIRST_LOOK


def cells_of_band(rows: "pl.DataFrame", gain: Gain | None) -> list[Cell]:
    """Cells of one band from its nightly rows, hours in order."""
    import polars as pl

    used = rows.filter(pl.col("passes") > 0)
    grids = _grids(used)
    slope = np.abs(_own_share(grids["noise_rise_db"]) - _own_share(grids["stage_noise_rise_db"]))
    shape = _shape(slope, grids["difference_se_db"])
    rise_shape = _shape(1.0 - _own_share(grids["noise_rise_db"]), grids["noise_rise_se_db"])
    difference_scatter = scatters(grids["difference_db"], shape)
    rise_scatter = scatters(grids["noise_rise_db"], rise_shape)
    hours = sorted(used["hour_utc"].unique().to_list())
    cells: list[Cell] = []
    for column, hour in enumerate(hours):
        here = used.filter(pl.col("hour_utc") == hour)
        seen = rows.filter(pl.col("hour_utc") == hour)
        resolution = float(np.sqrt(np.mean(here["resolution_db"].fill_null(0.0).to_numpy() ** 2)))
        passes = int(here["passes"].sum())
        change = _mean(
            grids["difference_db"][:, column],
            grids["difference_se_db"][:, column],
            difference_scatter[column],
            passes,
            resolution,
        )
        rise = _mean(
            grids["noise_rise_db"][:, column],
            grids["noise_rise_se_db"][:, column],
            rise_scatter[column],
            passes,
            resolution,
        )
        bypass, stage = grids["noise_rise_db"][:, column], grids["stage_noise_rise_db"][:, column]
        bounds = " ".join(sorted(set(" ".join(here["bound"].to_list()).replace("at ", "at-").split())))
        rise_bounds = " ".join(here["rise_bound"].to_list())
        cells.append(
            Cell(
                band=str(rows["band"][0]),
                hour_utc=int(hour),
                nights=int(np.isfinite(grids["difference_db"][:, column]).sum()),
                passes=passes,
                snr_change=_snr_change(gain, change),
                noise_rise=rise if rise_bounds.strip() == "" else None,
                ceiling=None
                if "at most" in rise_bounds
                else _limit(bypass, grids["noise_rise_se_db"][:, column], passes, 1.0),
                ground=None
                if rise_bounds.strip()
                else _limit(stage, grids["stage_noise_rise_se_db"][:, column], passes, -1.0),
                bound={"": "", "at-least": "at most", "at-most": "at least"}.get(bounds, "unknown"),
                flags=_flags(seen, gain, change),
                night_sd_db=_night_sd(difference_scatter[column], float(shape[column])),
            )
        )
    return cells


def nightly_snr_change(rows: "pl.DataFrame", gains: Mapping[str, Gain | None]) -> "pl.DataFrame":
    """Nightly rows with `snr_change_db`: the gain of the band minus the night's difference; null without a gain."""
    import polars as pl

    known = {band: gain.gain_db for band, gain in gains.items() if gain is not None}
    value = pl.col("band").replace_strict(known, default=None, return_dtype=pl.Float64)
    return rows.with_columns((value - pl.col("difference_db")).alias("snr_change_db"))


def _grids(used: "pl.DataFrame") -> dict[str, Floats]:
    """Each nightly column as an array (nights, hours), NaN where there is none."""
    nights = {night: place for place, night in enumerate(sorted(used["night"].unique().to_list()))}
    hours = {hour: place for place, hour in enumerate(sorted(used["hour_utc"].unique().to_list()))}
    row = np.array([nights[night] for night in used["night"].to_list()], dtype=int)
    column = np.array([hours[hour] for hour in used["hour_utc"].to_list()], dtype=int)
    grids: dict[str, Floats] = {}
    for name in (
        "difference_db",
        "difference_se_db",
        "noise_rise_db",
        "noise_rise_se_db",
        "stage_noise_rise_db",
        "stage_noise_rise_se_db",
    ):
        grid = np.full((len(nights), len(hours)), np.nan)
        grid[row, column] = used[name].cast(float).fill_null(float("nan")).to_numpy()
        grids[name] = grid
    return grids


def _own_share(rise_db: Floats) -> Floats:
    """The chain's own share of the noise, linear: 10^(−Y/10)."""
    share: Floats = 10 ** (-np.maximum(rise_db, 0.0) / 10)
    return share


def _shape(slope: Floats, error: Floats) -> Floats:
    """Expected standard deviation of each hour per dB of external noise: root mean square over nights."""
    measured = np.where(np.isfinite(error), error, 0.0) / TYPICAL_SCATTER_DB
    square = np.where(np.isfinite(slope), slope**2 + measured**2, np.nan)
    count = np.isfinite(square).sum(axis=0)
    total = np.where(np.isfinite(square), square, 0.0).sum(axis=0)
    shape: Floats = np.sqrt(np.where(count > 0, total / np.maximum(count, 1), np.nan))
    return shape


def _mean(
    values: Floats, errors: Floats, scatter: Scatter, passes: int, resolution_db: float
) -> Estimate | None:
    """Mean over nights; from three nights on its error is the nights' scatter, before that the passes' own."""
    there = np.isfinite(values)
    nights = int(there.sum())
    if nights == 0:
        return None
    value = float(values[there].mean())
    fixed = (resolution_db**2 + 1e-4, 1e6)
    if nights >= FIRST_LOOK:
        return summed(value, [(scatter.variance / nights, scatter.freedom), fixed])
    within = errors[there]
    if not np.isfinite(within).all():
        return None
    return summed(value, [(float((within**2).sum()) / nights**2, float(max(passes - nights, 1))), fixed])


def _night_sd(scatter: Scatter, shape: float) -> float:
    if scatter.freedom >= FIRST_LOOK - 1:
        return float(np.sqrt(scatter.variance))
    return TYPICAL_SCATTER_DB * (shape if np.isfinite(shape) else 0.5)


def _snr_change(gain: Gain | None, difference: Estimate | None) -> Estimate | None:
    if gain is None or difference is None:
        return None
    return summed(
        gain.gain_db - difference.value,
        [(gain.se_db**2, gain.freedom), (difference.se**2, difference.freedom)],
    )


def _limit(rise_db: Floats, error_db: Floats, passes: int, sign: float) -> Estimate | None:
    """Mean over nights of the S/N that the chain's own noise costs at these noise rises, times `sign`."""
    there = np.isfinite(rise_db)
    nights = int(there.sum())
    if nights == 0 or float(rise_db[there].min()) < LEAST_RISE_DB:
        return None
    lost = sign * snr_lost_db(rise_db[there])
    errors = error_db[there] * kept_share_slope(rise_db[there])
    variance = float(np.var(lost, ddof=1)) if nights >= 2 else float("nan")
    return _mean(lost, errors, Scatter(variance, nights - 1.0), passes, 0.0)


def _flags(seen: "pl.DataFrame", gain: Gain | None, change: Estimate | None) -> tuple[str, ...]:
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
