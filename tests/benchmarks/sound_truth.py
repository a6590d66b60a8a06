"""Nights by sound against a planted truth, with the gain control off and on, beside perfect meters.

How nights are drawn and read is in `sound_nights`. A carrier that fades makes the luck of a campaign far larger than
any bias looked for. Sound and a perfect meter share that luck where they hear the same nights; so what sound adds is
told by pairs, and what the analysis itself does by many more campaigns of the perfect meters, which cost little. The
mean error of sound is the sum of both.

    python -m tests.benchmarks.sound_truth [--quick] [--campaigns N] [--meters N] [--seed N] [--kept FILE]
        [--write docs/audio.md]
"""

import argparse
import json
import math
import multiprocessing
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.stats import binomtest

from sweeper.analysis import Interval, MeterFacts, StationFacts, find, summarise_day
from sweeper.simulation.recordings.planted import Chain
from sweeper.store.frames import frame_of
from sweeper.words import Reading
from tests.benchmarks.sound_nights import (
    CARRIER,
    CHAINS,
    LEVELS,
    NIGHTS,
    NOISE,
    OFF,
    ON,
    PASSES,
    RATIOS,
    campaign,
    change_db,
    usual_db,
)
from tests.benchmarks.written import write_between

BESIDE = {OFF: LEVELS, ON: RATIOS}
"""The perfect meter of the same kind."""
WANTED_DB = 0.05
BEYOND = 10_000
"""From this number on campaigns are read by the perfect meters alone."""


@dataclass(frozen=True)
class Judged:
    """What a campaign came to: error of the S/N change on its nights in dB (NaN where none was found), half-widths of
    intervals and whether they held, and the verdict, if any, with whether it was wrong.
    """

    error: float = math.nan
    halves: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    decided: bool = False
    wrong: bool = False


FACTS = StationFacts(
    name="Saltmarsh",
    latitude=56.2,
    longitude=8.1,
    environment="rural",
    channels=(NOISE, CARRIER),
    meter=MeterFacts("raw", False, averaging_s=1.0, linear=True),
    rated_gain_db=None,
    rated_noise_figure_db=None,
    source_enr_db=None,
    worthwhile_db=1.0,
    confidence=0.95,
    fingerprint="sound",
)


def judge(chain: Chain, outside: list[float], readings: list[Reading]) -> Judged:
    """Hold the findings of a campaign against what was planted."""
    days = (
        frame_of(readings).with_columns(day=pl.col("time").dt.date()).partition_by("day", include_key=False)
    )
    findings, _ = find(pl.concat([summarise_day(day, FACTS) for day in days]), FACTS)
    (period,) = findings.bands[0].periods
    usual = usual_db(chain)
    wanted = float(np.mean([change_db(chain, each) for each in outside]))
    told: list[tuple[Interval, float]] = [
        (interval, truth)
        for interval, truth in ((period.measured_db, wanted), (period.snr_change_db, usual))
        if interval is not None
    ]
    right = {"stage": usual > 0.0, "bypass": usual < 0.0, "either": abs(usual) < 1.0, "undecided": True}
    return Judged(
        math.nan if period.measured_db is None else period.measured_db.value - wanted,
        [(interval.high - interval.low) / 2 for interval, _ in told],
        [interval.low <= truth <= interval.high for interval, truth in told],
        period.verdict != "undecided",
        not right[period.verdict],
    )


Case = tuple[int, int, bool]
"""The number of a campaign, the seed, and whether sound is made of it."""


def judged(case: Case) -> dict[str, Judged]:
    """A campaign by every way."""
    nth, seed, with_sound = case
    chain = CHAINS[nth % len(CHAINS)]
    outside, readings = campaign(chain, 100_000 * seed + nth, with_sound)
    return {way: judge(chain, outside, each) for way, each in readings.items()}


def kept_in(file: Path | None) -> dict[Case, dict[str, Judged]]:
    """What an earlier run came to."""
    if file is None or not file.exists():
        return {}
    lines = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    return {tuple(case): {way: Judged(**each) for way, each in found.items()} for case, found in lines}


