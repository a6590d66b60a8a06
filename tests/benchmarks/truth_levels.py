"""Truth benchmark of levels: bias of gain, noise figures, external noise and S/N change; overload found or feigned.

    python -m tests.benchmarks.truth_levels [--quick] [--out FILE.json]

Simulated campaigns over a grid of true values, two processes, seeded. Each campaign is a station whose truth the
simulation knows and the analysis does not; they share no formula. Prints a table, writes JSON beside it, and ends
with 1 when a figure is out of bounds by more than chance (two standard errors) explains. Compared with: the truth.
"""

import argparse
import json
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import polars as pl
from statsmodels.stats.proportion import proportion_confint

from sweeper.analysis import MeterFacts, StationFacts, summarise_day
from sweeper.analysis.band.gain import combine
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.noise_figure import figures
from sweeper.analysis.band.overload import diagnose, without_overload
from sweeper.analysis.physics.external_noise import fa_from_rise_db
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import Campaign, campaign

S9_DBM = 10 * np.log10((50e-6) ** 2 / 50 * 1000)
GAINS_DB = (-10.0, 0.0, 10.0, 20.0, 30.0)
NOISE_FIGURES_DB = ((1.0, 25.0), (3.0, 15.0), (10.0, 10.0), (20.0, 5.0))
"""Stage and receiver. A stage that attenuates has at least its loss."""
EXTERNAL_OVER_RECEIVER_DB = (-10.0, -3.0, 0.0, 3.0, 10.0, 30.0, 50.0)
STEPS_DB = (0.1, 1.0, 6.0)
BIAS_DB = 0.1


@dataclass(frozen=True)
class Task:
    """One campaign: what is planted in it and with which seed."""

    kind: str
    seed: int
    gain_db: float = 15.0
    stage_db: float = 3.0
    receiver_db: float = 15.0
    step_db: float = 1.0
    nights: int = 8
    shift: float = 0.0
    """Where on the meter's steps the station falls, in steps; spread evenly, as stations are."""


def facts_of(made: Campaign) -> StationFacts:
    """What a calibrated station of that campaign tells the analysis."""
    meter = made.meter
    return StationFacts(
        name="campaign",
        latitude=50.0,
        longitude=0.0,
        environment="rural",
        channels=made.channels,
        meter=MeterFacts("dBm", True, meter.step_db, meter.floor, meter.top, meter.averaging_s, "rms", 0.1),
        rated_gain_db=None,
        rated_noise_figure_db=None,
        source_enr_db=None,
        worthwhile_db=1.0,
        confidence=0.95,
        fingerprint="",
    )


def summaries_of(made: Campaign, facts: StationFacts) -> pl.DataFrame:
    """Summaries night by night, the meter calibrated in dBm."""
    days = []
    for night in range(made.course.nights):
        table = made.night(night)
        if table.height:
            days.append(summarise_day(table.with_columns((pl.col("reading") + S9_DBM).alias("dbm")), facts))
    return pl.concat(days)


def grid_task(task: Task) -> list[dict[str, object]]:
    """Errors of every figure on seven bands, from far below to far above receiver noise."""
    rng = np.random.default_rng(task.seed)
    shift = (
        float(rng.uniform(-0.5, 0.5)) * task.step_db
    )  # where on the meter's steps a station falls is chance
    receiver = max(task.receiver_db + shift, 0.5)
    bands = tuple(
        BandTruth(
            name=f"{over:g}",
            rise_db=float(10 * np.log10(1 + 10 ** (over / 10))),
            gain_db=task.gain_db + shift * 0.618,
            stage_noise_figure_db=task.stage_db,
            receiver_noise_figure_db=receiver,
        )
        for over in EXTERNAL_OVER_RECEIVER_DB
    )
    course = Course(
        bands, nights=task.nights, hours=(18, 20, 22, 0), step_db=task.step_db, floor_db=-90.0, top_db=120.0
    )
    made = campaign(course, seed=task.seed)
    facts = facts_of(made)
    summaries, truth = summaries_of(made, facts), made.truth
    return [_errors(task, band, receiver, summaries, truth, facts) for band in bands]


