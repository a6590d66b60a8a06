"""A sign of overload: bins that are quiet in bypass and occupied with the stage in, beyond chance.

The noise bins common to both routes would hide products of intermodulation, so they are looked for before any
verdict (`new_lines`); both sides of an edge lie within a second. Where other bins are quiet with the stage in and
occupied in bypass, it is no overload: something comes and goes in step with the switch.
"""

import math
from collections.abc import Iterable

from sweeper.ab.sides import Learned, edges
from sweeper.analysis import Interval
from sweeper.spectra.new_lines import OCCUPIED, NewLines
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Labelled

DEVIATIONS = 6.0
"""So many of its noise's have to be exceeded by a side that counts as occupied."""
MOST_POSSIBLE_DB = 20.0
"""S/N change taken as possible when new lines are looked for, at most; 10 dB where no signal tells."""


def new_lines(sequence: Iterable[Labelled], learned: Learned, change: Interval | None) -> tuple[bool, bool]:
    """Whether there are signals that only the stage's sides have, and whether there are such that only bypass has."""
    possible_db = 10.0 if change is None else min(change.high, MOST_POSSIBLE_DB)
    least_db = -10.0 if change is None else max(change.low, -MOST_POSSIBLE_DB)
    bins = len(learned.noise.keep)
    stage = NewLines.of(bins, 10.0 ** (possible_db / 10.0))
    bypass = NewLines.of(bins, 10.0 ** (-least_db / 10.0))
    for seen in edges(sequence, learned):
        if seen is not None and {seen.before.path, seen.after.path} == {ANTENNA_BYPASS, ANTENNA_STAGE}:
            ends = (seen.before, seen.after)
            out, within = ends if seen.after.path == ANTENNA_STAGE else ends[::-1]
            least = max(OCCUPIED, DEVIATIONS / math.sqrt(min(out.segments, within.segments)))
            stage.add(out.bins, within.bins, least)
            bypass.add(within.bins, out.bins, least)
    return bool(stage.runs(learned.noise.usable)), bool(bypass.runs(learned.noise.usable))
