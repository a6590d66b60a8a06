"""What a meter's scale allows to be said: verdicts that hold on every scale which its readings leave open."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.facts import MeterFacts, StationFacts
from sweeper.analysis.meter.changed import MeterChange
from sweeper.analysis.meter.scales import PLAIN, Scale, scales_open, with_beyond
from sweeper.analysis.meter.slope import PATHS, SlopeAt, common_slope, measured_noise, slopes_of
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.thresholds import (
    CARRIER_LEVELS,
    DEAD_SHARE,
    NEAR_TESTED_DB,
    WORST_SLOPE_SE,
)
from sweeper.analysis.verdict.judge import Judged

UNTESTED = "scale-untested"
DEAD = "meter-dead-zone"


@dataclass(frozen=True, slots=True)
class Meter:
    """What the readings of all bands tell of the meter: slopes by level, the scales left open, the likeliest first.

    `dead_bands`: on them the meter hardly moves where noise must make it move; `unsure_bands`: nothing tells whether
    it does. `tested_db`: lowest and highest level at which the readings tested the scale; None where nothing did.
    """

    slopes: tuple[SlopeAt, ...] = ()
    scales: tuple[Scale, ...] = (PLAIN,)
    dead_bands: frozenset[str] = frozenset()
    unsure_bands: frozenset[str] = frozenset()
    tested_db: tuple[float, float] | None = (-np.inf, np.inf)
    change: MeterChange | None = None

    def troubles(self, band: str) -> frozenset[str]:
        """Flags that the meter gives to the band."""
        dead = {DEAD} if band in self.dead_bands else set()
        return frozenset(dead | ({UNTESTED} if band in self.unsure_bands else set()))


CALIBRATED = Meter()


def meter_of(summaries: pl.DataFrame, facts: StationFacts) -> Meter:
    """The meter of a station, from the `summaries` of all its bands. A calibrated one is taken at its curve's word.

    So is one that computes its levels from samples: its decibels are decibels. One that says dBm and was never
    calibrated is taken at its word where its readings tell no other slope, and where they do like any scale.
    """
    if (facts.meter.in_dbm and facts.meter.curve) or facts.meter.linear:
        return CALIBRATED
    told = ("passes", "step_db", "bandwidth_hz", "^level_(antenna|load)_(bypass|stage)$", "^scatter_.*$")
    noise = measured_noise(summaries, "band", *told)
    if noise.is_empty():
        return CALIBRATED
    slopes = slopes_of(noise, facts.meter)
    dead, unsure = (
        _bands_on(noise, levels)
        for levels in ([each for each in slopes if each.dead], [each for each in slopes if each.unsure])
    )
    alive = tuple(each for each in slopes if not each.dead and each.se <= WORST_SLOPE_SE)
    if facts.meter.in_dbm and _as_it_says(alive, facts.meter):
        return replace(CALIBRATED, dead_bands=dead)
    levels = np.concatenate([noise[f"level_{path}"].drop_nulls().to_numpy() for path in PATHS])
    scales = scales_open(alive, facts.meter, (float(levels.min()), float(levels.max())))
    methods = [GainMethods(rows) for rows in summaries.partition_by("band")]
    carriers = _carriers_tested(methods, alive)
    if _rest_on_carriers(methods, carriers):
        scales = with_beyond(scales, max((each.high_db for each in alive), default=float(levels.max())))
    return Meter(slopes, scales, dead, unsure, carriers)


def _as_it_says(slopes: Sequence[SlopeAt], meter: MeterFacts) -> bool:
    """Whether no slope contradicts decibels; where the averaging time is not told, whether all slopes are one."""
    if meter.averaging_s is None:
        return not slopes or common_slope(slopes) is not None
    return all(each.honest for each in slopes)


def without_dbm(facts: StationFacts, meter: Meter) -> StationFacts:
    """The facts, with no dBm where readings contradict the scale: differences may be put right, levels not."""
    if not facts.meter.in_dbm or facts.meter.curve or (meter.scales == (PLAIN,) and not meter.dead_bands):
        return facts
    return replace(facts, meter=replace(facts.meter, by_table=True))


def _bands_on(noise: pl.DataFrame, slopes: Sequence[SlopeAt]) -> frozenset[str]:
    """The bands of which some path stands on those levels more often than now and then."""
    if not slopes:
        return frozenset()
    levels = [pl.col(f"level_{path}") for path in PATHS]
    still = [
        pl.any_horizontal(level.is_between(each.low_db, each.high_db) for each in slopes) for level in levels
    ]
    often = pl.any_horizontal([each.mean() > DEAD_SHARE for each in still])
    return frozenset(noise.group_by("band").agg(often=often).filter("often")["band"].to_list())


def _carriers_tested(
    of_bands: Sequence[GainMethods], slopes: Sequence[SlopeAt]
) -> tuple[float, float] | None:
    """Lowest and highest level at which the scale was tested: by scatter, and by carriers that agree with noise.

    The gain by carriers over that by noise is the slope at their levels over that at the noise's: all bands together.
    """
    if not slopes:
        return None
    low, high = slopes[0].low_db, slopes[-1].high_db
    compared, levels = [], []
    for methods in of_bands:
        by_noise = methods.load or methods.bend
        if by_noise is not None and methods.carriers is not None:
            error = float(np.hypot(methods.carriers.se_db, by_noise.se_db))
            compared.append((by_noise.gain_db, methods.carriers.gain_db, error))
            levels.append(_levels_of_carriers(methods.summaries))
    if compared:
        by_noises, by_carriers, errors = np.array(compared).T
        weight = float((by_noises**2 / errors**2).sum())
        slope = float((by_noises * by_carriers / errors**2).sum()) / weight
        seen = SlopeAt(low, high, slope, weight**-0.5, len(compared))
        if seen.se <= WORST_SLOPE_SE and seen.honest:
            high = max(high, float(np.quantile(np.concatenate(levels), CARRIER_LEVELS)))
    return low, high


def _levels_of_carriers(rows: pl.DataFrame) -> Floats:
    heard = rows.filter((pl.col("for") == "carrier") & pl.col("carrier_gain_db").is_not_null())
    both = heard.drop_nulls(["level_antenna_bypass", "level_antenna_stage"])
    return both.select("level_antenna_bypass", "level_antenna_stage").to_numpy().ravel()


def _rest_on_carriers(of_bands: Sequence[GainMethods], tested_db: tuple[float, float] | None) -> bool:
    """Whether on some band only carriers tell the gain, at levels where nothing tested the scale."""
    for methods in of_bands:
        rows = methods.summaries
        by_noise = methods.load or methods.bend or methods.source
        alone = by_noise is None and methods.carriers is not None
        if alone and GainMethods(rows.filter(_inside(rows, tested_db))).carriers is None:
            return True
    return False


def _inside(rows: pl.DataFrame, tested_db: tuple[float, float] | None) -> pl.Series:
    """Rows of noise, and those of carriers at tested levels."""
    if tested_db is None:
        return rows["for"] == "noise"
    low, high = tested_db[0] - NEAR_TESTED_DB, tested_db[1] + NEAR_TESTED_DB
    levels = [pl.col(f"level_antenna_{route}").is_between(low, high) for route in ("bypass", "stage")]
    return rows.select((pl.col("for") == "noise") | pl.all_horizontal(levels).fill_null(False)).to_series()


def without_untested(methods: GainMethods, meter: Meter) -> GainMethods:
    """Without the carriers at untested levels, where anything else tells the gain."""
    inside = _inside(methods.summaries, meter.tested_db)
    if methods.carriers is None or inside.all():
        return methods
    kept = GainMethods(methods.summaries.filter(inside), methods.alike)
    return kept if (kept.carriers or methods.load or methods.bend or methods.source) is not None else methods


def held_on_all(
    first: Mapping[tuple[str, int], Judged], others: Sequence[Mapping[tuple[str, int], Judged]]
) -> tuple[Judged, ...]:
    """Verdicts and intervals that hold whichever of the scales is the meter's, by band and hour."""
    nothing = Judged("undecided", None, 1.0)
    held = []
    for place, judged in first.items():
        beside = [other.get(place, nothing) for other in others]
        if judged.withheld or not beside:
            held.append(judged)
            continue
        interval = covering(judged.snr_change_db, [each.snr_change_db for each in beside])
        if {each.verdict for each in beside} == {judged.verdict}:
            level = max(judged.level, *(each.level for each in beside))
            held.append(replace(judged, snr_change_db=interval, level=level))
        elif judged.verdict != "undecided":
            held.append(Judged("undecided", None, judged.level, withheld=UNTESTED))
        else:
            held.append(replace(judged, snr_change_db=interval))
    return tuple(held)


def covering(interval: Interval | None, others: Sequence[Interval | None]) -> Interval | None:
    """The interval that holds all of them; None where one is not known."""
    known = [each for each in others if each is not None]
    if interval is None or len(known) < len(others):
        return None
    every = [interval, *known]
    return Interval(interval.value, min(each.low for each in every), max(each.high for each in every))
