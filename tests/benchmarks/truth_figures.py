"""From the rows of all campaigns to the promised figures, each beside its target. Nothing is simulated here.

The campaign is the unit: cells of one campaign share its nights and its gain. A share has Wilson's interval at the
number of independent cells that would scatter as much as these do.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from scipy.stats import binom, norm, quantile_test
from statsmodels.stats.proportion import proportion_confint

from tests.benchmarks.campaigns import NIGHTS
from tests.benchmarks.judging import FixRow, GainRow, Row

Judged = TypeVar("Judged", Row, GainRow, FixRow)

FEWEST_CELLS = 30
"""Cells of a stratum below which its coverage says nothing."""
LEAST_FOUND = 0.9
"""Share of fixes to be found."""


@dataclass
class Results:
    """All rows of all campaigns."""

    rows: list[Row] = field(default_factory=list)
    gains: list[GainRow] = field(default_factory=list)
    fixes: list[FixRow] = field(default_factory=list)


@dataclass(frozen=True)
class Figure:
    """One line of the table: what is measured, what it must be, what it is, and how sure that is.

    `chance`: how often a program that just keeps the bound would come out as far beyond it or farther; 1 within.
    """

    name: str
    target: str
    value: str
    interval: str
    met: str
    number: float
    chance: float


@dataclass(frozen=True)
class Share:
    """A share of `count` cells, worth `independent` independent ones."""

    share: float
    count: int
    independent: float

    @property
    def interval(self) -> tuple[float, float]:
        """Wilson's interval, 95 %."""
        if not self.count:
            return float("nan"), float("nan")
        low, high = proportion_confint(self.share * self.independent, self.independent, method="wilson")
        return float(low), float(high)


def share_of(rows: Iterable[Judged], what: Callable[[Judged], bool | None]) -> Share:
    """Share of rows of which `what` holds; rows that say None do not count.

    Independent are as many as a binomial count needs to scatter like the campaigns do; as many as there are campaigns
    where all rows answer alike, so that their scatter tells nothing.
    """
    by_campaign: dict[int, list[bool]] = defaultdict(list)
    for row in rows:
        answer = what(row)
        if answer is not None:
            by_campaign[row.campaign].append(answer)
    counts = np.array([len(answers) for answers in by_campaign.values()], dtype=float)
    if not len(counts):
        return Share(float("nan"), 0, 0.0)
    sums = np.array([sum(answers) for answers in by_campaign.values()], dtype=float)
    share = float(sums.sum() / counts.sum())
    variance = float(((sums - share * counts) ** 2).sum()) / counts.sum() ** 2
    independent = share * (1 - share) / variance if variance > 0 else float(len(counts))
    return Share(share, int(counts.sum()), min(independent, float(counts.sum())))


def held_at_every_look(row: Row) -> bool | None:
    """Whether all intervals of the campaign held the truth: what an interval valid under looking promises.

    From the third night on they speak of all nights; a campaign of one or two nights has its last interval.
    """
    looks = [
        held for held in (row.covered[2:] if len(row.covered) > 2 else row.covered[-1:]) if held is not None
    ]
    return all(looks) if looks else None


def held_at_the_end(row: Row) -> bool | None:
    """Whether the last interval alone held the truth."""
    return row.covered[-1] if row.covered else None


def ever_wrong(row: Row) -> bool:
    """Whether any morning gave a wrong verdict."""
    return any(row.wrong)


def ever_decided(row: Row) -> bool:
    """Whether any morning gave a verdict."""
    return any(verdict != "undecided" for verdict in row.verdicts)


def first_verdict(row: Row) -> float:
    """The morning of the first verdict that speaks of all nights, counted in nights; infinite without one."""
    for morning, verdict in enumerate(row.verdicts, start=1):
        if verdict != "undecided" and morning >= 3:
            return float(morning)
    return float("inf")


def strata(rows: Sequence[Row]) -> dict[tuple[str, str], list[Row]]:
    """Rows by every value of every stratum."""
    found: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in rows:
        for key, value in row.stratum.items():
            found[key, value].append(row)
    return dict(sorted(found.items()))


def figures(found: Results) -> list[Figure]:
    """The table of the promised figures."""
    main = [row for row in found.rows if row.kind == "main"]
    gains = [row for row in found.gains if row.kind == "main"]
    decided = [row for row in main if ever_decided(row)]
    planted, clean = ([row for row in found.rows if row.overloaded == so] for so in (True, False))
    return [
        _bias("bias of S/N change", [(row.campaign, row.bias_db) for row in main if row.bias_db is not None]),
        _bias("bias of gain", [(row.campaign, row.error_db) for row in gains]),
        _covered("coverage of 95 % intervals, all looks together", share_of(main, held_at_every_look)),
        _covered(
            "coverage at the last look alone, 3 nights and more",
            share_of([row for row in main if len(row.covered) >= 3], held_at_the_end),
        ),
        *_worst_strata(main),
        _at_most("cells ever given a wrong verdict", share_of(main, ever_wrong), 0.05),
        _at_most("wrong among cells ever decided", share_of(decided, ever_wrong), 0.05),
        _nights([row for row in found.rows if row.kind in ("main", "race")]),
        _bias(
            "stopped at its first “stage”, under 2.5 dB: S/N change reads too large by",
            [(row.campaign, row.stopped_db) for row in main if row.stopped_db is not None],
            "0.3 dB, as is said beside it",
            0.4,
        ),
        *_fixes(found.fixes),
        _at_least("overload planted and flagged", share_of(planted, lambda row: row.flagged), 0.95),
        _at_most("overload flagged without it", share_of(clean, lambda row: row.flagged), 0.02),
    ]


