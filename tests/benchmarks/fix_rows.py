"""Before and after a fix where nights come in spells, seasons drift and controls step, beside what an oracle finds.

    python -m tests.benchmarks.fix_rows [--campaigns 40] [--seed 7] [--only WORD]

Each campaign is looked at every morning from the third night after the fix on, all bands together and each by itself.
One line a row: campaigns with a false verdict on any morning, and those that nothing flagged; how often the last
interval over all bands missed; fixes found on the last morning, by the program and by an oracle: generalised least
squares on the same nights, told how alike they are, at the level that is due on that morning. Wilson's intervals.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from multiprocessing.pool import Pool

import numpy as np
import polars as pl
from scipy.stats import t as student
from statsmodels.stats.proportion import proportion_confint

from sweeper.analysis import Comparison, compare, summarise_day
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK, boundaries, spent_late
from sweeper.simulation.campaign.course import Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import CONFIDENCE, HOURS, STAGES, amplified_bands, facts_of
from tests.benchmarks.printed_rows import print_rows

BANDS = 5
CONTROL = f"band {BANDS}"
WARNINGS = frozenset({"trend", "leaning", "control-changed", "control-moved"})
"""Flags that say beside a verdict why it may not be the fix."""


@dataclass(frozen=True)
class Case:
    """One row: nights before the fix, as many after it, and what the course is like."""

    name: str
    nights: int
    course: dict[str, object]
    control: tuple[str, ...] = ()
    audited: str = ""
    """What an audit of an earlier version found: campaigns with a false verdict; coverage at the last look."""


CASES = (
    Case("7 + 7 nights, independent", 7, {}, audited="1 %; 98 %"),
    Case("14 + 14 nights, independent", 14, {}, audited="5 %; 98 %"),
    Case("7 + 7 nights, AR(1) 0.6", 7, {"night_persistence": 0.6}, audited="29 %; 87 %"),
    Case("14 + 14 nights, AR(1) 0.6", 14, {"night_persistence": 0.6}, audited="61 %; 80 %"),
    Case("14 + 14 nights, trend 0.1 dB a night", 14, {"trend_db_per_night": 0.1}, audited="32 %; 81 %"),
    Case("14 + 14 nights, trend 0.2 dB a night", 14, {"trend_db_per_night": 0.2}, audited="89 %; 30 %"),
    Case(
        "7 + 7 nights, the control fell by 3 dB",
        7,
        {"fix_db": 3.0, "fix_bands": (CONTROL,)},
        (CONTROL,),
        audited="88 %; 32 %",
    ),
    Case("a fix of 3 dB, 7 + 7 nights that differ by 3 dB", 7, {"fix_db": 3.0}),
    Case("the same, AR(1) 0.6", 7, {"fix_db": 3.0, "night_persistence": 0.6}),
    Case("the same, 14 + 14 nights, AR(1) 0.6", 14, {"fix_db": 3.0, "night_persistence": 0.6}),
)


@dataclass(frozen=True)
class Seen:
    """One campaign. `false`: of the mornings; `unflagged`: without a word beside it; the rest: of the last morning."""

    false: bool
    unflagged: bool
    missed: bool | None
    found: bool
    oracle: bool


def truth_db(case: Case) -> float:
    """What the fix changed on the bands compared."""
    fix_db = case.course.get("fix_db", 0.0)
    assert isinstance(fix_db, float)
    return 0.0 if case.control else -fix_db


def seen_in(asked: tuple[Case, int, int]) -> Seen:
    """One campaign, looked at every morning."""
    case, number, seed = asked
    rng = np.random.default_rng((seed, 7, number))
    bands = amplified_bands(rng, BANDS, STAGES[0])
    course = Course(
        bands,
        nights=2 * case.nights,
        hours=HOURS,
        night_sd_db=3.0,
        fix_at_night=case.nights,
        load_drift_sd_db=0.5,
    )
    thrown = campaign(replace(course, **case.course), seed * 100_003 + 97_000 + number)  # type: ignore[arg-type]
    facts = facts_of(thrown)
    days = [summarise_day(thrown.night(n), facts) for n in range(2 * case.nights)]
    false = unflagged = False
    found: Comparison | None = None
    for last in range(case.nights + FIRST_LOOK, 2 * case.nights + 1):
        found = compare(pl.concat(days[:last]), facts, thrown.fix, control_bands=case.control)
        for each in (*found.bands, *([found.all_bands] if found.all_bands else [])):
            wrong = each.verdict in wrong_verdicts(truth_db(case))
            false |= wrong
            unflagged |= wrong and not WARNINGS.intersection(each.flags)
    assert found is not None and found.all_bands is not None
    told = found.all_bands
    missed = (
        None if told.change_db is None else not told.change_db.low <= truth_db(case) <= told.change_db.high
    )
    rho = float(str(case.course.get("night_persistence", 0.0)))
    values = [
        (float((night.night - told.nights[0].night).days), night.after, night.level_db)
        for night in told.nights
    ]
    return Seen(false, unflagged, missed, told.verdict == "quieter", oracle(values, rho))


def wrong_verdicts(change_db: float) -> frozenset[str]:
    """The verdicts that a change of that size makes false."""
    return frozenset({"noisier", "no change"} if change_db < -1.0 else {"quieter", "noisier"})


def oracle(nights: list[tuple[float, bool, float]], rho: float) -> bool:
    """Whether somebody who knows ρ, and has to find the scatter, calls these nights quieter on this morning."""
    day, after, level = (np.array(column, dtype=float) for column in zip(*nights, strict=True))
    apart = np.abs(np.subtract.outer(day, day))
    whiten = np.linalg.inv(np.linalg.cholesky(np.where(apart > 0, rho**apart, 1.0)))
    design = whiten @ np.column_stack([np.ones(len(day)), after])
    beta, squares, *_ = np.linalg.lstsq(design, whiten @ level, rcond=None)
    dof = len(day) - 2
    se = np.sqrt(float(squares[0]) / dof * np.linalg.inv(design.T @ design)[1, 1])
    return bool(beta[1] + se * student.isf(_level(int((after == 0).sum()), int(after.sum())) / 2, dof) < 0)


def _level(before: int, after: int) -> float:
    """Two-sided level due on that morning when every one may be looked at (Lan and DeMets, spent late)."""
    from scipy.stats import norm

    looks = range(FIRST_LOOK, after + 1)
    information = [1 / (1 / before + 1 / nights) for nights in looks]
    edges = boundaries(information, [spent_late(nights, 1 - CONFIDENCE) for nights in looks])
    return float(2 * norm.sf(edges[-1]))


def shares(cases: list[Seen]) -> dict[str, tuple[int, int, float, float]]:
    """By figure: how many, of how many, and Wilson's 95 % interval."""
    columns: dict[str, Callable[[Seen], bool | None]] = {
        "false": lambda seen: seen.false,
        "unflagged": lambda seen: seen.unflagged,
        "missed": lambda seen: seen.missed,
        "found": lambda seen: seen.found,
        "oracle": lambda seen: seen.oracle,
    }
    found = {}
    for name, what in columns.items():
        answers = [answer for seen in cases if (answer := what(seen)) is not None]
        low, high = proportion_confint(sum(answers), max(len(answers), 1), method="wilson")
        found[name] = (sum(answers), len(answers), float(low), float(high))
    return found


def line(case: Case, seen: list[Seen]) -> str:
    """The row of the table."""

    def shown(figure: tuple[int, int, float, float]) -> str:
        count, of, low, high = figure
        return f"{count} of {of} ({100 * low:.0f} to {100 * high:.0f} %)" if of else "—"

    told = shares(seen)
    power = [shown(told[name]) if truth_db(case) < 0 else "—" for name in ("found", "oracle")]
    cells = [
        case.name,
        case.audited or "—",
        *(shown(told[name]) for name in ("false", "unflagged", "missed")),
    ]
    return f"| {' | '.join(cells + power)} |"


HEAD = (
    "| case | audit: false; covered | a false verdict on any morning | unflagged | last interval misses | fix found "
    "| by the oracle |\n" + "| --- " * 7 + "|"
)


def lines(pool: Pool, campaigns: int, seed: int, only: str = "") -> Iterator[str]:
    """The rows of the table."""
    for case in CASES:
        if only in case.name:
            yield line(case, list(pool.imap(seen_in, [(case, number, seed) for number in range(campaigns)])))


if __name__ == "__main__":
    print_rows(__doc__, HEAD, lines, campaigns=40, seed=7)
