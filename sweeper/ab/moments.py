"""When the chain was switched, found in the level of the noise over time; beyond what fading and AGC do.

A switch moves the noise within a tenth of a second, by the same amount each time, to and fro. Fading moves signals, not
noise; where an AGC hands it on to the noise, steps come in all sizes. So edges are local maxima of the difference
of medians over 0.6 s to both sides, in one cluster of sizes, alternating in sign, and little else of such size. Rather
none than a wrong one. Numbers only.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WINDOW_S, GAP_S = 0.6, 0.1
LEAST_STEP_DB = 2.0
SIZES = 1.45
"""Steps of one switch are alike within this factor, and 1.2 dB."""
SIZES_DB = 1.2
FEWEST = 3
LONGEST_BREAK_S = 0.7
LONGEST_BURST_S = 1.0
STRAYS, STRAY_SIZE = 0.15, 0.4
"""Share of other steps, of this share of the size on, up to which the edges are believed."""
MOST_WANDER = 0.5
"""Of the size of its steps the noise may move by this share between them."""
SHARP_S, SHARP = 0.2, 0.6
"""Over so short a window an edge shows this share of its size; what fading does takes longer."""


@dataclass(frozen=True, slots=True)
class Moment:
    """An edge: when, and by how much the noise rose, dB."""

    at_s: float
    step_db: float


@dataclass(frozen=True, slots=True)
class Turning:
    """Seconds beside an edge that tell nothing of either route; 0 where nothing shows of it.

    `break_s`: on the quieter route's side the receiver is without antenna. `before_s`, `after_s`: the switch itself is
    heard (a thump, crackle).
    """

    break_s: float = 0.0
    before_s: float = 0.0
    after_s: float = 0.0

    def beside(self, rises: bool) -> tuple[float, float]:
        """Seconds to leave out before and after an edge at which the noise rises, or falls."""
        return self.before_s + self.break_s * rises, self.after_s + self.break_s * (not rises)


@dataclass(frozen=True, slots=True)
class Marks:
    """Edges found. `step_db`: their common size. `why_not`: why there are none, for a person; empty if there are."""

    moments: tuple[Moment, ...]
    step_db: float
    why_not: str = ""


def differences(level_db: Floats, every_s: float, window_s: float = WINDOW_S, gap_s: float = GAP_S) -> Floats:
    """Median after minus median before, at the boundary before each value; shape (n,), 0 near the ends."""
    count, gap = max(round(window_s / every_s), 2), round(gap_s / every_s / 2.0)
    found = np.zeros(len(level_db))
    if len(level_db) < 2 * (count + gap) + 1:
        return found
    medians = np.median(np.lib.stride_tricks.sliding_window_view(level_db, count), axis=1)
    at = np.arange(count + gap, len(level_db) - count - gap + 1)
    found[at] = medians[at + gap] - medians[at - gap - count]
    return found


def turning(floor_db: Floats, total_db: Floats, every_s: float, edges: Sequence[Moment]) -> Turning:
    """What the turning of the switch itself does to the levels beside the edges that were seen.

    A break is quieter than either route, so the step that is seen lies between it and the noisier route, and the break
    on the quieter one's side. What is heard of the switch after an edge is heard at steps up and at steps down; what an
    AGC overshoots is at one of them only. Before an edge there is some of it where the edge was placed late.
    """

    def longest(sides: Sequence[tuple[Moment, bool]], sign: float, within_s: float) -> float:
        return max(_unlike_s(level, every_s, sides, sign, within_s) for level in (floor_db, total_db))

    ups, downs = ([edge for edge in edges if (edge.step_db > 0.0) == up] for up in (True, False))
    before, after = (
        [longest([(edge, side) for edge in part], 1.0, LONGEST_BURST_S) for part in (ups, downs)]
        for side in (True, False)
    )
    quieter = [(edge, edge.step_db > 0.0) for edge in edges]
    return Turning(longest(quieter, -1.0, LONGEST_BREAK_S), max(before), min(after))


def _unlike_s(
    level: Floats, every_s: float, sides: Sequence[tuple[Moment, bool]], sign: float, longest_s: float
) -> float:
    """How far from the edges on the level differs from the second beyond `longest_s`, in the direction of `sign`.

    `sides`: edges, each with whether the values before it are meant. As long as the median over the edges differs by
    more than its error and 0.5 dB, a single value aside: what differs only further away is fading, which with few edges
    does so by chance. Digital silence is quieter than anything.
    """
    longest, beyond = round(longest_s / every_s), round(1.0 / every_s)
    heard = np.where(np.isfinite(level), level, -300.0)
    rows = []
    for edge, before in sides:
        place = round(edge.at_s / every_s)
        side = heard[:place][::-1] if before else heard[place:]
        if len(side) >= longest + beyond:
            rows.append(sign * (side[:longest] - np.median(side[longest : longest + beyond])))
    if len(rows) < FEWEST:
        return 0.0
    table = np.asarray(rows)
    middle = np.median(table, axis=0)
    error = 1.86 * np.median(np.abs(table - middle), axis=0) / np.sqrt(len(table))
    unlike = np.append(middle > np.maximum(0.5, 3.0 * error), [False, False])
    alike = int(np.argmin(unlike[:-1] | unlike[1:]))  # the first of two that do not
    return float(alike) * every_s


def moments(level_db: Floats, every_s: float, start_s: float = 0.0) -> Marks:
    """Edges in levels of the noise, dB, one each `every_s` seconds, the first one beginning at `start_s`."""
    level = np.where(
        np.isfinite(level_db), level_db, np.nanmin(np.where(np.isfinite(level_db), level_db, 1e9))
    )
    step = differences(level, every_s)
    size = np.abs(step)
    reach = max(round((WINDOW_S + GAP_S) / every_s), 1)
    peaks = _peaks(size, reach)
    quiet = float(np.quantile(size, 0.25)) / 0.319 if len(size) else 0.0
    peaks = peaks[size[peaks] > max(1.0, 4.0 * quiet)]
    at_once = differences(level, every_s, SHARP_S)
    sharp = _around(at_once, step, peaks, round(0.3 / every_s))
    slow, peaks = peaks[sharp < SHARP * size[peaks]], peaks[sharp >= SHARP * size[peaks]]
    if not len(peaks):
        return Marks((), 0.0, "the noise shows no steps")
    chosen = _alike(step, peaks)
    typical = float(np.median(size[chosen])) if len(chosen) else 0.0
    if len(chosen) < FEWEST:
        return Marks((), typical, "the noise shows no steps that are alike and go to and fro")
    if typical < LEAST_STEP_DB:
        return Marks((), typical, f"its steps are only {typical:.1f} dB")
    if _wander(level, chosen, every_s) > MOST_WANDER * typical:
        return Marks((), typical, "between its steps the noise moves as much as at them")
    others = np.concatenate([np.setdiff1d(peaks, chosen), slow])
    strays = int(np.sum(size[others] > STRAY_SIZE * typical))
    if strays > STRAYS * len(chosen):
        return Marks((), typical, "the noise moves as much by itself as it may have by switching")
    found = []
    for place in chosen:
        at = _refined(level, int(place), reach)
        found.append(Moment(start_s + at * every_s, float(step[place])))
    return Marks(tuple(found), typical)


def _peaks(size: Floats, reach: int) -> NDArray[np.int64]:
    """Places that are the largest within ±`reach`."""
    if len(size) < 2 * reach + 1:
        return np.zeros(0, np.int64)
    padded = np.pad(size, reach)
    highest = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1).max(axis=1)
    places = np.flatnonzero((size == highest) & (size > 0.0))
    kept: list[int] = []
    for place in places:
        if not kept or place - kept[-1] > reach:
            kept.append(int(place))
    return np.array(kept, np.int64)


def _wander(level: Floats, edges: NDArray[np.int64], every_s: float) -> float:
    """How far the level, smoothed over 0.25 s, moves between edges: median over the stays of their 80 % range, dB."""
    smooth = max(round(0.25 / every_s), 1)
    ranges = []
    for part in np.split(level, edges):
        if len(part) >= 3 * smooth:
            means = part[: len(part) // smooth * smooth].reshape(-1, smooth).mean(axis=1)
            low, high = np.quantile(means, [0.1, 0.9])
            ranges.append(float(high - low))
    return float(np.median(ranges)) if ranges else 0.0


def _around(at_once: Floats, step: Floats, peaks: NDArray[np.int64], reach: int) -> Floats:
    """The largest short difference near each peak, in the direction of its step."""
    found = [
        float(np.max(at_once[max(peak - reach, 0) : peak + reach + 1] * np.sign(step[peak])))
        for peak in peaks
    ]
    return np.array(found)


def _alike(step: Floats, peaks: NDArray[np.int64]) -> NDArray[np.int64]:
    """The largest set of peaks of like size whose signs alternate, those that do not left aside."""
    sizes = np.abs(step[peaks])
    best = np.zeros(0, np.int64)
    for middle in np.unique(np.round(sizes, 1)):
        margin = max(SIZES_DB, middle * (SIZES - 1.0))
        here = peaks[np.abs(sizes - middle) <= margin]
        kept: list[int] = []
        wrong = 0
        for place in here:
            if kept and np.sign(step[place]) == np.sign(step[kept[-1]]):
                wrong += 1
                if abs(step[place]) > abs(step[kept[-1]]):
                    kept[-1] = int(place)
            else:
                kept.append(int(place))
        larger = not len(best) or middle > float(np.median(np.abs(step[best])))
        if wrong <= STRAYS * max(len(kept), 1) and (
            len(kept) > len(best) or (len(kept) == len(best) and larger)
        ):
            best = np.array(kept, np.int64)
    return best


def _refined(level: Floats, place: int, reach: int) -> int:
    """Where one step explains the levels around best: least squares of two means."""
    low, high = max(place - reach, 0), min(place + reach, len(level))
    part = level[low:high]
    if len(part) < 4:
        return place
    sums, squares = np.cumsum(part), np.cumsum(part**2)
    cut = np.arange(1, len(part))
    before = squares[cut - 1] - sums[cut - 1] ** 2 / cut
    after = (squares[-1] - squares[cut - 1]) - (sums[-1] - sums[cut - 1]) ** 2 / (len(part) - cut)
    return low + int(cut[int(np.argmin(before + after))])