def all_judged(cases: Sequence[Case], processes: int, file: Path | None) -> list[dict[str, Judged]]:
    """Of all cases; each is kept in `file` as it comes, so that a run goes on where the last one was stopped."""
    found = kept_in(file)
    missing = [case for case in cases if case not in found]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for case, each in zip(missing, pool.imap(judged, missing), strict=True):
            found[case] = each
            if file is not None:
                with file.open("a", encoding="utf-8") as kept:
                    kept.write(json.dumps([case, {way: asdict(one) for way, one in each.items()}]) + "\n")
    return [found[case] for case in cases]


def mean_and_error(values: Sequence[float]) -> tuple[float, float]:
    """Of those that are numbers: their mean and its standard error."""
    known: NDArray[np.float64] = np.array(values)
    known = known[np.isfinite(known)]
    return float(known.mean()), float(known.std(ddof=1) / math.sqrt(len(known)))


Told = Sequence[dict[str, Judged]]


def biases(
    by_sound: Told, by_meters: Told
) -> dict[str, tuple[tuple[float, float] | None, tuple[float, float]]]:
    """For each way what it adds to the perfect meter on the same nights (None for that itself), and its mean error; dB,
    each with its standard error.
    """
    found: dict[str, tuple[tuple[float, float] | None, tuple[float, float]]] = {}
    for way in (LEVELS, RATIOS):
        found[way] = None, mean_and_error([each[way].error for each in by_meters])
    for way, meter in BESIDE.items():
        added = mean_and_error([each[way].error - each[meter].error for each in by_sound])
        own = found[meter][1]
        found[way] = added, (added[0] + own[0], math.hypot(added[1], own[1]))
    return found


def table(by_sound: Told, by_meters: Told, seed: int) -> str:
    """What the page shows."""
    told = [
        f"{len(by_sound)} campaigns by sound and {len(by_meters)} by the perfect meters alone, each of {NIGHTS} nights "
        f"with {PASSES} passes in one hour, seed {seed}; S/N change, dB.",
        "",
        "| read by | beside the perfect one, same nights | mean error (its standard error) "
        "| intervals that hold the truth | half-width, median | verdicts, same nights | wrong |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for way, (added, whole) in biases(by_sound, by_meters).items():
        all_of_it = [each[way] for each in (*by_sound, *by_meters) if way in each]
        held = [each for one in all_of_it for each in one.held]
        share = binomtest(sum(held), len(held)).proportion_ci(method="wilson")
        shown = "–" if added is None else f"{added[0]:+.3f} (±{added[1]:.3f})"
        told.append(
            f"| {way} | {shown} | {whole[0]:+.3f} (±{whole[1]:.3f}) | {sum(held)} of {len(held)} "
            f"({100 * share.low:.1f} to {100 * share.high:.1f} %) "
            f"| {np.median([half for one in all_of_it for half in one.halves]):.2f} "
            f"| {sum(each[way].decided for each in by_sound)} of {len(by_sound)} "
            f"| {sum(one.wrong for one in all_of_it)} |"
        )
    return "\n".join(told).replace("-0.", "−0.")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a few campaigns, to see that it runs")
    parser.add_argument("--campaigns", type=int, default=64)
    parser.add_argument("--meters", type=int, default=1200)
    parser.add_argument("--seed", type=int, default=18)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--kept", type=Path, help="file to keep campaigns in, and to go on from")
    parser.add_argument("--write", type=Path, help="page to put the table into")
    asked = parser.parse_args()
    os.environ.setdefault("POLARS_MAX_THREADS", "1")  # of small tables; a process for each campaign
    campaigns, meters = (2, 2) if asked.quick else (asked.campaigns, asked.meters)
    cases = [(nth, asked.seed, True) for nth in range(campaigns)]
    cases += [(BEYOND + nth, asked.seed, False) for nth in range(meters)]
    found = all_judged(cases, asked.processes, asked.kept)
    by_sound, by_meters = found[:campaigns], found[campaigns:]
    told = table(by_sound, by_meters, asked.seed)
    print(told, flush=True)
    for way, (added, (mean, error)) in biases(by_sound, by_meters).items():
        assert added is None or abs(added[0]) < 0.2, way
        assert abs(mean) < WANTED_DB + 3.0 * error, way
    if asked.write is not None:
        write_between(asked.write, "sound_truth", told)


if __name__ == "__main__":
    main()
