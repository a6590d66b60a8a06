"""When a source runs: by the hour of the day, on which days, with the sun, and what notes say.

Every pass that listened to one of its bands is a look, with it or without. Whether hours differ beyond chance: each
day's looks are turned round by a random time of day, which keeps how long it runs at a stretch; the share of turned
records that differ as much by hour is the chance.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

import numpy as np
from numpy.typing import NDArray

from sweeper.noise.seen import Heard
from sweeper.noise.sources import Source

FEWEST_DAYS = 3
DRAWS = 400
CHANCE = 0.01
MOSTLY = 0.5
"""Share of looks from which on an hour belongs to the hours in which it runs."""
CLEARLY = 0.4
"""Difference between shares of looks, of working days and weekends or with and without sun, that is worth telling."""
BESIDE_NOTE = timedelta(hours=3)
NEARLY_ALWAYS = 0.9
"""Share of looks from which on it is said to run at all hours; a pass may miss what is there."""
A_HANDFUL = 5
"""Of so many passes one may have missed it."""


@dataclass(frozen=True, slots=True)
class Rhythm:
    """`looks` and `with_it`: passes. `by_hour`: share of looks with it in each local hour, NaN where there were none.
    `from_h`, `to_h`: the hours in which it mostly runs, local; None where no rhythm is beyond chance.
    `words`: what there is to say of it, sentences without the source's name. `briefly`: when it runs, in a few words.
    """

    looks: int
    with_it: int
    by_hour: tuple[float, ...]
    from_h: int | None
    to_h: int | None
    words: tuple[str, ...]
    briefly: str


def rhythm(
    source: Source,
    heard: Iterable[Heard],
    zone: tzinfo,
    sun_is_up: Callable[[datetime], bool] | None = None,
    notes: Sequence[tuple[datetime, str]] = (),
) -> Rhythm:
    """When `source` ran, of all that was heard. `zone`: of the station's clock."""
    bands, passes = set(source.bands), source.passes
    looks: dict[int, tuple[datetime, bool]] = {}
    for one in heard:
        if one.band in bands and (source.kind != "mains" or one.mains_read):
            at = datetime.fromtimestamp(one.time, UTC).astimezone(zone)
            looks[one.pass_number] = (at, one.pass_number in passes)
    order = sorted(looks.values())
    times, on = [at for at, _ in order], np.array([there for _, there in order], bool)
    hours = np.array([at.hour for at in times], int)
    by_hour = _by_hour(hours, on)
    days = np.array([at.date().toordinal() for at in times], int)
    words: list[str] = []
    from_h = to_h = None
    if len(np.unique(days)) >= FEWEST_DAYS and _chance(hours, days, on) <= CHANCE:
        from_h, to_h = _stretch(by_hour)
        words.append(f"It mostly runs from {from_h} to {to_h} o'clock.")
    words += _week(times, on)
    if sun_is_up is not None:
        words += _sun(np.array([sun_is_up(at) for at in times], bool), on, len(np.unique(days)))
    words += _beside_notes(times, on, notes)
    if from_h is not None:
        briefly = f"from {from_h} to {to_h} o'clock"
    elif on.mean() >= NEARLY_ALWAYS:
        briefly = "at all hours"
    else:
        briefly = _once(times, on) or "it comes and goes"
    return Rhythm(len(on), int(on.sum()), tuple(by_hour), from_h, to_h, tuple(words), briefly)


def _by_hour(hours: NDArray[np.int_], on: NDArray[np.bool_]) -> list[float]:
    return [float(on[hours == hour].mean()) if (hours == hour).any() else float("nan") for hour in range(24)]


def _chance(hours: NDArray[np.int_], days: NDArray[np.int_], on: NDArray[np.bool_]) -> float:
    """How often looks of turned days differ by hour as much as the true ones."""
    dice = np.random.default_rng(20_261_127)
    turned = np.empty((1 + DRAWS, len(on)))
    turned[0] = on
    for day in np.unique(days):
        part = np.flatnonzero(days == day)
        by = dice.integers(len(part), size=DRAWS)
        turned[1:, part] = on[part][(np.arange(len(part)) - by[:, None]) % len(part)]
    in_hour = (hours[:, None] == np.unique(hours)).astype(float)
    spread = np.var(turned @ in_hour / in_hour.sum(axis=0), axis=1)
    return float(1 + np.sum(spread[1:] >= spread[0] - 1e-12)) / (1 + DRAWS)


