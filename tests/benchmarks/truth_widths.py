"""How wide the intervals for nights to come are against an oracle's, after 5, 10 and 20 nights.

    python -m tests.benchmarks.truth_widths [--campaigns 36] [--seed 21]

Three bands and eight hours a campaign, with load and carriers; nights differ by 1.5, 3 or 5 dB, the meter's step is 1
or 0.1 dB. The oracle is told how far the S/N change strays from night to night, that nights know nothing of each other,
and the gain; it looks as often and is as strict. A width against it is the geometric mean over cells; its interval and
those of shares come from the campaigns. Hard cells have a true S/N change of 0.7 to 1.6 dB either way, where 1 dB is
worthwhile; how many of them the oracle decides is all that these nights can tell. Looked at on the nights shown only,
so that "missed" is of single looks. Each campaign is analysed twice: as by anybody, and told, as the oracle is, that
nights know nothing of each other. Ends with 0.
"""

from collections.abc import Callable, Iterator
from contextlib import nullcontext
from dataclasses import dataclass
from itertools import product
from multiprocessing.pool import Pool
from unittest.mock import patch

import numpy as np
import polars as pl
from scipy.stats import norm, t

from sweeper.analysis import BandFinding, Interval, StationFacts, findings_from, summarise_day, table_of
from sweeper.analysis.statistics.group_sequential import look_level
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import CONFIDENCE, STAGES, facts_of
from tests.benchmarks.judging import is_wrong, night_spread, verdict_of
from tests.benchmarks.printed_rows import print_rows
from tests.benchmarks.truth_figures import share_of

LOOKS = (5, 10, 20)
WAYS = ("found from the nights", "told as the oracle")
"""Where the program has it from, how nights hang together."""
HARD_DB = (0.7, 1.6)
HOURS = (18, 19, 20, 21, 22, 23, 0, 1)


@dataclass(frozen=True)
class Cell:
    """One band and hour after so many nights. `width`: half of its interval over half of the oracle's."""

    campaign: int
    way: str
    nights: int
    truth_db: float
    width: float
    error_db: float
    missed: bool
    verdict: str
    oracle_decides: bool
    measured_missed: bool | None
    """Of the interval for the nights measured, against what these were."""

    @property
    def hard(self) -> bool:
        return HARD_DB[0] <= abs(self.truth_db) <= HARD_DB[1]


