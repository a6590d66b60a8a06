"""Fills the tables of `evidence` from nightly rows, gains and cells. No verdicts, no words."""

from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl

from sweeper.analysis import evidence
from sweeper.analysis.band.by_ratio import BY_RATIO
from sweeper.analysis.band.gain import Gain
from sweeper.analysis.band.nightly import measured_alike
from sweeper.analysis.band.overload import Diagnosis
from sweeper.analysis.band.switching_threshold import SwitchingThreshold
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.meter.slope import measured_noise
from sweeper.analysis.physics.atmospheric import atmospheric
from sweeper.analysis.physics.external_noise import Expected, expected, standing
from sweeper.analysis.physics.friis import snr_lost_db
from sweeper.analysis.results import Findings
from sweeper.analysis.statistics.effective_nights import worth
from sweeper.analysis.statistics.estimates import Estimate, summed
from sweeper.analysis.statistics.group_sequential import look_level

PATHS = ("antenna_bypass", "antenna_stage", "load_bypass", "load_stage")


def levels_table(
    nights: pl.DataFrame, summaries: pl.DataFrame, confidence: float, alike: float = 0.0
) -> pl.DataFrame:
    """Levels of all paths by band and hour, mean over nights with its interval; and how impulsive noise is.

    `alike`: correlation of neighbouring nights.
    """
    crackle = _impulsiveness(summaries)
    rows: list[dict[str, object]] = []
    for (band, hour), here in measured_alike(nights).group_by("band", "hour_utc", maintain_order=True):
        for path in PATHS:
            known = here.drop_nulls(f"level_{path}").sort("night")
            values = known[f"level_{path}"].to_numpy()
            if not len(values):
                continue
            row: dict[str, object] = {"band": band, "hour_utc": hour, "path": path.replace("_", "-")}
            row |= {"level": float(values.mean()), "low": None, "high": None, "nights": len(values)}
            row["impulsiveness_db"] = crackle.get((str(band), int(str(hour)), path))
            if len(values) >= 3:
                day = known["night"].to_physical().to_numpy().astype(np.float64)
                spread = float(values.var(ddof=1)) / len(values)
                found = summed(float(values.mean()), [worth(day, alike).mean_of(spread, len(values) - 1.0)])
                interval = found.interval(look_level(len(values), 1 - confidence))
                row |= {"low": interval.low, "high": interval.high}
            elif (within := _within_se_db(here, path)) is not None:
                dof = max(float((here["passes"] - 1).sum()), 1.0)
                found = summed(float(values.mean()), [(within**2, dof)])
                interval = found.interval(1 - confidence)
                row |= {"low": interval.low, "high": interval.high}
            rows.append(row)
    return _frame(rows, evidence.LEVELS)


def _within_se_db(here: pl.DataFrame, path: str) -> float | None:
    """Standard error of an antenna level over one or two nights, from their passes; None where that is not known."""
    errors = {
        "antenna_bypass": ("level_antenna_bypass_se_db",),
        "antenna_stage": ("level_antenna_bypass_se_db", "difference_se_db"),
    }.get(path)
    if errors is None:
        return None
    known = here.select(errors).drop_nulls().to_numpy()
    return float(np.sqrt((known**2).sum())) / here.height if len(known) == here.height else None


def _impulsiveness(summaries: pl.DataFrame) -> dict[tuple[str, int, str], float]:
    """Mean power over the level on the noise channels, dB, by band, hour and antenna path: mean over nights."""
    columns = {"antenna_bypass": "impulsiveness_db", "antenna_stage": "stage_impulsiveness_db"}
    means = (
        measured_noise(summaries, "band", "hour_utc", *columns.values())
        .group_by("band", "hour_utc")
        .agg(pl.col(name).mean() for name in columns.values())
    )
    return {
        (row["band"], row["hour_utc"], path): row[name]
        for row in means.iter_rows(named=True)
        for path, name in columns.items()
        if row[name] is not None
    }


