"""A/B tests by hand behind a fast gain control, drawn at once: how often right, how narrow, how many flips found.

    python -m tests.benchmarks.ab_by_hand_agc [--tests 200] [--seed 1000] [--write docs/ab-now.md] [--quick]

A test counts as right if its interval held the truth at each of the four looks at which one was shown.
"""

import argparse
import multiprocessing
import os
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from statsmodels.stats.proportion import proportion_confint

from sweeper.ab import Interval, NoNoise, Terms, compare
from sweeper.attended.by_hand import AFTER_S, APART_S, BEFORE_S
from tests.benchmarks.written import write_between
from tests.sweeper.attended.behind_agc import SECONDS, Drawn, drawn

LOOKS_S = (70.0, 90.0, 105.0, float(SECONDS))
FOUND_S = 0.16
RIGHT = 0.94


@dataclass(frozen=True)
class Judged:
    """`held`: None where no interval was shown. `off_db`: of the last one's middle; `found`, `astray`: flips whose
    instant was told, and those of them that were elsewhere."""

    held: bool | None
    half_db: float
    off_db: float
    flips: int
    found: int
    astray: int


def seen(draw: Drawn, until_s: float) -> Interval | None:
    """The watched interval at that moment."""
    try:
        return compare(
            draw.heard.labelled(draw.stays(until_s)), Terms(source="now", watched=True, apart_s=APART_S)
        ).snr_change_db
    except NoNoise:
        return None


def judge(seed: int) -> Judged:
    draw = drawn(seed)
    shown = [seen(draw, until_s) for until_s in LOOKS_S]
    told = [each for each in shown if each is not None]
    last = shown[-1]
    gone = [(one.until_s, other.from_s) for one, other in pairwise(draw.stays())]
    sure = [(until_s, from_s) for until_s, from_s in gone if from_s - until_s < (BEFORE_S + AFTER_S) / 2]
    middles = np.array([(until_s + from_s) / 2 for until_s, from_s in sure])
    away = np.abs(middles[:, None] - draw.flips_s).min(axis=1) if len(sure) else np.zeros(0)
    return Judged(
        all(each.low <= draw.change_db <= each.high for each in told) if told else None,
        float("inf") if last is None else (last.high - last.low) / 2,
        float("nan") if last is None else last.value - draw.change_db,
        len(draw.flips_s),
        len(sure),
        int((away > FOUND_S).sum()),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="four tests, to see that it runs")
    parser.add_argument("--tests", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--write", type=Path, help="page to put the sentence into")
    asked = parser.parse_args()
    asked.tests = 4 if asked.quick else asked.tests
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"
    with multiprocessing.get_context("spawn").Pool(asked.processes) as pool:
        found = pool.map(judge, range(asked.seed, asked.seed + asked.tests), 1)
    shown = [each for each in found if each.held is not None]
    held = sum(bool(each.held) for each in shown)
    low, high = proportion_confint(held, len(shown), method="wilson")
    half = np.array([each.half_db for each in found])
    off = np.array([each.off_db for each in found if np.isfinite(each.off_db)])
    told = (
        f"{len(found)} tests drawn from seed {asked.seed} on, two minutes each by hand with keys behind a fast gain "
        f"control, a stage with 8 to 20 dB of gain: the interval held the truth at all of four looks in {held} of "
        f"{len(shown)} ({low:.0%} to {high:.0%}); half-width at the end {np.median(half):.2f} dB in the median, 9 of "
        f"10 within {np.quantile(half, 0.9, method='higher'):.2f} dB; mean error {off.mean():+.2f} dB "
        f"(±{off.std(ddof=1) / np.sqrt(len(off)):.2f}). Instants told of {sum(each.found for each in found)} of "
        f"{sum(each.flips for each in found)} flips, {sum(each.astray for each in found)} of them wrongly."
    ).replace("error -", "error −")
    print(told)
    if asked.write is not None:
        write_between(asked.write, "ab_by_hand_agc", told)
    assert held >= RIGHT * len(shown)


if __name__ == "__main__":
    main()