def _within(value: float, low: float, high: float) -> str:
    if np.isnan(value):
        return "nothing to tell"
    return "met" if low <= value <= high else "not met"


def _share(
    name: str, target: str, told: Share, low: float, high: float, of: str = "cells", among: int = 1
) -> Figure:
    """A share between `low` and `high`; `among`: how many it is the worst of."""
    count = round(told.independent)
    right = round(told.share * told.independent) if told.count else 0
    beyond = 1.0
    if told.share < low:
        beyond = float(binom.cdf(right, count, low))
    elif told.share > high:
        beyond = float(binom.sf(right - 1, count, high))
    least, most = told.interval
    return Figure(
        name,
        target,
        f"{100 * told.share:.1f} % of {told.count} {of}",
        f"{100 * least:.1f} % to {100 * most:.1f} %",
        _within(told.share, low, high),
        told.share,
        min(beyond * among, 1.0),
    )


def _covered(name: str, told: Share, among: int = 1, where: str = "") -> Figure:
    return _share(name, "93 % to 98 %", told, 0.93, 0.98, f"cells{where}", among)


def _at_most(name: str, told: Share, most: float, of: str = "cells") -> Figure:
    return _share(name, f"at most {100 * most:g} %", told, 0.0, most, of)


def _at_least(name: str, told: Share, least: float, of: str = "cells") -> Figure:
    return _share(name, f"at least {100 * least:g} %", told, least, 1.0, of)


def _bias(
    name: str, errors: Sequence[tuple[int, float]], target: str = "within ±0.1 dB", bound: float = 0.1
) -> Figure:
    """Mean over cells, its error from the campaigns."""
    if not errors:
        return Figure(name, target, "—", "—", "nothing to tell", float("nan"), 1.0)
    value = np.array([error for _, error in errors])
    campaign = np.unique([number for number, _ in errors], return_inverse=True)[1]
    mean = float(value.mean())
    se = float(np.sqrt((np.bincount(campaign, value - mean) ** 2).sum()) / len(value))
    low, high = mean - 1.96 * se, mean + 1.96 * se
    beyond = float(2 * norm.sf((abs(mean) - bound) / max(se, 1e-9))) if abs(mean) > bound else 1.0
    return Figure(
        name,
        target,
        f"{mean:+.3f} dB",
        f"{low:+.3f} to {high:+.3f} dB",
        _within(mean, -bound, bound),
        mean,
        beyond,
    )


def _worst_strata(main: Sequence[Row]) -> list[Figure]:
    told = {key: share_of(rows, held_at_every_look) for key, rows in strata(main).items()}
    enough = {key: each for key, each in told.items() if each.count >= FEWEST_CELLS}
    table = []
    for word, choose in (("lowest", min), ("highest", max)):
        name = f"{word} coverage in a stratum, all looks"
        if not enough:
            table.append(_covered(name, Share(float("nan"), 0, 0.0)))
            continue
        key = choose(enough, key=lambda each: enough[each].share)
        table.append(_covered(name, enough[key], len(enough), f" ({': '.join(key)})"))
    return table


def _nights(rows: Sequence[Row]) -> Figure:
    """Nights to a verdict against the fixed z test, where that needs 6 nights or more and the campaign had the time."""
    name, target = "median nights to a verdict, against the fixed z test", "at most 1.6 ×"
    longest = max(NIGHTS)
    ratios = [
        first_verdict(row) / row.fixed_nights
        for row in rows
        if row.stratum["nights"] == str(longest) and 6 <= row.fixed_nights <= longest / 1.6
    ]
    if not ratios:
        return Figure(name, target, "—", "—", "nothing to tell", float("nan"), 1.0)
    median = float(np.median(ratios))
    test = quantile_test(ratios, q=1.6, p=0.5, alternative="greater")
    low, high = quantile_test(ratios, p=0.5).confidence_interval(0.95)
    value = f"{median:.2f} × ({len(ratios)} cells, {sum(np.isinf(ratios))} without a verdict)"
    beyond = float(test.pvalue) if median > 1.6 else 1.0
    return Figure(name, target, value, f"{low:.2f} to {high:.2f} ×", _within(median, 0, 1.6), median, beyond)


def _fixes(fixes: Sequence[FixRow]) -> list[Figure]:
    def quieter(row: FixRow) -> bool:
        return row.verdict == "quieter"

    table = []
    for spread in sorted({row.stratum["night to night"] for row in fixes}):
        rows = [row for row in fixes if row.kind == "fix" and row.stratum["night to night"] == spread]
        name = f"3 dB fix over 7 + 7 nights found, nights differing by {spread}"
        table.append(_at_least(name, share_of(rows, quieter), LEAST_FOUND, "campaigns"))
    rows = [row for row in fixes if row.kind == "no fix"]
    table.append(_at_most("“quieter” without a fix", share_of(rows, quieter), 0.025, "campaigns"))
    held = share_of(fixes, lambda row: row.covered)
    name = "coverage of the change, looked at once"
    table.append(_share(name, "93 % or more", held, 0.93, 1.0, "campaigns"))
    return table