def nights_table(nights: pl.DataFrame, gains: Mapping[str, Gain | None], confidence: float) -> pl.DataFrame:
    """S/N change of each night alone."""
    rows: list[dict[str, object]] = []
    for row in nights.filter(nights["passes"] > 0).iter_rows(named=True):
        gain = gains.get(row["band"])
        out: dict[str, object] = {
            name: row[name] for name in ("band", "night", "hour_utc", "passes", "flags")
        }
        out |= {"noise_rise_db": row["noise_rise_db"], "snr_change_db": None, "low": None, "high": None}
        if gain is not None and row["difference_db"] is not None:
            value = gain.gain_db - row["difference_db"]
            out["snr_change_db"] = value
            if row["difference_se_db"] is not None:
                parts = [
                    (gain.se_db**2, gain.dof),
                    (row["difference_se_db"] ** 2, max(row["passes"] - 1.0, 1.0)),
                ]
                interval = summed(value, parts).interval(1 - confidence)
                out |= {"low": interval.low, "high": interval.high}
        rows.append(out)
    return _frame(rows, evidence.NIGHTS)


def gains_table(gains: Mapping[str, Gain | None], confidence: float) -> pl.DataFrame:
    """Gain by each way it was measured, and combined."""
    rows: list[dict[str, object]] = []
    for band, gain in gains.items():
        if gain is None or gain is BY_RATIO:
            continue
        agrees = "gain-disagrees" not in gain.flags
        for part in gain.parts:
            interval = Estimate(part.gain_db, part.se_db, part.dof).interval(1 - confidence)
            rows.append(
                {
                    "band": band,
                    "method": part.source,
                    "hz": None,
                    "gain_db": part.gain_db,
                    "low": interval.low,
                    "high": interval.high,
                    "used": True,
                    "agrees": agrees,
                }
            )
        for hz in gain.offsets_db:
            channel: dict[str, object] = {"band": band, "method": "channel", "hz": hz, "gain_db": gain.at(hz)}
            rows.append(channel | {"low": None, "high": None, "used": True, "agrees": agrees})
        whole = gain.interval(confidence)
        rows.append(
            {
                "band": band,
                "method": "combined",
                "hz": None,
                "gain_db": whole.value,
                "low": whole.low,
                "high": whole.high,
                "used": True,
                "agrees": agrees,
            }
        )
    return _frame(rows, evidence.GAINS)


def health_table(summaries: pl.DataFrame, diagnoses: Mapping[str, Diagnosis]) -> pl.DataFrame:
    """What went wrong in each night, counted in passes of a channel and hour; overload in hours of a band."""
    hit = [(band, hour) for band, found in diagnoses.items() for hour in found.overloaded_hours]
    where = pl.DataFrame(hit, schema={"band": pl.String, "hour_utc": pl.Int64}, orient="row")
    overloaded = (
        measured_noise(summaries, "night", "band", "hour_utc")
        .join(where, on=["band", "hour_utc"], how="semi")
        .group_by("night")
        .agg(pl.struct("band", "hour_utc").n_unique().cast(pl.Int64).alias("overload"))
    )
    return (
        summaries.group_by("night")
        .agg(
            pl.col("passes_seen").sum().alias("passes"),
            pl.col("floor_passes").sum().alias("floor"),
            pl.col("clipped_passes").sum().alias("clipped"),
            pl.col("occupied_passes").sum().alias("occupied"),
            pl.col("stale_passes").sum().alias("stale"),
        )
        .join(overloaded, on="night", how="left")
        .with_columns(pl.col("overload").fill_null(0))
        .sort("night")
        .select(list(evidence.HEALTH))
        .cast(pl.Schema(evidence.HEALTH))
    )


def _frame(rows: Sequence[Mapping[str, object]], columns: Mapping[str, pl.DataType]) -> pl.DataFrame:
    return pl.DataFrame(list(rows), schema=dict(columns), orient="row")


def points_table(nights: pl.DataFrame, gains: Mapping[str, Gain | None], confidence: float) -> pl.DataFrame:
    """Noise rise and S/N change of each night and hour: the station's points on the curve."""
    table = nights_table(nights, gains, confidence).drop_nulls(["noise_rise_db", "snr_change_db"])
    return table.select(list(evidence.POINTS)).cast(pl.Schema(evidence.POINTS))


