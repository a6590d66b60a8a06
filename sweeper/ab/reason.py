"""The finding in one sentence that claims what was measured: this frequency, this hour. Words only."""

from sweeper.ab.intervals import FEWEST_BLOCKS
from sweeper.ab.result import ABResult, Interval


def decibels(value: float) -> str:
    """One decimal, signed, with a true minus."""
    text = f"{value:+.1f}"
    return ("0.0" if float(text) == 0.0 else text).replace("-", "−")


def spoken(it: Interval) -> str:
    """``+2.1 dB (+1.8 to +2.4)``."""
    return f"{decibels(it.value)} dB ({decibels(it.low)} to {decibels(it.high)})"


def where(result: ABResult) -> str:
    """``On 7100 kHz``, or the audio's band where the dial is not known."""
    if result.hz is not None:
        return f"On {result.hz / 1e3:.10g} kHz"
    low, high = result.edges_hz
    if result.source == "now":
        return f"In what was heard ({low:.0f} to {high:.0f} Hz)"
    return f"In this recording ({low:.0f} to {high:.0f} Hz)"


def reason_of(result: ABResult) -> str:
    """One sentence."""
    minutes = result.seconds / 60.0
    when = f"over {minutes:.0f} minutes" if minutes >= 2.0 else f"over {result.seconds:.0f} seconds"
    when += f" from {result.at}" if result.at else ""
    begin = f"{where(result)}, {when}"
    it = result.snr_change_db
    if "overload" in result.flags:
        return (
            f"{begin}, signals appear with the stage in where bypass has none: it overloads, so no good news "
            "is told of it."
        )
    if "in-step" in result.flags:
        return (
            f"{begin}, some signals are there with the stage in only and others with it out only: they come and go in "
            "step with the switch, so nothing is told. Switch at other moments than stations that send in slots."
        )
    if "occupied" in result.flags:
        return f"{begin}, signals fill so much of it that noise and signals cannot be told apart: nothing is told."
    counted = [carrier for carrier in result.carriers if carrier.kind in ("steady", "unsteady")]
    if it is None and not counted and "birdie" in result.flags:
        return (
            f"{begin}, no line steps or fades as what comes by the antenna does: they look like the receiver's "
            "own or hum, and tell nothing of S/N."
        )
    if it is None and result.edges < FEWEST_BLOCKS:
        return (
            f"{begin}, {result.edges} clean edges are too few to tell how sure a change is: "
            f"{FEWEST_BLOCKS - result.edges} more are needed at the least, and a dozen are better."
        )
    if it is None:
        return f"{begin}, no signal stood over the noise for long enough to tell what the stage does to S/N."
    if result.verdict == "stage":
        return f"{begin}, the stage raised S/N by {spoken(it)}: it was worth having in."
    if result.verdict == "bypass":
        return f"{begin}, the stage changed S/N by {spoken(it)}: it was better out."
    if result.verdict == "either":
        return f"{begin}, the stage changed S/N by {spoken(it)}: in or out made no difference that matters."
    more = "" if result.source == "now" else "; switch for longer"
    return f"{begin}, the stage changed S/N by {spoken(it)}: not settled yet{more}."
