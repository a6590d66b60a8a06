"""What it is worth to visit bands that are still open more often: hours decided after so many nights, and the bias.

    python -m tests.benchmarks.effort [--campaigns 24] [--seed 9] [--only WORD]

Stations of four bands and two hours whose receiver is never idle: a pass that leaves bands out is shorter, and the next
one begins sooner. The same nights are measured twice, with every band in every pass and with the shares of `effort`,
found each morning from what its own passes told. One line for each number of nights: hours decided, wrong verdicts,
and the error of the S/N change against that of the same nights. Intervals are Wilson's, of means from the campaigns.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from multiprocessing.pool import Pool

import numpy as np
import polars as pl
from statsmodels.stats.proportion import proportion_confint

from sweeper.analysis import bands_due, effort, findings_from, outlook, summarise_day, table_of
from sweeper.simulation.campaign.course import Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import HOURS, STAGES, amplified_bands, facts_of
from tests.benchmarks.judging import is_wrong
from tests.benchmarks.printed_rows import print_rows

BANDS = 4
SLOTS = 12
"""Visits to one band that an hour has time for."""
LOOKS = (3, 5, 7, 10, 14)
WAYS = ("every band in every pass", "more to open bands")


@dataclass(frozen=True)
class Seen:
    """One band and hour after so many nights; the error against the same nights, dB, None where nothing is told."""

    campaign: int
    way: str
    nights: int
    verdict: str
    wrong: bool
    error_db: float | None


def visited(night: pl.DataFrame, shares: dict[str, float], turn: int) -> tuple[pl.DataFrame, int]:
    """The readings of a night that there was time for, and the turn after the last pass.

    A visit to a band takes one of the slots of the hour; a pass reads all its bands in the slot in which it begins.
    """
    begun = pl.col("time").min().over("pass")
    placed = night.with_columns(
        begun.dt.hour().alias("hour"), (begun.dt.minute() // (60 // SLOTS)).alias("slot")
    )
    kept = []
    for hour in HOURS:
        slot = 0
        while slot < SLOTS:
            bands = bands_due(shares, turn)
            turn += 1
            kept += [(hour, slot, band) for band in bands]
            slot += max(len(bands), 1)
    chosen = pl.DataFrame(kept, schema=["hour", "slot", "band"], orient="row").cast(
        {"hour": pl.Int8, "slot": placed.schema["slot"]}
    )
    return placed.join(chosen, on=["hour", "slot", "band"], how="semi").drop("hour", "slot"), turn


def seen_in(asked: tuple[int, int]) -> list[Seen]:
    """The cells of one campaign, measured in both ways."""
    number, seed = asked
    rng = np.random.default_rng((seed, 8, number))
    bands = amplified_bands(rng, BANDS, STAGES[number % 3])
    course = Course(bands, nights=max(LOOKS), hours=HOURS, passes_per_hour=SLOTS, load_every=1, missing=0.0)
    thrown = campaign(course, seed * 100_003 + 93_000 + number)
    facts = facts_of(thrown)
    even = {band.name: 1.0 / BANDS for band in bands}
    found = []
    for way in WAYS:
        days: list[pl.DataFrame] = []
        shares, turn = even, 0
        for nth in range(course.nights):
            night, turn = visited(thrown.night(nth), shares, turn)
            days.append(summarise_day(night, facts))
            summaries = pl.concat(days)
            if way == WAYS[1]:
                shares = effort(outlook(summaries, facts))
            if nth + 1 not in LOOKS:
                continue
            for finding in findings_from(table_of(summaries, facts), summaries, facts).bands:
                for period in finding.periods:
                    place = (finding.band, period.hour_utc)
                    these = float(np.mean([thrown.snr_change_on(*place, one) for one in range(nth + 1)]))
                    told = period.snr_change_db
                    found.append(
                        Seen(
                            number,
                            way,
                            nth + 1,
                            period.verdict,
                            is_wrong(period.verdict, thrown.snr_change_db(*place)),
                            None if told is None else told.value - these,
                        )
                    )
    return found


def line(way: str, nights: int, cells: Sequence[Seen]) -> str:
    """The row of the table."""

    def share(of: Sequence[Seen], what: Callable[[Seen], bool]) -> str:
        count = sum(map(what, of))
        low, high = proportion_confint(count, max(len(of), 1), method="wilson")
        return f"{count} of {len(of)} ({100 * low:.0f} to {100 * high:.0f} %)"

    decided = [cell for cell in cells if cell.verdict != "undecided"]
    means = [
        np.mean([cell.error_db for cell in cells if cell.campaign == number and cell.error_db is not None])
        for number in sorted({cell.campaign for cell in cells if cell.error_db is not None})
    ]
    error = (
        f"{np.mean(means):+.3f} ± {np.std(means, ddof=1) / np.sqrt(len(means)):.3f}"
        if len(means) > 1
        else "—"
    )
    told = share(cells, lambda cell: cell.verdict != "undecided"), share(decided, lambda cell: cell.wrong)
    return f"| {nights} | {way} | {' | '.join(told)} | {error} |"


HEAD = "| nights | | hours decided | wrong among them | error ± standard error, dB |\n" + "| --- " * 5 + "|"


def lines(pool: Pool, campaigns: int, seed: int, only: str = "") -> Iterator[str]:
    """The rows of the table."""
    cells = [
        cell for part in pool.imap(seen_in, [(number, seed) for number in range(campaigns)]) for cell in part
    ]
    for nights in LOOKS:
        for way in WAYS:
            if only in way:
                yield line(way, nights, [cell for cell in cells if (cell.nights, cell.way) == (nights, way)])


if __name__ == "__main__":
    print_rows(__doc__, HEAD, lines, campaigns=24, seed=9)
