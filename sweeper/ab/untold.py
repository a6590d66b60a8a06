"""Why a comparison tells no S/N change, and what to do about it: the one place that says so, for terminal, page and
JSON. Words only.
"""

from dataclasses import dataclass

from sweeper.ab.intervals import FEWEST_BLOCKS, FIRST_SHOWN
from sweeper.ab.result import ABResult

WHERE_A_CARRIER = (
    "tune to where a carrier stands beside quiet places, in USB, LSB or CW; if the receiver is in AM, whose detector "
    "leaves no carrier in the sound, set USB and the dial 1 kHz below the broadcaster"
)


@dataclass(frozen=True, slots=True)
class Untold:
    """`why`, and what somebody who attends can `do`: clauses without capital or full stop. `by_time`: more of the same
    may mend it.
    """

    why: str
    do: str
    by_time: bool = False


NOT_COMPARED = {
    "nothing but silence": Untold(
        "all that came in was silent or clipped",
        "see to mute, squelch and level: peaks belong below −3 dBFS",
    ),
    "too narrow a pass band": Untold(
        "the receiver's filter passes too little to hold a carrier and quiet places beside it",
        "set a wider one, such as 2.4 kHz",
    ),
    "one route only": Untold(
        "the stage was heard one way only so far",
        "switch, and wait two seconds before you switch back",
        by_time=True,
    ),
    "no bins without signals": Untold("signals fill all that is heard", WHERE_A_CARRIER),
    "no edge is clean on both sides": Untold(
        "no switching has clean sound on both sides",
        "by hand leave two seconds between switchings, and turn the level down if peaks clip",
        by_time=True,
    ),
}
"""By what `compare` says where it cannot compare at all."""


def flagged(result: ABResult) -> bool:
    """Whether a flag says why nothing is told, which is a finding of its own."""
    return not {"overload", "in-step", "occupied", "birdie"}.isdisjoint(result.flags)


def untold(result: ABResult) -> Untold | None:
    """Why nothing is told of S/N, or nothing good; None where it is told."""
    flags = set(result.flags)
    if "overload" in flags:
        return Untold(
            "signals appear with the stage in that are not there with it out: it overloads, so no good news is told "
            "of it",
            "leave the stage out here, or put an attenuator before it and begin again",
        )
    if "in-step" in flags:
        return Untold(
            "some signals are there with the stage in only and others with it out only: they come and go in step with "
            "the switch, so nothing is told",
            "switch at other moments than stations that send in slots, or tune to a carrier that stays on",
        )
    if "occupied" in flags:
        return Untold(
            "signals fill so much of it that noise and signals cannot be told apart: nothing is told",
            WHERE_A_CARRIER,
        )
    return None if result.snr_change_db is not None else _signals(result) or _switchings(result)


def _signals(result: ABResult) -> Untold | None:
    """What is wrong with the signals, where none of them counts."""
    if any(carrier.counts for carrier in result.carriers):
        return None
    kinds = {carrier.kind for carrier in result.carriers}
    if "left" in kinds:
        return Untold("the carrier left midway", "choose one that stays, and begin again")
    if "birdie" in kinds:
        return Untold(
            "no line steps or fades as what comes by the antenna does: they look like the receiver's own or hum, and "
            "tell nothing of S/N",
            "tune to a carrier that is gone when the antenna is unplugged",
        )
    if kinds <= {"image"}:
        return Untold("no carrier stands clear of the noise", WHERE_A_CARRIER)
    strongest_db = max(carrier.snr_db for carrier in result.carriers)
    return Untold(
        f"the strongest carrier is too weak, {strongest_db:.0f} dB over the noise in 2.4 kHz".replace(
            "-", "−"
        ),
        "tune to a stronger one",
    )


def _switchings(result: ABResult) -> Untold:
    """What is wrong where signals are there that count."""
    needed = FIRST_SHOWN if result.source == "now" else FEWEST_BLOCKS
    if result.edges < needed:
        return Untold(
            f"{_times(result.edges)} with clean sound on both sides tell too little of how sure a change is: at least "
            f"{needed} are needed, and a dozen are better",
            "go on; by hand leave two seconds between switchings, and turn the level down if peaks clip",
            by_time=True,
        )
    if result.clear < needed:
        return Untold(
            f"the carrier fades too much: it stood clear of the noise at {result.clear} of "
            f"{_times(result.edges)}, and {needed} are needed",
            "go on for longer, or tune to a stronger, steadier one",
            by_time=True,
        )
    return Untold(
        "the signals are there on one side of the switch only",
        "see whether the stage passes this frequency, and whether the switch cuts the antenna off",
    )


def _times(number: int) -> str:
    return "1 switching" if number == 1 else f"{number} switchings"
