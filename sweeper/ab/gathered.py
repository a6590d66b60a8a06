"""Arrays over the edges of a tuning, from the edges as they went by. Nothing is judged here."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from sweeper.ab.pooled import Both
from sweeper.ab.sides import Carried, Learned, Seen, edges
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Labelled, SignalPath

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Gathered:
    """Edges between bypass and stage on the antenna. Shapes (edges,) but for `both` and `unrest` (edges, signals).

    `both`: S/N by the noise of each spectrum; `level`: by the noise of a whole side (`sides.Side`).
    `own_variance`: of ln of a side's noise by itself, whatever the gain does.
    `on_load`: ln(antenna ÷ load) noise at each edge between the two, by route. `alone`: ln noise beside all edges, by
    path, the nearest in time to the load first. `spoiled`: edges that were left out.
    """

    at_s: Floats
    noise_bypass: Floats
    noise_stage: Floats
    total_bypass: Floats
    total_stage: Floats
    both: Both
    level: Both
    unrest: Floats
    own_variance: float
    on_load: dict[str, Floats]
    alone: dict[SignalPath, Floats]
    spoiled: int


def gather(sequence: Iterable[Labelled], learned: Learned, apart_s: float = inf) -> Gathered | None:
    """Go through the edges once; None where none is clean. Stage and bypass are not compared where they lie further
    apart than `apart_s`.
    """
    seen = list(edges(sequence, learned))
    clean = [each for each in seen if each is not None]
    across = [
        each
        for each in clean
        if {each.before.path, each.after.path} == {ANTENNA_BYPASS, ANTENNA_STAGE} and each.apart_s <= apart_s
    ]
    if not across:
        return None
    outs = [each.before if each.before.path == ANTENNA_BYPASS else each.after for each in across]
    ins = [each.after if each.before.path == ANTENNA_BYPASS else each.before for each in across]
    segments = float(
        np.median([min(out.segments, within.segments) for out, within in zip(outs, ins, strict=True)])
    )
    loud = np.median([(each.before.loud + each.after.loud) / 2.0 for each in across], axis=0)
    spread = one_side(learned, segments)
    return Gathered(
        np.array([each.at_s for each in across]),
        np.array([side.noise for side in outs]),
        np.array([side.noise for side in ins]),
        np.array([side.total for side in outs]),
        np.array([side.total for side in ins]),
        _both([side.each for side in outs], [side.each for side in ins], loud, spread),
        _both([side.level for side in outs], [side.level for side in ins], loud, spread),
        np.array([(each.before.unrest + each.after.unrest) / 2.0 for each in across]),
        2.0 / (max(float(learned.noise.keep.sum()), 1.0) * max(segments, 1.0)),
        _on_load(clean),
        _alone(clean),
        len(seen) - len(clean),
    )


def _both(outs: list[Carried], ins: list[Carried], loud: Floats, spread: Floats) -> Both:
    """`loud`: by way, `spread`: of a side without a signal, by signal."""
    return Both(
        np.array([side.over for side in ins]),
        np.array([side.over for side in outs]),
        loud[:, None] * spread[None, :],
        best_way(
            np.array([side.foretold for side in (*outs, *ins)]),
            np.array([side.nearest for side in (*outs, *ins)]),
            spread,
        ),
    )


def one_side(learned: Learned, segments: float) -> Floats:
    """Standard deviation of S/N on one side of an edge where there is no signal: noise of the core and of the level.

    √((min(1, 2/core) + 2/noise bins)/segments), shape (signals,): neighbouring bins share the window's 2.0 bins.
    """
    sizes = np.array([len(signal.core) for signal in learned.signals], np.float64)
    kept = float(learned.noise.keep.sum())
    found: Floats = np.sqrt((np.minimum(1.0, 2.0 / np.maximum(sizes, 1.0)) + 2.0 / kept) / segments)
    return found


def best_way(foretold: Floats, nearest: Floats, spread: Floats) -> NDArray[np.int64]:
    """The way, by its number, that foretold the nearest spectra best, shape (signals,); 0, the mean, if none can tell.

    `foretold`: shape (sides, ways, signals); `nearest`: (sides, signals); `spread`: deviation of a side without a
    signal, (signals,). Error of a side: (foretold − nearest)/(their sum), within ±1, of sides with a signal.
    """
    total = np.maximum(foretold + nearest[:, None, :], 4.0 * spread)
    error = np.clip((foretold - nearest[:, None, :]) / total, -1.0, 1.0)
    there = np.isfinite(error) & (nearest[:, None, :] > 4.0 * spread)
    count = there.sum(axis=0)
    square = np.where(there, error, 0.0) ** 2
    mean = np.where(count > 0, square.sum(axis=0) / np.maximum(count, 1), np.inf)
    found: NDArray[np.int64] = np.where(np.isfinite(mean[0]), np.argmin(mean, axis=0), 0).astype(np.int64)
    return found


def _on_load(clean: list[Seen]) -> dict[str, Floats]:
    rises: dict[str, list[float]] = {}
    for each in clean:
        before, after = each.before, each.after
        if before.path.route == after.path.route and {before.path.source, after.path.source} == {
            "antenna",
            "load",
        }:
            antenna, load = (before, after) if before.path.source == "antenna" else (after, before)
            rises.setdefault(before.path.route, []).append(float(np.log(antenna.noise / load.noise)))
    return {route: np.array(values) for route, values in rises.items()}


def _alone(clean: list[Seen]) -> dict[SignalPath, Floats]:
    sides = [(each.at_s, side) for each in clean for side in (each.before, each.after)]
    load_s = [at_s for at_s, side in sides if side.path.source == "load"]
    if load_s:
        sides.sort(key=lambda one: min(abs(one[0] - at_s) for at_s in load_s))
    levels: dict[SignalPath, list[float]] = {}
    for _, side in sides:
        levels.setdefault(side.path, []).append(float(np.log(side.noise)))
    return {path: np.array(values) for path, values in levels.items()}
