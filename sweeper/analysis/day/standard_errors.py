"""How well an hour of a night is known from its passes, which follow one another and are not independent."""

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats

UNTOLD_SCATTER_DB = {
    "usable_difference": 0.5,
    "usable_carrier_gain": 5.6,
    "usable_edge_gain": 1.0,
    "usable_edge_lag": 2.0,
    "usable_rise_bypass": 1.0,
    "usable_rise_stage": 1.0,
    "usable_antenna_bypass": 3.0,
}
"""Scatter from pass to pass where a night has too few passes to tell: of differences, of carriers that fade as
Rayleigh says (5.6 dB), of edges over a second of such fades and of what parts edges there and back, of noise rise in
either route, of the level itself."""


def standard_errors(table: pl.DataFrame) -> pl.DataFrame:
    """Standard error of the mean of each column over the passes of a cell, correlation allowed for.

    Variance within the hour is drawn toward that of the whole night (as if four more passes told of it), and
    widened by (1 + ρ)/(1 − ρ), ρ the lag-one correlation of the night's residuals, freed of the bias −1/n
    that taking out the hour's mean gives it.
    """
    cells, cell = np.unique(table["cell"].to_numpy(), return_inverse=True)
    order = np.argsort(cell, kind="stable")
    cell = cell[order]
    follows = cell[1:] == cell[:-1]
    _, evening = np.unique(cells // 24, return_inverse=True)

    def of_cells(values: Floats) -> Floats:
        return np.bincount(cell, values, len(cells)).astype(np.float64)

    def of_evening(values: Floats) -> Floats:
        return np.bincount(evening, values)[evening].astype(np.float64)

    errors = {}
    for name, untold_db in UNTOLD_SCATTER_DB.items():
        value = table[name].fill_null(float("nan")).to_numpy()[order]
        known = np.isfinite(value)
        n = of_cells(known.astype(np.float64))
        mean = of_cells(np.where(known, value, 0.0)) / np.maximum(n, 1)
        residual = np.where(known, value - mean[cell], 0.0)
        ss = of_cells(residual**2)
        lagged = of_cells(np.r_[0.0, np.where(follows, residual[1:] * residual[:-1], 0.0)])
        dof = np.maximum(n - 1, 0)
        told = of_evening(dof)
        guessed = np.maximum(1 - told / 10, 0)
        pooled = (of_evening(ss) + guessed * untold_db**2) / (told + guessed)
        variance = (ss + 4 * pooled) / (dof + 4)
        several = (n > 1).astype(np.float64)
        with np.errstate(
            invalid="ignore", divide="ignore"
        ):  # an evening that tells of no correlation has none
            rho = of_evening(lagged) / of_evening(ss) + of_evening(several) / of_evening(several * n)
            rho = np.where(np.isfinite(rho), np.clip(rho, 0, 0.9), 0.0)
            errors[f"{name}_se"] = np.sqrt(variance * np.minimum((1 + rho) / (1 - rho), n) / n)
    return pl.DataFrame({"cell": cells, **errors}).with_columns(pl.col(pl.Float64).fill_nan(None))
