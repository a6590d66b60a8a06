"""How a pass measures, how long its parts may take, and when two dials are one."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sweeper.engine.meter import Meter
from sweeper.words import SignalPath

if TYPE_CHECKING:
    from sweeper.engine.by_samples import SampledSettings
    from sweeper.engine.by_sound import SoundSettings

DIAL_STEP_HZ = 10
"""Receivers round to their own step, 10 Hz or finer (common practice); a hand at the dial moves further."""
COARSEST_STEP_HZ = 1000
"""Off by less than this right after it was tuned, a receiver may be one that tunes in steps (common practice)."""
LATE_DIAL_S = 1.0
"""For so long after it was tuned a server may go on telling the frequency before; hamlib's own memory lasts 0.5 s."""
LATE_LOOK_S = 0.1

LEAVE_S = 30.0
"""What leaving may take at the most: the relays to rest, and then the receiver to its saved state."""

GRACE_S = 10.0
"""What is left for that, and for a last try, once somebody has ordered to stop; counted from the order."""

RELAYS_SHARE = 0.7
"""How much of either the relays may take, so that a dead board leaves time for the receiver."""

PATIENCE_S = 45.0
"""What the instruments may cost in waiting between two signs of life, beyond what a visit takes."""


def same_dial(hz: int, other_hz: int) -> bool:
    """Whether two dial frequencies, in hertz, are one place but for the receiver's own step."""
    return abs(hz - other_hz) < DIAL_STEP_HZ


def without_dial(remembered: Mapping[str, Any], mode_is_ours: bool) -> Mapping[str, Any]:
    """What to put back at a receiver whose dial somebody has turned.

    Their frequency is left alone, and so are mode and pass band unless they are still those that the program set:
    then the listener gets back the ones found.
    """
    rest = {key: value for key, value in remembered.items() if key != "tuning"}
    tuning = remembered.get("tuning")
    if mode_is_ours and isinstance(tuning, Mapping):
        rest["tuning"] = {key: value for key, value in tuning.items() if key != "hz"}
    return rest


@dataclass(frozen=True, slots=True)
class MeasurementSettings:
    """How to measure: mode, times in seconds, readings a visit, and where the relays rest.

    A visit, with the way to its path, is given up after `visit_s`, however patient the links are; so is finding out
    how the receiver stands. Leaving is given up after `leave_s`. `sound`: levels come from the receiver's sound;
    `sampled`: from samples of whole bands.
    """

    mode: str
    settle_s: float
    switch_settle_s: float
    readings: int
    interval_s: float
    rest: SignalPath
    meter: Meter
    leave_s: float = LEAVE_S
    visit_s: float = math.inf
    sound: "SoundSettings | None" = None
    sampled: "SampledSettings | None" = None

    def dial_hz(self, hz: int) -> int:
        """Where the dial stands for a channel: there, or beside it where the channel is heard as a tone."""
        if self.sampled is not None:
            return hz + self.sampled.shift_hz
        return hz if self.sound is None else self.sound.dial_hz(hz)
