"""From the rows of all campaigns to the promised figures, each beside its target. Nothing is simulated here."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from tests.benchmarks.campaigns import NIGHTS
from tests.benchmarks.judging import FixRow, GainRow, Row


@dataclass
class Results:
    """All rows of all campaigns."""

    rows: list[Row] = field(default_factory=list)
    gains: list[GainRow] = field(default_factory=list)
    fixes: list[FixRow] = field(default_factory=list)


@dataclass(frozen=True)
class Figure:
    """One line of the table: what is measured, what it must be, what it is, and whether that will do."""

    name: str
    target: str
    value: str
    met: str
    number: float


def rate(rows: Iterable[Row], what: Callable[[Row], bool | None]) -> tuple[float, float, int]:
    """Share of rows of which `what` holds, its standard error clustered by campaign, and how many rows said."""
    by_campaign: dict[int, list[bool]] = defaultdict(list)
    for row in rows:
        answer = what(row)
        if answer is not None:
            by_campaign[row.campaign].append(answer)
    counts = np.array([len(answers) for answers in by_campaign.values()], dtype=float)
    if not len(counts):
        return float("nan"), float("nan"), 0
    sums = np.array([sum(answers) for answers in by_campaign.values()], dtype=float)
    share = float(sums.sum() / counts.sum())
    error = float(np.sqrt(((sums - share * counts) ** 2).sum()) / counts.sum())
    return share, error, int(counts.sum())


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


def within(value: float, error: float, low: float, high: float) -> str:
    """``met``, ``met within error`` (two standard errors), or ``not met``."""
    if low <= value <= high:
        return "met"
    return "met within error" if low - 2 * error <= value <= high + 2 * error else "not met"


def figures(found: Results) -> list[Figure]:
    """The table of the promised figures."""
    main = [row for row in found.rows if row.kind == "main"]
    whole = [row for row in main if len(row.covered) >= 3]
    table: list[Figure] = []
    bias = np.array([row.bias_db for row in main if row.bias_db is not None])
    by_campaign: dict[int, list[float]] = defaultdict(list)
    for row in main:
        if row.bias_db is not None:
            by_campaign[row.campaign].append(row.bias_db)
    error = float(
        np.std([np.mean(each) for each in by_campaign.values()]) / np.sqrt(max(len(by_campaign), 1))
    )
    table.append(
        Figure(
            "bias of S/N change",
            "within ±0.1 dB",
            f"{bias.mean():+.3f} dB (±{2 * error:.3f})",
            within(float(bias.mean()), error, -0.1, 0.1),
            float(bias.mean()),
        )
    )
    gain = np.array([row.error_db for row in found.gains if row.kind == "main"])
    error = float(gain.std() / np.sqrt(len(gain)))
    table.append(
        Figure(
            "bias of gain",
            "within ±0.1 dB",
            f"{gain.mean():+.3f} dB (±{2 * error:.3f})",
            within(float(gain.mean()), error, -0.1, 0.1),
            float(gain.mean()),
        )
    )
    for name, rows, what in (
        ("coverage of 95 % intervals, all looks together", main, held_at_every_look),
        ("coverage at the last look alone, 3 nights and more", whole, held_at_the_end),
    ):
        share, error, count = rate(rows, what)
        table.append(_share(name, "93 % to 98 %", share, error, count, 0.93, 0.98))
    worst = [(rate(rows, held_at_every_look), key) for key, rows in strata(main).items()]
    worst = [each for each in worst if each[0][2] >= 30]
    for word, ((share, error, count), key) in (("lowest", min(worst)), ("highest", max(worst))):
        name = f"{word} coverage in a stratum, all looks ({': '.join(key)})"
        table.append(_share(name, "93 % to 98 %", share, error, count, 0.93, 0.98))
    share, error, count = rate(main, ever_wrong)
    table.append(_share("cells ever given a wrong verdict", "at most 5 %", share, error, count, 0.0, 0.05))
    share, error, count = rate([row for row in main if ever_decided(row)], ever_wrong)
    table.append(_share("wrong among cells ever decided", "at most 5 %", share, error, count, 0.0, 0.05))
    table.append(_nights([row for row in found.rows if row.kind in ("main", "race")]))
    table += _fixes(found.fixes)
    planted = [row for row in found.rows if row.overloaded]
    share, error, count = rate(planted, lambda row: row.flagged)
    table.append(_share("overload planted and flagged", "at least 95 %", share, error, count, 0.95, 1.0))
    share, error, count = rate([row for row in found.rows if not row.overloaded], lambda row: row.flagged)
    table.append(_share("overload flagged without it", "at most 2 %", share, error, count, 0.0, 0.02))
    return table


def _share(name: str, target: str, share: float, error: float, count: int, low: float, high: float) -> Figure:
    value = f"{100 * share:.1f} % (±{200 * error:.1f}, {count} cells)"
    return Figure(name, target, value, within(share, error, low, high) if count else "nothing to tell", share)


def _nights(rows: Sequence[Row]) -> Figure:
    """Nights to a verdict against the fixed z test, where that needs 6 nights or more and the campaign had the time."""
    longest = max(NIGHTS)
    ratios = [
        first_verdict(row) / row.fixed_nights
        for row in rows
        if row.stratum["nights"] == str(longest) and 6 <= row.fixed_nights <= longest / 1.6
    ]
    median = float(np.median(ratios)) if ratios else float("nan")
    met = "met" if median <= 1.6 else "not met" if ratios else "nothing to tell"
    value = f"{median:.2f} × ({len(ratios)} cells, {sum(np.isinf(ratios))} without a verdict)"
    return Figure("median nights to a verdict, against the fixed z test", "at most 1.6 ×", value, met, median)


def _fixes(fixes: Sequence[FixRow]) -> list[Figure]:
    table = []
    for spread in sorted({row.stratum["night to night"] for row in fixes}):
        rows = [row for row in fixes if row.kind == "fix" and row.stratum["night to night"] == spread]
        share = float(np.mean([row.verdict == "quieter" for row in rows]))
        value = f"{100 * share:.0f} % of {len(rows)} campaigns"
        met = "met" if share >= 0.9 else "not met"
        table.append(
            Figure(
                f"3 dB fix over 7 + 7 nights found, nights differing by {spread}",
                "at least 90 %",
                value,
                met,
                share,
            )
        )
    rows = [row for row in fixes if row.kind == "no fix"]
    share = float(np.mean([row.verdict == "quieter" for row in rows]))
    value = f"{100 * share:.1f} % of {len(rows)} campaigns"
    table.append(
        Figure(
            "“quieter” without a fix", "at most 2.5 %", value, "met" if share <= 0.025 else "not met", share
        )
    )
    held = [row.covered for row in fixes if row.covered is not None]
    value = f"{100 * np.mean(held):.1f} % of {len(held)} campaigns"
    table.append(
        Figure(
            "coverage of the change, looked at once",
            "93 % or more",
            value,
            "met" if np.mean(held) >= 0.93 else "not met",
            float(np.mean(held)),
        )
    )
    return table
