"""Whether what comes in can be compared at all; where not, one sentence with what to do."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from sweeper.ab import ABResult, Untold, flagged
from sweeper.attended.heard import Heard
from sweeper.attended.levels import Levels
from sweeper.attended.stays import Stay, Stays
from sweeper.errors import UserFacingError
from sweeper.recordings.refused import MOST_CLIPPED

SILENT_S, FILTER_S = 3.0, 4.0
GONE_DB, GONE_S = 15.0, 3.0
"""Total level that falls so far below all there was, for so long: no fading takes the noise along."""
SIDE_S = 0.7


def refuse(heard: Heard, stays: Stays) -> None:
    """`UserFacingError` for silence, clipping, and for sound that has gone."""
    if heard.seconds >= SILENT_S and heard.silent_s > 0.9 * heard.seconds:
        raise UserFacingError(
            "Nothing but silence comes in: choose the input that the receiver is connected to, take its mute away, and "
            "switch a squelch off."
        )
    if heard.seconds >= SILENT_S and heard.clipped_s > 10.0 * MOST_CLIPPED * heard.seconds:
        raise UserFacingError(
            "The sound clips nearly all the time, so levels mean nothing: turn the receiver's output or the input's "
            "gain down until peaks stay below −3 dBFS."
        )
    on_load = bool(stays.each) and stays.each[-1].path.source == "load"
    if not on_load and heard.seconds > 3.0 * GONE_S and has_gone(heard.levels()):
        raise UserFacingError(
            "The sound has all but gone, though the noise should stay: see to the cable between receiver and computer, "
            "and begin again; nothing is claimed."
        )


def has_gone(levels: Levels) -> bool:
    """Whether the last seconds are far below everything before."""
    count = round(GONE_S / levels.every_s)
    before, now = levels.floor_db[:-count], levels.floor_db[-count:]
    return len(before) > count and float(np.max(now)) < float(np.quantile(before, 0.05)) - GONE_DB


def warning(heard: Heard) -> str:
    """What spoils some of it."""
    if heard.seconds and heard.clipped_s > 1e-4 * heard.seconds:
        return "Peaks clip, and what clips is left out: turn the level down a little."
    return ""


def over_card_db(heard: Heard) -> float | None:
    """Noise in the pass band over what stands beyond the receiver's filter; None where the filter does not show."""
    spectrum, inside = heard.spectrum(), heard.pass_band
    if spectrum is None or heard.seconds < FILTER_S or not inside.any():
        return None
    last = int(np.flatnonzero(inside)[-1])
    beyond = spectrum.mean[last + 12 :]
    if len(beyond) < 16:
        return None
    ratio = float(np.quantile(spectrum.mean[inside], 0.25) / max(float(np.quantile(beyond, 0.25)), 1e-20))
    return 10.0 * float(np.log10(ratio)) if ratio > 1.0 else None


def steps_db(stays: Sequence[Stay], levels: Levels) -> list[float]:
    """How much the noise rose with the stage at each change between in and out on the antenna, dB."""
    found = []
    for one, other in pairwise(stays):
        if one.path.source == other.path.source == "antenna" and one.path.route != other.path.route:
            before = levels.between(max(one.from_s, one.until_s - SIDE_S), one.until_s).floor_db
            after = levels.between(other.from_s, min(other.until_s, other.from_s + SIDE_S)).floor_db
            if len(before) >= 4 and len(after) >= 4:
                rise = float(np.median(after) - np.median(before))
                found.append(rise if other.path.route == "stage" else -rise)
    return found


def enough(result: ABResult | None, missing: Untold | None) -> None:
    """`UserFacingError` where S/N cannot be compared, unless a flag of the result says why."""
    if missing is not None and (result is None or not flagged(result)):
        raise UserFacingError(f"Nothing is claimed: {missing.why}; {missing.do}.")
