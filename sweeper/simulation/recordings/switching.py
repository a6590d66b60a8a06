"""When the route changes in a recording: by a relay's clock or by hand, with or without looks at the load."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE, SignalPath


@dataclass(frozen=True, slots=True)
class Stay:
    """From `at_s` on the receiver hears `path`, until the next stay begins."""

    at_s: float
    path: SignalPath


def by_relay(
    seconds: float, every_s: float, first_s: float | None = None, first: SignalPath = ANTENNA_BYPASS
) -> tuple[Stay, ...]:
    """In and out by the clock: the first change at `first_s` (after one period if left out), then every `every_s`."""
    edges = np.arange(every_s if first_s is None else first_s, seconds - 1e-9, every_s)
    return _alternating(edges.tolist(), first)


def by_hand(
    seconds: float, every_s: float, give_or_take_s: float, seed: int, first: SignalPath = ANTENNA_BYPASS
) -> tuple[Stay, ...]:
    """In and out by somebody who counts: each stay `every_s` long, uniformly `give_or_take_s` more or less."""
    dice = np.random.default_rng(seed)
    edges: list[float] = []
    at = 0.0
    while True:
        at += every_s + give_or_take_s * dice.uniform(-1, 1)
        if at >= seconds:
            return _alternating(edges, first)
        edges.append(at)


def with_load(stays: Sequence[Stay], each_s: float) -> tuple[Stay, ...]:
    """The load first, through both routes, for `each_s` each; then everything as it was, that much later."""
    load = (Stay(0.0, LOAD_BYPASS), Stay(each_s, LOAD_STAGE))
    return (*load, *(Stay(stay.at_s + 2 * each_s, stay.path) for stay in stays))


def _alternating(edges: Sequence[float], first: SignalPath) -> tuple[Stay, ...]:
    other = ANTENNA_STAGE if first == ANTENNA_BYPASS else ANTENNA_BYPASS
    return (Stay(0.0, first), *(Stay(at, first if n % 2 else other) for n, at in enumerate(edges)))
