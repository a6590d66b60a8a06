"""The scales that the readings leave open, and summaries put right by one of them.

A verdict must hold on every scale that may be the meter's. On an honest one that was tested there is but one.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.meter.slope import SlopeAt, common_slope, honest_together, maybe_stretched
from sweeper.analysis.thresholds import REAL_SLOPES, SLOPE_AS_GOOD_AS_ONE, SLOPE_SE

LEAST_SLOPE = 0.2
"""Below, a level can hardly be read back from what is shown."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Slopes between `levels_db` as shown, straight lines between them, level beyond; `beyond` above the highest.

    Empty: decibels are decibels.
    """

    levels_db: tuple[float, ...] = ()
    slopes: tuple[float, ...] = ()
    beyond: float | None = None

    @property
    def plain(self) -> bool:
        return not self.levels_db

    def level_db(self, shown: Floats) -> Floats:
        """True levels but for a constant, from those shown; NaN stays."""
        at, slope = self._fine()
        true = np.concatenate([[0.0], np.cumsum(np.diff(at) * (1 / slope[1:] + 1 / slope[:-1]) / 2)])
        true += at[len(at) // 2] - true[len(at) // 2]
        level: Floats = np.interp(shown, at, true)
        return level

    def slope_at(self, shown: Floats) -> Floats:
        """Decibels shown for each decibel at these levels."""
        at, slope = self._fine()
        found: Floats = np.interp(shown, at, slope)
        return found

    def _fine(self) -> tuple[Floats, Floats]:
        at = np.linspace(-250.0, 150.0, 4001)
        slope = np.interp(at, self.levels_db, self.slopes)
        if self.beyond is not None:
            slope = np.where(at > self.levels_db[-1], self.beyond, slope)
        return at, np.maximum(slope, LEAST_SLOPE)


PLAIN = Scale()


def scales_open(
    slopes: Sequence[SlopeAt], meter: MeterFacts, span_db: tuple[float, float]
) -> tuple[Scale, ...]:
    """The scales between which the truth lies, the likeliest first. `span_db`: lowest and highest level of noise."""
    least, most = REAL_SLOPES
    if not slopes:
        return (PLAIN, *(Scale(span_db, ends) for ends in
                         ((least, least), (most, most), (least, most), (most, least))))  # fmt: skip
    stretched = maybe_stretched(slopes)
    common = common_slope([each.without_crackle for each in slopes] if stretched else slopes)
    if common is not None:
        if meter.averaging_s is None:  # scatter was measured in its own terms: alike everywhere, and no more
            return (PLAIN, Scale(span_db, (least, least)), Scale(span_db, (most, most)))
        if honest_together(slopes):
            return (PLAIN,)
        # the detector, or another averaging time, may make the whole of it
        off = SLOPE_SE * float(np.sqrt(1 / sum(1 / max(each.se, 0.01) ** 2 for each in slopes)))
        away = common - off if common < 1 else common + off
        return (PLAIN, *(Scale(span_db, (slope, slope)) for slope in (common, away)))
    at = tuple(each.middle_db for each in slopes)
    seen = np.array([1.0 if each.honest else each.slope for each in slopes])
    error = np.maximum([2 * each.se for each in slopes], SLOPE_AS_GOOD_AS_ONE * seen)
    tilt = np.linspace(-1.0, 1.0, len(at))
    ways = [seen, seen - error, seen + error, seen + tilt * error, seen - tilt * error]
    if stretched:
        ways.append(np.array([1.0 if each.without_crackle.honest else each.slope for each in slopes]))
    found = [Scale(at, tuple(np.clip(way, LEAST_SLOPE, 2.5).tolist())) for way in ways]
    if meter.averaging_s is None:
        found += [Scale(at, tuple(np.clip(seen * side, LEAST_SLOPE, 2.5).tolist())) for side in REAL_SLOPES]
    return tuple(found)


def with_beyond(scales: Sequence[Scale], top_db: float) -> tuple[Scale, ...]:
    """The same and those that have another slope above `top_db`, up to which the scale was tested."""
    more = []
    for scale in scales:
        for slope in REAL_SLOPES:
            ended = scale if not scale.plain else Scale((top_db - 100.0, top_db), (1.0, 1.0))
            more.append(replace(ended, beyond=slope))
    return (*scales, *more)


def on_scale(summaries: pl.DataFrame, scale: Scale) -> pl.DataFrame:
    """The summaries with their levels put right by the scale: differences, rises, gains and errors follow."""
    if scale.plain or summaries.is_empty():
        return summaries
    shown = {
        path: summaries[f"level_{path}"].to_numpy().astype(np.float64)
        for path in (*_OF_PATHS, "noise_bypass", "noise_stage")
    }
    level = {path: scale.level_db(values) for path, values in shown.items()}
    slope = {path: scale.slope_at(values) for path, values in shown.items()}

    def per_db(upper: str, lower: str) -> Floats:
        """True decibels for each one shown between two paths."""
        apart = shown[upper] - shown[lower]
        with np.errstate(invalid="ignore", divide="ignore"):
            secant = (level[upper] - level[lower]) / apart
        return np.where(np.abs(apart) > 0.2, secant, 2 / (slope[upper] + slope[lower]))

    routes = per_db("antenna_stage", "antenna_bypass")
    rises = {route: per_db(f"antenna_{route}", f"load_{route}") for route in ("bypass", "stage")}
    loads, sources = per_db("load_stage", "load_bypass"), per_db("noise_stage", "load_stage")
    factors = {
        **dict.fromkeys(("difference_db", "difference_se_db", "resolution_db"), routes),
        **dict.fromkeys(("carrier_gain_db", "carrier_gain_se_db"), routes),
        **dict.fromkeys(("edge_gain_db", "edge_gain_se_db", "edge_lag_db", "edge_lag_se_db"), routes),
        **dict.fromkeys(("load_difference_db", "load_difference_se_db", "load_resolution_db"), loads),
        **dict.fromkeys(("noise_rise_db", "noise_rise_se_db", "power_rise_db"), rises["bypass"]),
        **dict.fromkeys(
            ("stage_noise_rise_db", "stage_noise_rise_se_db", "stage_power_rise_db"), rises["stage"]
        ),
        **dict.fromkeys(
            ("load_gain_db", "load_gain_se_db", "gain_resolution_db"), (rises["bypass"] + rises["stage"]) / 2
        ),
        **dict.fromkeys(("source_gain_db", "source_gain_se_db"), sources),
        "level_antenna_bypass_se_db": 1 / slope["antenna_bypass"],
    }
    return summaries.with_columns(
        *[pl.Series(f"level_{path}", values).fill_nan(None) for path, values in level.items()],
        *[
            pl.Series(name, summaries[name].to_numpy().astype(np.float64) * factor).fill_nan(None)
            for name, factor in factors.items()
        ],
        pl.Series(
            "strongest_carrier_db",
            scale.level_db(summaries["strongest_carrier_db"].to_numpy().astype(np.float64)),
        ).fill_nan(None),
    )


_OF_PATHS = ("antenna_bypass", "antenna_stage", "load_bypass", "load_stage")