def _errors(
    task: Task,
    band: BandTruth,
    receiver_db: float,
    summaries: pl.DataFrame,
    truth: pl.DataFrame,
    facts: StationFacts,
) -> dict[str, object]:
    mine = summaries.filter(pl.col("band") == band.name)
    clean = without_overload(mine, diagnose(GainMethods(mine), facts))
    gain = combine(GainMethods(clean), facts)
    found = figures(clean, gain, facts)
    noise = mine.filter((pl.col("for") == "noise") & (pl.col("difference_bound") == ""))
    cells = (
        noise.group_by("night", "hour_utc")
        .agg(pl.col("difference_db", "noise_rise_db").mean(), pl.col("resolution_db").max())
        .drop_nulls()
        .join(truth.filter(pl.col("band") == band.name), on=["night", "hour_utc"], suffix="_true")
    )
    row: dict[str, object] = {
        "seed": task.seed,
        "step_db": task.step_db,
        "true gain_db": task.gain_db,
        "external_over_receiver_db": float(band.name),
        "noise figures": f"{task.stage_db:g}/{task.receiver_db:g}",
    }
    if gain is not None:
        row |= _pair("gain", gain.gain_db - band.gain_db, gain.se_db)
        if cells.height:
            change = gain.gain_db - cells["difference_db"].to_numpy()
            error = float((change - cells["snr_change_db"].to_numpy()).mean())
            row |= _pair(
                "S/N change", error, float(np.hypot(gain.se_db, cells["resolution_db"].max() or 0.0))
            )
    if found.receiver_db is not None:
        row |= _pair("receiver noise figure", found.receiver_db.value - receiver_db, found.receiver_se_db)
        ratio = 10 ** (receiver_db / 10)
        true_fa = 10 * np.log10(ratio * (10 ** (cells["noise_rise_db_true"].to_numpy() / 10) - 1) + 1)
        fa = fa_from_rise_db(cells["noise_rise_db"].to_numpy(), found.receiver_db.value)
        if np.isfinite(fa).any() and float(band.name) >= 0:
            row |= _pair("external noise fa", float(np.nanmean(fa - true_fa)), found.receiver_se_db)
    if found.stage_db is not None:
        reach = (found.stage_db.high - found.stage_db.low) / 3.92
        if reach < 1.0:
            row |= _pair("stage noise figure", found.stage_db.value - band.stage_noise_figure_db, reach)
    return row


def _pair(name: str, error: float, se: float) -> dict[str, object]:
    return {f"{name} error": error, f"{name} se": se}


def overload_task(task: Task) -> list[dict[str, object]]:
    """Four bands with overload in some hours and four without: which are flagged."""
    rng = np.random.default_rng(task.seed)
    hours = (18, 19, 20, 21, 22, 23, 0, 1)
    bands = []
    for number in range(8):
        planted = number % 2 == 0
        hit = (
            tuple(int(h) for h in rng.choice(hours, size=int(rng.integers(1, 5)), replace=False))
            if planted
            else ()
        )
        bands.append(
            BandTruth(
                name=f"{number}",
                rise_db=float(rng.uniform(1.5, 20.0)),
                gain_db=float(rng.uniform(8.0, 20.0)),
                stage_noise_figure_db=float(rng.uniform(2.0, 6.0)),
                receiver_noise_figure_db=float(rng.uniform(8.0, 18.0)),
                overloaded_hours=hit,
                products_db=float(rng.uniform(3.0, 10.0)),
                products_order=int(rng.integers(2, 4)),
                compression_db=float(rng.uniform(0.0, 1.0)),
            )
        )
    course = Course(
        tuple(bands), nights=task.nights, hours=hours, step_db=task.step_db, floor_db=-90.0, top_db=120.0
    )
    made = campaign(course, seed=task.seed)
    facts = facts_of(made)
    summaries = summaries_of(made, facts)
    rows: list[dict[str, object]] = []
    for band in bands:
        found = diagnose(GainMethods(summaries.filter(pl.col("band") == band.name)), facts)
        rows.append(
            {
                "step_db": task.step_db,
                "nights": task.nights,
                "planted": bool(band.overloaded_hours),
                "flagged": "overload" in found.flags,
                "named otherwise": ",".join(flag for flag in found.flags if flag != "overload"),
                "hours planted": len(band.overloaded_hours),
                "hours found": len(set(found.overloaded_hours) & set(band.overloaded_hours)),
                "hours feigned": len(set(found.overloaded_hours) - set(band.overloaded_hours)),
            }
        )
    return rows


