"""What a change of route while the dial stays is worth: nights until the gain of a band is known to ±0.5 dB.

    python -m tests.benchmarks.edges [--campaigns 60] [--nights 6] [--processes 2]

One band with one carrier, 20 dB over the noise, that fades as Clarke found (0.15 Hz of Doppler shift, Rice's K of
3 dB) on a meter of 1 dB; no load, eight hours of passes every 10 minutes. Compared are paths that all go through the
channels one way, as before; paths that go there and back, whose edges cost nothing; and one carrier with edges of its
own besides. Each row: nights until the median of the intervals' half-widths at 95 % is 0.5 dB or less, that half-width
night by night, how often the interval holds the true gain (Wilson's interval), the bias, and what one edge leaves open.
"""

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import polars as pl
from scipy.stats import binomtest

from sweeper.analysis import summarise_day
from sweeper.analysis.band.gain import weighted
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

BAND = BandTruth("31 m", 8.0, carrier_over_noise_db=(20.0,))
COURSE = Course(
    (BAND,),
    passes_per_hour=6,
    load_every=0,
    carriers_absent=0.0,
    carrier_doppler_hz=0.15,
    carrier_night_sd_db=0.0,
)
WAYS: dict[str, int | None] = {
    "visits alone": None,
    "edges that cost nothing": 0,
    "edges of its own besides": 1,
}
KNOWN_DB = 0.5


@dataclass(frozen=True)
class Seen:
    """One campaign: the gain after 1, 2, … nights, and how far one pass strays, dB."""

    gains: tuple[Estimate, ...]
    reaches_db: tuple[float, ...]
    pass_db: float


def seen(course: Course, confidence: float, seed: int) -> Seen:
    """The gain by carriers of one campaign, night after night."""
    thrown = campaign(course, seed)
    facts = facts_of(thrown)
    days = [summarise_day(thrown.night(n), facts) for n in range(course.nights)]
    gains, reaches = [], []
    for nights in range(1, course.nights + 1):
        part = GainMethods(pl.concat(days[:nights])).carriers
        assert part is not None
        gain = weighted((part,))
        interval = gain.interval(confidence)
        gains.append(Estimate(gain.gain_db, gain.se_db, gain.dof))
        reaches.append((interval.high - interval.low) / 2)
    rows = pl.concat(days).filter(pl.col("for") == "carrier")
    name = "carrier" if course.edges is None else "edge"
    by_pass = (rows[f"{name}_gain_se_db"] ** 2 * rows[f"{name}_passes"]).mean()
    return Seen(tuple(gains), tuple(reaches), float(np.sqrt(by_pass)))  # type: ignore[arg-type]


def row(name: str, campaigns: Sequence[Seen]) -> str:
    """One way in a line."""
    reach = np.median([each.reaches_db for each in campaigns], axis=0)
    known = np.flatnonzero(reach <= KNOWN_DB)
    off = np.array([[gain.value - BAND.gain_db for gain in each.gains] for each in campaigns])
    held = np.abs(off) <= np.array([each.reaches_db for each in campaigns])
    by_night = ", ".join(f"{value:.2f}" for value in reach)
    low, high = binomtest(int(held.sum()), held.size).proportion_ci(method="wilson")
    first_low, first_high = binomtest(int(held[:, 0].sum()), len(held)).proportion_ci(method="wilson")
    error = off[:, -1].std() / np.sqrt(len(off))
    pass_db = np.sqrt(np.mean([each.pass_db**2 for each in campaigns]))
    return (
        f"{name:26s} {known[0] + 1 if len(known) else f'over {len(reach)}':>8} nights   ±{by_night} dB   covers "
        f"{held.mean():.1%} ({low:.1%} to {high:.1%}; first night {held[:, 0].mean():.1%}, {first_low:.1%} to "
        f"{first_high:.1%})   bias {off[:, -1].mean():+.3f} ± {error:.3f} dB   one pass ±{pass_db:.2f} dB   "
        f"rms of the first night {np.sqrt((off[:, 0] ** 2).mean()):.2f} dB"
    )


def main() -> None:
    """Draw, reduce, print."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--campaigns", type=int, default=60)
    asked.add_argument("--nights", type=int, default=6)
    asked.add_argument("--doppler", type=float, default=0.15, help="maximum Doppler shift, Hz")
    asked.add_argument("--step", type=float, default=1.0, help="the meter's step, dB")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--processes", type=int, default=2)
    given = asked.parse_args()
    seeds = range(given.seed * 1000, given.seed * 1000 + given.campaigns)
    with ProcessPoolExecutor(given.processes) as pool:
        for name, edges in WAYS.items():
            course = replace(
                COURSE, nights=given.nights, edges=edges, carrier_doppler_hz=given.doppler, step_db=given.step
            )
            print(row(name, list(pool.map(partial(seen, course, 0.95), seeds))), flush=True)


if __name__ == "__main__":
    main()
