"""Where a comb's lines and a hump's edges stand in the spectrum of a tuning.

A hump stands still. A comb wanders, so that a median over passes hardly shows its lines: they are told as one pass
showed them, the one in which they stood out most of those whose spectra are kept.
"""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from sweeper.noise.seen import Found, Heard, Kind
from sweeper.noise.sources import Source

SAME = 0.25
"""Of a tuning's width: what is heard with its middle nearer than that is of this tuning."""
MOST_LINES = 500
"""More than any comb has in a tuning; what is kept in files may say anything."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A source in a tuning of `band` that begins at `start_hz`, as the pass at `time` showed it.

    `time`: seconds since 1970. `lines_hz` of a comb, rising; `low_hz` to `high_hz`: from the first to the last of them,
    or a hump's edges. `levels_db`: the antenna's spectrum in bypass of that pass, in the bins of the tuning's others;
    empty where theirs show it as well.
    """

    name: str
    kind: Kind
    band: str
    start_hz: float
    time: float
    low_hz: float
    high_hz: float
    lines_hz: tuple[float, ...] = ()
    levels_db: tuple[float | None, ...] = ()


def stood_out(
    source: Source, band: str, start_hz: float, end_hz: float, kept: Collection[int] | None = None
) -> tuple[Heard, Found] | None:
    """The pass of those `kept` (None: of all) in which a comb or hump stood out most in a tuning, and what it was."""
    those = [
        (heard, found)
        for heard, found in source.seen
        if _has_a_place(heard, found)
        and heard.band == band
        and abs(heard.start_hz + heard.end_hz - start_hz - end_hz) < 2 * SAME * (end_hz - start_hz)
        and (kept is None or heard.pass_number in kept)
    ]
    return max(those, key=lambda each: each[1].over_db, default=None)


def _has_a_place(heard: Heard, found: Found) -> bool:
    if found.kind == "comb":
        few = heard.end_hz - heard.start_hz < MOST_LINES * found.every_hz
        return few and heard.start_hz <= found.first_hz < heard.end_hz
    return found.kind == "hump" and heard.start_hz < found.high_hz and found.low_hz < heard.end_hz


def shown(
    name: str, start_hz: float, heard: Heard, found: Found, levels_db: tuple[float | None, ...] = ()
) -> Shown:
    """A source of that name as a pass shows it."""
    where = name, found.kind, heard.band, start_hz, heard.time
    if found.kind != "comb":
        low_hz, high_hz = max(found.low_hz, heard.start_hz), min(found.high_hz, heard.end_hz)
        return Shown(*where, low_hz, high_hz, levels_db=levels_db)
    lines_hz = tuple(np.arange(found.first_hz, heard.end_hz, found.every_hz).tolist())
    return Shown(*where, lines_hz[0], lines_hz[-1], lines_hz, levels_db)