def curve_table(
    thresholds: Mapping[str, SwitchingThreshold | None], gains: Mapping[str, Gain | None], facts: StationFacts
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The S/N change as a curve over the noise rise, and where it crosses the worthwhile change, by band."""
    curves: list[dict[str, object]] = []
    crossings: list[dict[str, object]] = []
    for band, threshold in thresholds.items():
        gain = gains.get(band)
        if threshold is None or gain is None:
            continue
        reach = gain.interval(facts.confidence).high - gain.gain_db
        # d(change)/d(gain) is the share of the noise behind the stage that the antenna does not bring
        share = 1.0 - 10 ** ((threshold.snr_change_db - snr_lost_db(threshold.noise_rise_db)) / 10)
        wide = np.clip(share, 0.0, 1.0) * reach
        for y, middle, half, most in zip(
            threshold.noise_rise_db,
            threshold.snr_change_db,
            wide,
            snr_lost_db(threshold.noise_rise_db),
            strict=True,
        ):
            row = {"band": band, "noise_rise_db": float(y), "snr_change_db": float(middle)}
            curves.append(
                row | {"low": float(middle - half), "high": float(middle + half), "ceiling_db": float(most)}
            )
        at: dict[str, object] = {"band": band, "worthwhile_db": facts.worthwhile_db}
        crossing, reading = threshold.crossing_db, threshold.reading
        if crossing is None or reading is None:
            continue
        at |= {
            "noise_rise_db": crossing.value,
            "noise_rise_low": crossing.low,
            "noise_rise_high": crossing.high,
        }
        at |= {"reading": reading.value, "reading_low": reading.low, "reading_high": reading.high}
        crossings.append(at)
    return _frame(curves, evidence.CURVE), _frame(crossings, evidence.CROSSINGS)


def expected_table(findings: Findings, nights: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    """External noise of each hour beside what ITU-R P.372 expects at the band's first noise channel.

    Its median and deciles are those of the months in which the hour was measured, by their nights.
    """
    months: dict[tuple[str, int], list[tuple[int, int]]] = {}
    seen = nights.filter(pl.col("passes") > 0).group_by("band", "hour_utc", pl.col("night").dt.month())
    for band_name, hour, month, count in seen.len().sort("band", "hour_utc", "night").iter_rows():
        months.setdefault((band_name, hour), []).append((month, count))
    rows: list[dict[str, object]] = []
    for band in findings.bands:
        hz = [
            channel.hz
            for channel in facts.channels
            if channel.band == band.band and channel.purpose == "noise"
        ]
        for period in band.periods if hz else ():
            measured = months[band.band, period.hour_utc]
            by_month = [_expected_in(month, period.hour_utc, hz[0], facts) for month, _ in measured]
            weight = np.array([count for _, count in measured], dtype=np.float64)
            total = np.array(
                [
                    (
                        each.total.median_db,
                        each.total.lower_db,
                        each.total.upper_db,
                        each.place_lower_db,
                        each.place_upper_db,
                    )
                    for each in by_month
                ]
            )
            median, lower, upper, quiet, noisy = (float(value) for value in weight @ total / weight.sum())
            fa = period.fa_db
            rows.append(
                {
                    "band": band.band,
                    "hour_utc": period.hour_utc,
                    "fa_db": None if fa is None else fa.value,
                    "fa_low": None if fa is None else fa.low,
                    "fa_high": None if fa is None else fa.high,
                    "expected_db": median,
                    "expected_low": median - lower,
                    "expected_high": median + upper,
                    "usual_low": median - float(np.hypot(lower, quiet)),
                    "usual_high": median + float(np.hypot(upper, noisy)),
                    "causes": by_month[0].causes,
                    "whole": by_month[0].whole,
                }
            )
    return _frame(rows, evidence.EXPECTED)


def _expected_in(month: int, hour_utc: int, hz: int, facts: StationFacts) -> Expected:
    sky = atmospheric(hz, facts.latitude, facts.longitude, month, hour_utc + 0.5)
    return expected(hz, facts.environment, sky)


def standing_of(expected: pl.DataFrame) -> dict[str, str]:
    """The diagnosis of each calibrated band, from the hour that lies in the middle by its distance from the median.

    None for a band of which a part of the noise is left out that may be the greatest.
    """
    found: dict[str, str] = {}
    known = expected.filter("whole").drop_nulls(["fa_db", "expected_db"])
    for (band,), here in known.partition_by("band", as_dict=True, maintain_order=True).items():
        by_distance = here.sort(here["fa_db"] - here["expected_db"])
        row = by_distance.row(here.height // 2, named=True)
        median = row["expected_db"]
        found[str(band)] = standing(
            row["fa_db"],
            median,
            (row["expected_high"] - median, median - row["expected_low"]),
            (row["usual_high"] - median, median - row["usual_low"]),
        )
    return found
