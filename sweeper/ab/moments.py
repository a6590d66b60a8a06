"""When the chain was switched, found in the level of the noise over time; beyond what fading and AGC do.

A switch moves the noise within a tenth of a second, by the same amount each time, to and fro. Fading moves signals, not
noise; where an AGC hands it on to the noise, steps come in all sizes. So edges are local maxima of the difference
of medians over 0.6 s to both sides, in one cluster of sizes, alternating in sign, and little else of such size. Rather
none than a wrong one. Numbers only.
"""

from collections.abc import Hashable, Sequence
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
COMING_S, BLOCK_S, REST_S = 6.0, 0.1, 0.5
"""How far after an edge the noise is watched, in what blocks; and the end of a stay by which it has come to rest."""
COMING_DB = 0.15
"""Nearer than this to where it comes to rest it counts as there."""
COMING_REST = 1.3
"""So much longer it is given: from 0.15 dB to 0.05 dB, where it comes up as a capacitor is charged."""
FEWEST_COMING = 5
"""With fewer edges of a direction, noise that wanders would pass for it."""
COMING_SHARE = 0.6
"""What takes up more of a stay than this has not come to rest at its end either."""
NEVER_AT_REST = (
    "after the stage is switched the noise goes on rising or falling until the next time, so that one of the routes is "
    "never heard at rest; leave each for longer, and let the stage's supply stay on while only its relay moves"
)
"""For a person, where `Turning.coming_s` is infinite: a clause without capital or full stop."""
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
    heard (a thump, crackle). `up_s`, `down_s`: after a step up, or down, the noise goes on the same way for so long: a
    stage that comes up after it is switched in, its supply switched with it. Infinite where it goes on to the end.
    """

    break_s: float = 0.0
    before_s: float = 0.0
    after_s: float = 0.0
    up_s: float = 0.0
    down_s: float = 0.0

    def beside(self, rises: bool) -> tuple[float, float]:
        """Seconds to leave out before and after an edge at which the noise rises, or falls."""
        coming_s = self.up_s if rises else self.down_s
        return self.before_s + self.break_s * rises, max(self.after_s + self.break_s * (not rises), coming_s)

    @property
    def coming_s(self) -> float:
        """How long one of the routes takes to come to rest after it is chosen."""
        return max(self.up_s, self.down_s)

    @property
    def apart_s(self) -> float:
        """How far the sides of an edge may lie apart: one that takes over a second is not compared, if the other way
        is quicker; its fading would count for more than the stage."""
        if self.coming_s <= LONGEST_BURST_S:
            return np.inf
        return sum(self.beside(self.up_s < self.down_s)) + LONGEST_BURST_S / 2.0


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
    return Turning(
        longest(quieter, -1.0, LONGEST_BREAK_S),
        max(before),
        min(after),
        *coming_s(floor_db, every_s, edges),
    )


def coming_s(floor_db: Floats, every_s: float, edges: Sequence[Moment]) -> tuple[float, float]:
    """How long the noise goes on the same way after steps up, and after steps down: `Turning.up_s` and `down_s`."""
    return _coming_s(floor_db, every_s, edges, True), _coming_s(floor_db, every_s, edges, False)


def steps_between(
    from_s: Sequence[float], changes: Sequence[Hashable], floor_db: Floats, every_s: float
) -> list[Moment]:
    """Edges at known instants. `changes`: from what to what each is; like ones share one step, the median of those from
    where the noise had come to before it to where it came after. One by one the noise at the end of a stay would choose
    the edges after which it rose.
    """
    if not from_s:
        return []
    late = max(round(REST_S / every_s), 1)
    ends = [*(max(min(round(at_s / every_s), len(floor_db)), 1) for at_s in from_s), len(floor_db)]
    heard = _heard(floor_db)
    rest = [float(np.median(heard[max(end - late, 0) : end])) for end in ends]
    steps = np.diff(rest)
    common = {
        change: float(np.median([step for step, one in zip(steps, changes, strict=True) if one == change]))
        for change in set(changes)
    }
    return [Moment(at_s, common[change]) for at_s, change in zip(from_s, changes, strict=True)]


def _coming_s(level: Floats, every_s: float, edges: Sequence[Moment], rises: bool) -> float:
    """How long after a step up (`rises`) or down the noise goes on the same way before it comes to rest.

    A gain control moves it back, never on. Over the edges of that direction the median of what is still missing, in
    blocks of 0.1 s, against its error: until the first two blocks of which neither misses anything.
    """
    size, rest = max(round(BLOCK_S / every_s), 1), max(round(REST_S / every_s), 1)
    places = [round(edge.at_s / every_s) for edge in edges] + [len(level)]
    parts = [
        level[here : nearby - size]
        for edge, here, nearby in zip(edges, places, places[1:], strict=False)
        if (edge.step_db > 0.0) == rises
    ]
    if len(parts) < FEWEST_COMING:
        return 0.0
    length = min(int(np.quantile([len(part) for part in parts], 0.25)), round(COMING_S / every_s))
    blocks = (length - rest) // size
    rows = [part[:length] for part in parts if len(part) >= length and np.isfinite(part[:length]).all()]
    if blocks < 2 or len(rows) < FEWEST_COMING:
        return 0.0
    table = np.asarray(rows) * (1.0 if rises else -1.0)
    missing = np.median(table[:, -rest:], axis=1)[:, None] - table[:, : blocks * size].reshape(
        len(rows), blocks, size
    ).mean(axis=2)
    middle, error = _typical(missing)
    moving = middle > np.maximum(COMING_DB, 3.0 * error)
    there = np.flatnonzero(~(moving[:-1] | moving[1:]))
    if not len(there) or there[0] > COMING_SHARE * blocks:
        return np.inf
    # An edge is placed no better than two blocks.
    return COMING_REST * float(there[0]) * size * every_s if there[0] > 1 else 0.0


def _unlike_s(
    level: Floats, every_s: float, sides: Sequence[tuple[Moment, bool]], sign: float, longest_s: float
) -> float:
    """How far from the edges on the level differs from the second beyond `longest_s`, in the direction of `sign`.

    `sides`: edges, each with whether the values before it are meant. As long as the median over the edges differs by
    more than its error and 0.5 dB, a single value aside: what differs only further away is fading, which with few edges
    does so by chance. Digital silence is quieter than anything.
    """
    longest, beyond = round(longest_s / every_s), round(1.0 / every_s)
    heard = _heard(level)
    rows = []
    for edge, before in sides:
        place = round(edge.at_s / every_s)
        side = heard[:place][::-1] if before else heard[place:]
        if len(side) >= longest + beyond:
            rows.append(sign * (side[:longest] - np.median(side[longest : longest + beyond])))
    if len(rows) < FEWEST:
        return 0.0
    middle, error = _typical(np.asarray(rows))
    unlike = np.append(middle > np.maximum(0.5, 3.0 * error), [False, False])
    alike = int(np.argmin(unlike[:-1] | unlike[1:]))  # the first of two that do not
    return float(alike) * every_s


def _heard(level_db: Floats) -> Floats:
    """Digital silence as a level, far below any other."""
    heard: Floats = np.where(np.isfinite(level_db), level_db, -300.0)
    return heard


def _typical(table: Floats) -> tuple[Floats, Floats]:
    """Median over the edges and its standard error, from the median deviation; shape (edges, values) to (values,)."""
    middle = np.median(table, axis=0)
    return middle, 1.86 * np.median(np.abs(table - middle), axis=0) / np.sqrt(len(table))


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
