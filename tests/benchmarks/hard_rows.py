"""The rows of the truth benchmark where nights are alike, channels not clean or stages not steady.

    python -m tests.benchmarks.hard_rows [--campaigns 27] [--seed 5] [--only WORD]

One line a row: cells, verdicts given, wrong ones, intervals that miss the truth, at the last look; shares with Wilson's
interval, cells of a campaign counted as for the other figures. Ends with 0: what must hold is claimed in docs/truth.md.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from multiprocessing.pool import Pool

import numpy as np
import polars as pl
from statsmodels.stats.proportion import proportion_confint

from sweeper.analysis import findings_from, summarise_day, table_of
from sweeper.simulation.campaign.course import Course
from tests.benchmarks.campaigns import HOURS, STAGES, Planned, amplified_bands, facts_of
from tests.benchmarks.judging import is_wrong, truth_of_these
from tests.benchmarks.printed_rows import print_rows
from tests.benchmarks.truth_figures import share_of

BANDS = 4
NO_LOAD = {"load_every": 0}
NO_CARRIERS: dict[str, object] = {"carrier_over_noise_db": ()}
STEP_AT = 5
STEP = "stage-step"


@dataclass(frozen=True)
class Case:
    """One row: what the course is like, and what its bands are."""

    name: str
    course: dict[str, object]
    bands: dict[str, object] | None = None
    audited: str = ""
    """What an audit of an earlier version found in 216 cells: decided; wrong; intervals that missed."""


CASES = (
    Case("nothing amiss, 5 nights", {"nights": 5}),
    Case("nothing amiss, 10 nights", {}),
    Case("nothing amiss, without load", NO_LOAD),
    Case("80 % of nights loud (+12 dB), 5 nights", {"nights": 5, "loud_share": 0.8}, audited="146; 51; 124"),
    Case(
        "two noise channels, gains 4 dB apart, no load",
        NO_LOAD,
        {"channel_gains_db": (0.0, 4.0)},
        audited="216; 66; 181",
    ),
    Case(
        "steady carrier (+3 dB) in a noise channel", {"resident_over_noise_db": 3.0}, audited="108; 45; 216"
    ),
    Case("the same without load", {"resident_over_noise_db": 3.0, **NO_LOAD}, audited="0; 0; 123"),
    Case(
        "fading carrier (+8 dB) in it",
        {"resident_over_noise_db": 8.0, "resident_fades": True},
        audited="34; 3; 34 of 35",
    ),
    Case(
        "the same without load, fading",
        {"resident_over_noise_db": 8.0, "resident_fades": True, **NO_LOAD},
        audited="0; 0; 98",
    ),
    Case(
        "the same in one hour of two",
        {"resident_over_noise_db": 8.0, "resident_fades": True, "resident_hours": HOURS[:1]},
        audited="120; 10; 29 (three hours)",
    ),
    Case("stage with AGC 0.06 dB/dB, no load", {"agc_db_per_db": 0.06, **NO_LOAD}, audited="105; 3; 136"),
    Case(
        "the same, taken back for carriers too",
        {"agc_db_per_db": 0.06, "agc_on_carriers": True, **NO_LOAD},
    ),
    Case(
        "nights AR(1) 0.6, sd 2 dB",
        {"night_persistence": 0.6, "night_sd_db": 2.0},
        audited="334; 3; 37 (of 432 cells)",
    ),
    Case(
        "nights AR(1) 0.6, sd 4 dB",
        {"night_persistence": 0.6, "night_sd_db": 4.0},
        audited="324; 20; 53 (of 432 cells)",
    ),
    Case("gain 3 dB lower in the later hour", {"gain_by_hour_db": (1.5, -1.5)}),
    Case("the same gain, without load", {"gain_by_hour_db": (1.5, -1.5), **NO_LOAD}),
    Case("relay leak −20 dB, no load", {"leak_db": -20.0, **NO_LOAD}, audited="133; 0; 53"),
    Case("trend 1 dB a night", {"trend_db_per_night": 1.0}, audited="122; 9; 202"),
    Case("2 nights", {"nights": 2}, audited="154; 2; 42"),
    Case(
        "gain step of −4 dB in mid-season",
        {"gain_step_at_night": STEP_AT, "gain_step_db": -4.0},
        audited="no wrong verdict, no flag",
    ),
)


@dataclass(frozen=True)
class Seen:
    """One band and hour at the last look."""

    campaign: int
    verdict: str
    wrong: bool
    missed: bool | None


def plan_of(case: Case, number: int, seed: int) -> Planned:
    """Campaign `number` of a case."""
    rng = np.random.default_rng((seed, 6, number))
    bands = amplified_bands(rng, BANDS, STAGES[number % 3], **(case.bands or {}))
    course = replace(Course(bands, nights=10, hours=HOURS), **case.course)  # type: ignore[arg-type]
    return Planned("hard", {}, course, seed * 100_003 + 95_000 + number)


def seen_in(asked: tuple[Case, int, int]) -> list[Seen]:
    """The cells of one campaign."""
    case, number, seed = asked
    plan = plan_of(case, number, seed)
    thrown = plan.thrown()
    facts = facts_of(thrown)
    summaries = pl.concat([summarise_day(thrown.night(n), facts) for n in range(plan.course.nights)])
    found = []
    for finding in findings_from(table_of(summaries, facts), summaries, facts).bands:
        for period in finding.periods:
            truth = thrown.snr_change_db(finding.band, period.hour_utc)
            if period.nights < 3:
                truth = truth_of_these(thrown, finding.band, period.hour_utc, summaries)
            interval = period.snr_change_db
            missed = None if interval is None else not interval.low <= truth <= interval.high
            found.append(Seen(number, period.verdict, is_wrong(period.verdict, truth), missed))
    return found


def step_seen_in(asked: tuple[Case, int, int]) -> list[bool]:
    """Of one campaign with a step of the gain the bands on which one is told three nights after it at the latest."""
    case, number, seed = asked
    thrown = plan_of(case, number, seed).thrown()
    facts = facts_of(thrown)
    summaries = pl.concat([summarise_day(thrown.night(n), facts) for n in range(STEP_AT + 3)])
    table = table_of(summaries, facts)
    return [STEP in table.diagnoses[band].flags for band in table.bands]


HEAD = (
    "| case | audit: decided; wrong; missed | cells | decided | wrong | intervals that miss |\n"
    + "| --- " * 6
    + "|"
)


def line(case: Case, cells: list[Seen]) -> str:
    """The row of the table."""
    decided = [cell for cell in cells if cell.verdict != "undecided"]
    told = [cell for cell in cells if cell.missed is not None]

    def shown(rows: list[Seen], what: Callable[[Seen], bool]) -> str:
        if not rows:
            return "0"
        share = share_of(rows, what)  # type: ignore[arg-type]
        low, high = share.interval
        return f"{sum(map(what, rows))} ({100 * low:.1f} to {100 * high:.1f} %)"

    wrong = shown(decided, lambda cell: cell.wrong)
    missed = shown(told, lambda cell: bool(cell.missed))
    audited = case.audited or "—"
    return f"| {case.name} | {audited} | {len(cells)} | {len(decided)} | {wrong} | {missed} of {len(told)} |"


def lines(pool: Pool, campaigns: int, seed: int, only: str = "") -> Iterator[str]:
    """The rows of the table, and a sentence on how soon a step of the gain is told."""
    for case in CASES:
        if only in case.name:
            jobs = [(case, number, seed) for number in range(campaigns)]
            yield line(case, [cell for part in pool.imap(seen_in, jobs) for cell in part])
    for course, words in (({}, "with load"), (NO_LOAD, "without")):
        case = Case(f"gain step, {words}", {"gain_step_at_night": STEP_AT, "gain_step_db": -4.0, **course})
        if only in case.name:
            told = [
                band
                for part in pool.imap(step_seen_in, [(case, number, seed) for number in range(campaigns)])
                for band in part
            ]
            low, high = proportion_confint(sum(told), len(told), method="wilson")
            share = f"{sum(told)} of {len(told)} bands ({100 * low:.0f} to {100 * high:.0f} %)"
            yield f"| gain step of −4 dB told within three nights, {words} | no flag | {len(told)} | {share} | — | — |"


if __name__ == "__main__":
    print_rows(__doc__, HEAD, lines, campaigns=27, seed=5)