def work(task: Task) -> tuple[str, list[dict[str, object]]]:
    """One task in a worker process."""
    return task.kind, (grid_task if task.kind == "grid" else overload_task)(task)


def tasks(quick: bool) -> list[Task]:
    """At least 300 campaigns; a tenth of them when quick."""
    made = []
    repeats = 1 if quick else 5
    for repeat in range(repeats):
        for n, gain_db in enumerate(GAINS_DB):
            for k, (stage_db, receiver_db) in enumerate(NOISE_FIGURES_DB):
                for s, step_db in enumerate(STEPS_DB):
                    if quick and (n + k + s) % 3:
                        continue
                    seed = 100_000 + 10_000 * repeat + 1000 * n + 100 * k + s
                    place = ((repeat * 20 + n * 4 + k) * 0.618034) % 1 - 0.5
                    made.append(
                        Task("grid", seed, gain_db, max(stage_db, -gain_db), receiver_db, step_db, 6, place)
                    )
    for n in range(2 if quick else 40):
        made.append(Task("overload", 500 + n, step_db=STEPS_DB[n % 2], nights=(2, 4, 8, 16)[n // 2 % 4]))
    return made


FIGURES = ("gain", "S/N change", "receiver noise figure", "stage noise figure", "external noise fa")


def judge_grid(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    """Bias, its standard error, and how many errors lie within the stated uncertainty, by figure and stratum.

    Campaigns count by what they claim to know: errors are weighted by the uncertainty that is stated with them,
    as anyone who uses the figure would; the plain mean stands beside it.
    """
    table = pl.DataFrame(rows, infer_schema_length=None)
    judged = []
    strata = [("all", pl.lit(True))]
    strata += [(f"meter step {step:g} dB", pl.col("step_db") == step) for step in STEPS_DB]
    strata += [(f"gain {gain:g} dB", pl.col("true gain_db") == gain) for gain in GAINS_DB]
    strata += [
        (f"external {over:+g} dB", pl.col("external_over_receiver_db") == over)
        for over in EXTERNAL_OVER_RECEIVER_DB
    ]
    for figure in FIGURES:
        for stratum, chosen in strata:
            if f"{figure} error" not in table.columns:
                continue
            part = table.filter(chosen).drop_nulls([f"{figure} error", f"{figure} se"])
            if part.height < 5:
                continue
            error, se = part[f"{figure} error"].to_numpy(), part[f"{figure} se"].to_numpy()
            weight = 1 / np.maximum(se, 0.05) ** 2
            bias = float(weight @ error / weight.sum())
            campaigns = np.unique(part["seed"].to_numpy(), return_inverse=True)[1]
            moved = np.bincount(
                campaigns, weight * (error - bias)
            )  # bands of a campaign share its meter and nights
            bias_se = float(np.sqrt((moved**2).sum()) / weight.sum())
            judged.append(
                {
                    "figure": figure,
                    "stratum": stratum,
                    "campaign bands": part.height,
                    "bias_db": bias,
                    "bias_se_db": bias_se,
                    "plain_mean_db": float(error.mean()),
                    "plain_se_db": float(error.std() / np.sqrt(len(error))),
                    "rms_db": float(np.sqrt(np.mean(error**2))),
                    "within_2_se": float(np.mean(np.abs(error) <= 2 * se)),
                    "ok": abs(bias) <= BIAS_DB,
                    "decided": abs(bias) <= BIAS_DB or abs(bias) - 2 * bias_se > BIAS_DB,
                }
            )
    return judged


def _judgement(row: dict[str, object]) -> str:
    if row["ok"]:
        return "ok"
    return "OUT OF BOUNDS" if row["decided"] else "too few to decide"


def judge_overload(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    """Share of planted overload that is flagged, and of clean bands that are."""
    table = pl.DataFrame(rows)
    judged = []
    for nights in (None, *sorted(table["nights"].unique().to_list())):
        part = table if nights is None else table.filter(pl.col("nights") == nights)
        planted, clean = part.filter(pl.col("planted")), part.filter(~pl.col("planted"))
        found, feigned = float(planted["flagged"].mean() or 0), float(clean["flagged"].mean() or 0)
        surely, at_worst = (
            proportion_confint(int(each["flagged"].sum()), each.height, method="wilson")
            for each in (planted, clean)
        )
        judged.append(
            {
                "nights": nights or "all",
                "planted": planted.height,
                "flagged": found,
                "flagged_interval": surely,
                "clean": clean.height,
                "feigned": feigned,
                "feigned_interval": at_worst,
                "hours found": float(planted["hours found"].sum() / max(planted["hours planted"].sum(), 1)),
                "hours feigned": int(part["hours feigned"].sum()),
                "ok": nights is not None or (found >= 0.95 and feigned <= 0.02),
            }
        )
    return judged


def _interval(ends: tuple[float, float]) -> str:
    """Wilson's interval, 95 %."""
    return f"{ends[0]:.1%} to {ends[1]:.1%}"


def main() -> int:
    """Run, print, write; 1 when a bound is broken."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a tenth of the campaigns")
    parser.add_argument("--out", type=Path, help="keep the figures here")
    asked = parser.parse_args()
    began = time.perf_counter()
    grid: list[dict[str, object]] = []
    overload: list[dict[str, object]] = []
    todo = tasks(asked.quick)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        for done, (kind, rows) in enumerate(pool.map(work, todo, chunksize=2), 1):
            (grid if kind == "grid" else overload).extend(rows)
            if sys.stderr.isatty():
                print(f"\r{done}/{len(todo)} campaigns", end="", file=sys.stderr, flush=True)
    by_figure, by_nights = judge_grid(grid), judge_overload(overload)
    for row in by_figure:
        print(
            f"{row['figure']:22} {row['stratum']:20} n={row['campaign bands']:5} bias {row['bias_db']:+.3f} ± "
            f"{row['bias_se_db']:.3f} dB  (plain {row['plain_mean_db']:+.3f} ± {row['plain_se_db']:.3f})  rms "
            f"{row['rms_db']:.2f}  within 2 se {row['within_2_se']:.0%}  {_judgement(row)}"
        )
    for row in by_nights:
        print(
            f"overload, {row['nights']!s:>3} nights: {row['flagged']:.1%} ({_interval(row['flagged_interval'])}) of "
            f"{row['planted']} planted flagged, {row['feigned']:.1%} ({_interval(row['feigned_interval'])}) of "
            f"{row['clean']} clean flagged; hours found {row['hours found']:.0%}, feigned "
            f"{row['hours feigned']}  {'ok' if row['ok'] else 'OUT OF BOUNDS'}"
        )
    took_s = time.perf_counter() - began
    print(f"{len(todo)} campaigns in {took_s:.0f} s")
    report = {"campaigns": len(todo), "seconds": took_s, "bias": by_figure, "overload": by_nights}
    if asked.out:
        asked.out.write_text(json.dumps(report, indent=1), encoding="utf-8")
    missed = [row for row in by_figure if not row["ok"] and row["decided"]] + [
        row for row in by_nights if not row["ok"]
    ]
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
