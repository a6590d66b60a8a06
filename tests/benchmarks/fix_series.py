"""How often a fix of 3 dB is found, and one that was not made, from series of nights without the rest of the program.

    python -m tests.benchmarks.fix_series [--campaigns 150] [--seed 3] [--only WORD]

Five bands whose nights differ by 3 dB, half of the variance in common, as `fix_rows` has them; only what turns nights
into a change runs, so that many campaigns can be drawn. Found: all bands together are called quieter on the last
morning; the oracle is that of `fix_rows`. False: any band, or all together, is called quieter or noisier on any
morning without a fix; unflagged: without a word of a trend beside it. Wilson's intervals.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.pool import Pool

import numpy as np
from statsmodels.stats.proportion import proportion_confint

from sweeper.analysis.arrays import Floats
from sweeper.analysis.change.before_after import BeforeAfter, MatchedNights, before_after, shared_dependence
from sweeper.analysis.statistics.dependent_nights import NightlySeries
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK
from sweeper.analysis.verdict.judge import allowed_level
from tests.benchmarks.campaigns import CONFIDENCE
from tests.benchmarks.fix_rows import BANDS, oracle
from tests.benchmarks.printed_rows import print_rows

ALPHA = 1.0 - CONFIDENCE
FIX_DB = 3.0
NIGHT_SD_DB = 3.0


@dataclass(frozen=True)
class Case:
    """So many nights before and after, the correlation of neighbours and the trend, dB a night."""

    nights: int
    rho: float = 0.0
    trend_db: float = 0.0

    @property
    def name(self) -> str:
        trend = f", trend {self.trend_db:g} dB a night" if self.trend_db else ""
        return f"{self.nights} + {self.nights} nights, AR(1) {self.rho:g}{trend}"


CASES = (
    *(Case(nights, rho) for nights in (7, 14) for rho in (0.0, 0.3, 0.6)),
    Case(14, trend_db=0.1),
    Case(14, trend_db=0.2),
)


def spell(rng: np.random.Generator, nights: int, rho: float) -> Floats:
    """An autoregression of first order, dB, shape (nights,)."""
    values = rng.normal(0.0, NIGHT_SD_DB * np.sqrt(0.5), nights)
    for night in range(1, nights):
        values[night] = rho * values[night - 1] + np.sqrt(1.0 - rho**2) * values[night]
    return values


def change_on(day: Floats, value: Floats, alike_to: list[Floats]) -> BeforeAfter:
    """The change of `value`, with what all the series tell of nights."""
    after = day >= 0.0
    design = np.column_stack([np.ones(len(day)), after])

    def matched(values: Floats) -> MatchedNights:
        series = NightlySeries(day, values, design)
        return MatchedNights(series, int((~after).sum()), int(after.sum()), False, True, True)

    return before_after(matched(value), shared_dependence([matched(each) for each in alike_to]), ALPHA)


def called(change: BeforeAfter) -> bool:
    """Whether the interval leaves out no change at all."""
    interval = change.estimate.interval(change.level) if change.estimate else None
    return interval is not None and (interval.high < 0.0 or interval.low > 0.0)


def false_on(day: Floats, bands: list[Floats]) -> tuple[bool, bool]:
    """Whether this morning anything is called changed, and whether without a word of a trend."""
    changes = [change_on(day, each, bands) for each in bands]
    chances = [
        1.0 if each.estimate is None else min(ALPHA * each.estimate.level_beyond(0.0) / each.level, 1.0)
        for each in changes
    ]
    bearable = allowed_level(chances, ALPHA / 2.0)
    told = [
        each for each, chance in zip(changes, chances, strict=True) if called(each) and chance <= bearable
    ]
    whole = change_on(day, np.mean(bands, axis=0), bands)
    told += [whole] if called(whole) else []
    return bool(told), any(each.trend_db is None and each.leaning_db is None for each in told)


def seen_in(asked: tuple[Case, int, int]) -> tuple[bool, bool, bool, bool]:
    """Of one campaign: found, found by the oracle, false on any morning, unflagged."""
    case, number, seed = asked
    rng = np.random.default_rng((seed, case.nights, int(10 * case.rho), int(100 * case.trend_db), number))
    day = np.arange(2.0 * case.nights) - case.nights
    common = spell(rng, len(day), case.rho)
    bands = [common + spell(rng, len(day), case.rho) + case.trend_db * day for _ in range(BANDS)]
    fixed = [each - FIX_DB * (day >= 0.0) for each in bands]
    whole = np.mean(fixed, axis=0)
    change = change_on(day, whole, fixed)
    nights = [(float(when), bool(when >= 0), float(level)) for when, level in zip(day, whole, strict=True)]
    mornings = [
        false_on(day[:last], [each[:last] for each in bands])
        for last in range(case.nights + FIRST_LOOK, len(day) + 1)
    ]
    return (
        called(change) and change.estimate is not None and change.estimate.value < 0.0,
        oracle(nights, case.rho),
        any(false for false, _ in mornings),
        any(unflagged for _, unflagged in mornings),
    )


HEAD = (
    "| nights | fix found | by the oracle | a false verdict on any morning | unflagged |\n"
    + "| --- " * 5
    + "|"
)


def lines(pool: Pool, campaigns: int, seed: int, only: str = "") -> Iterator[str]:
    """The rows of the table."""
    for case in CASES:
        if only not in case.name:
            continue
        seen = list(pool.imap(seen_in, [(case, number, seed) for number in range(campaigns)]))
        shares = []
        for column in zip(*seen, strict=True):
            low, high = proportion_confint(sum(column), len(column), method="wilson")
            shares.append(f"{100 * sum(column) / len(column):.0f} % ({100 * low:.0f} to {100 * high:.0f} %)")
        yield f"| {case.name} | {' | '.join(shares)} |"


if __name__ == "__main__":
    print_rows(__doc__, HEAD, lines, campaigns=150, seed=3)