def _stretch(by_hour: Sequence[float]) -> tuple[int, int]:
    """The longest run of hours, over midnight too, in which it mostly runs: its first hour and the end of its last."""
    limit = MOSTLY * max(share for share in by_hour if not np.isnan(share))
    high = [not np.isnan(share) and share >= limit for share in by_hour]
    if all(high):
        return 0, 24
    best = (0, 0)
    for first in range(24):
        length = 0
        while length < 24 and high[(first + length) % 24]:
            length += 1
        best = max(best, (length, -first))
    return -best[1], (-best[1] + best[0] - 1) % 24 + 1


def _once(times: Sequence[datetime], on: NDArray[np.bool_]) -> str:
    """When it was there, if that was one stretch of looks; one pass in ten of it may have missed it, and one of a
    handful. Empty else.
    """
    there = np.flatnonzero(on)
    stretch = on[there[0] : there[-1] + 1]
    but_for_one = len(stretch) >= A_HANDFUL and stretch.sum() >= len(stretch) - 1
    nearly_all = but_for_one or stretch.sum() >= NEARLY_ALWAYS * len(stretch)
    if len(stretch) == 1 or not nearly_all or (~stretch[:-1] & ~stretch[1:]).any():
        return ""
    first, last = times[there[0]], times[there[-1]]
    if (last - first) >= timedelta(days=1):
        return f"from {first.day} {first:%B} to {last.day} {last:%B}"
    return f"once, from {first:%H:%M} to {last:%H:%M}"


def _week(times: Sequence[datetime], on: NDArray[np.bool_]) -> list[str]:
    """Working days and weekends compared by days (Fisher's exact test): what runs all evening is one event."""
    shares: dict[bool, dict[int, list[bool]]] = {True: {}, False: {}}
    for at, there in zip(times, on, strict=True):
        shares[at.isoweekday() >= 6].setdefault(at.date().toordinal(), []).append(bool(there))
    weekend, working = ([any(each) for each in shares[kind].values()] for kind in (True, False))
    if len(weekend) < 4 or len(working) < 4:
        return []
    apart = float(np.mean(weekend) - np.mean(working))
    if abs(apart) < CLEARLY:
        return []
    from scipy.stats import fisher_exact  # slow to load

    table = np.array([[sum(days), len(days) - sum(days)] for days in (weekend, working)])
    if fisher_exact(table).pvalue > CHANCE:
        return []
    more, less = ("weekends", "working days") if apart > 0 else ("working days", "weekends")
    shown = sorted((float(np.mean(weekend)), float(np.mean(working))), reverse=True)
    return [f"It runs on {shown[0]:.0%} of {more} and {shown[1]:.0%} of {less}, so people rule it."]


def _sun(up: NDArray[np.bool_], on: NDArray[np.bool_], days: int) -> list[str]:
    if days < FEWEST_DAYS or up.all() or not up.any() or on.sum() < 5:
        return []
    by_day, by_night = float(on[up].mean()), float(on[~up].mean())
    if by_day >= 0.7 and by_night <= 0.05:
        return [
            f"It is there in {by_day:.0%} of looks while the sun is up and {by_night:.0%} while it is down: the "
            "inverter or controller of a solar plant would be."
        ]
    return []


def _beside_notes(
    times: Sequence[datetime], on: NDArray[np.bool_], notes: Sequence[tuple[datetime, str]]
) -> list[str]:
    """Notes beside which it came or went: a hint, since much else changes at such times."""
    words = []
    for at, text in notes:
        before = [there for time, there in zip(times, on, strict=True) if at - BESIDE_NOTE <= time < at]
        after = [there for time, there in zip(times, on, strict=True) if at <= time < at + BESIDE_NOTE]
        if min(len(before), len(after)) < 4:
            continue
        if np.mean(before) <= 0.1 and np.mean(after) >= 0.9:
            words.append(f"It came when you noted “{text}”.")
        elif np.mean(before) >= 0.9 and np.mean(after) <= 0.1:
            words.append(f"It went when you noted “{text}”.")
    return words