def course_of(number: int, seed: int) -> Course:
    """Campaign `number`: bands on which a stage brings a little, something and much."""
    rng = np.random.default_rng((seed, 8, number))
    gain_db, figure_db = STAGES[number % 3]
    rises = np.array([1.5, 3.0, 6.0]) * rng.uniform(0.75, 1.33, 3)
    receiver_db = float(rng.uniform(8.0, 18.0))
    bands = tuple(
        BandTruth(
            f"band {place + 1}",
            tuple(float(rise * each) for each in rng.uniform(0.9, 1.1, len(HOURS))),
            gain_db,
            figure_db,
            receiver_db,
        )
        for place, rise in enumerate(rises)
    )
    return Course(
        bands,
        nights=max(LOOKS),
        hours=HOURS,
        night_sd_db=(1.5, 3.0, 5.0)[number // 3 % 3],
        step_db=(1.0, 0.1)[number // 9 % 2],
        floor_db=-80.0,
        shared_by_bands=float(rng.uniform(0.0, 1.0)),
    )


def seen_in(asked: tuple[int, int]) -> list[Cell]:
    """The cells of one campaign at each look; those that are withheld are left out."""
    number, seed = asked
    course = course_of(number, seed)
    thrown = campaign(course, seed * 100_003 + number)
    facts = facts_of(thrown)
    days = [summarise_day(thrown.night(night), facts) for night in range(course.nights)]
    spread = {band.name: night_spread(band, course) for band in course.bands}
    found = []
    for nights, way in product(LOOKS, WAYS):
        summaries = pl.concat(days[:nights])
        strict = float(norm.isf(look_level(nights, 1 - CONFIDENCE) / 2)) / np.sqrt(nights)
        for finding in bands_found(summaries, facts, way):
            for period in finding.periods:
                place, interval, measured = (
                    (finding.band, period.hour_utc),
                    period.snr_change_db,
                    period.measured_db,
                )
                if interval is None:
                    continue
                truth = thrown.snr_change_db(*place)
                there = [thrown.snr_change_on(*place, night) for night in range(nights)]
                oracle_db = strict * spread[finding.band][HOURS.index(period.hour_utc)]
                found.append(
                    Cell(
                        number,
                        way,
                        nights,
                        truth,
                        (interval.high - interval.low) / 2 / oracle_db,
                        interval.value - float(np.mean(there)),
                        not _holds(interval, truth),
                        period.verdict,
                        verdict_of(float(np.mean(there)) - oracle_db, float(np.mean(there)) + oracle_db)
                        != "undecided",
                        None if measured is None else not _holds(measured, float(np.mean(there))),
                    )
                )
    return found


def bands_found(summaries: pl.DataFrame, facts: StationFacts, way: str) -> tuple[BandFinding, ...]:
    """What is found of each band; told as the oracle, with nights that do not resemble their neighbours."""
    told = patch("sweeper.analysis.verdict.table.persistence", return_value=0.0)
    with told if way == WAYS[1] else nullcontext():
        return findings_from(table_of(summaries, facts), summaries, facts).bands


def _holds(interval: Interval, truth_db: float) -> bool:
    return interval.low <= truth_db <= interval.high


HEAD = (
    "| nights | how nights hang together | half-width, oracle's = 1 | bias against the same nights, dB | missed | "
    "hard cells decided | by the oracle | wrong verdicts | missed, nights measured |\n" + "| --- " * 9 + "|"
)


def line(cells: list[Cell]) -> str:
    """The row of one number of nights."""
    width, bias = _mean(cells, lambda cell: np.log(cell.width)), _mean(cells, lambda cell: cell.error_db)
    hard = [cell for cell in cells if cell.hard]
    shares = [
        _share(cells, lambda cell: cell.missed),
        _share(hard, lambda cell: cell.verdict != "undecided"),
        _share(hard, lambda cell: cell.oracle_decides),
        _share(cells, lambda cell: is_wrong(cell.verdict, cell.truth_db)),
        _share(cells, lambda cell: cell.measured_missed),
    ]
    told = "{:.2f} ({:.2f} to {:.2f})".format(*np.exp(width))
    biased = "{:+.3f} ({:+.3f} to {:+.3f})".format(*bias)
    return f"| {cells[0].nights} | {cells[0].way} | {told} | {biased} | {' | '.join(shares)} |"


def _mean(cells: list[Cell], what: Callable[[Cell], float]) -> tuple[float, float, float]:
    """Mean over campaigns of their means, with its 95 % interval."""
    numbers = sorted({cell.campaign for cell in cells})
    means = [np.mean([what(cell) for cell in cells if cell.campaign == number]) for number in numbers]
    reach = float(t.ppf(0.975, len(means) - 1) * np.std(means, ddof=1) / np.sqrt(len(means)))
    return float(np.mean(means)), float(np.mean(means)) - reach, float(np.mean(means)) + reach


def _share(cells: list[Cell], what: Callable[[Cell], bool | None]) -> str:
    told = share_of(cells, what)  # type: ignore[type-var]
    low, high = told.interval
    return f"{100 * told.share:.1f} % of {told.count} ({100 * low:.1f} to {100 * high:.1f} %)"


def lines(pool: Pool, campaigns: int, seed: int, only: str = "") -> Iterator[str]:
    """A row for each number of nights."""
    cells = [
        cell for part in pool.imap(seen_in, [(number, seed) for number in range(campaigns)]) for cell in part
    ]
    for nights, way in product(LOOKS, WAYS):
        if only in str(nights):
            yield line([cell for cell in cells if (cell.nights, cell.way) == (nights, way)])


if __name__ == "__main__":
    print_rows(__doc__, HEAD, lines, campaigns=36, seed=21)
