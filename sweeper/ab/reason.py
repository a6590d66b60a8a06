"""The finding in one sentence that claims what was measured: this frequency, this hour. Words only."""

from sweeper.ab.result import ABResult, Interval
from sweeper.ab.untold import untold


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
    missing, it = untold(result), result.snr_change_db
    if missing is not None:
        return f"{begin}, {missing.why}" + (f"; {missing.do}." if result.source == "now" else ".")
    assert it is not None  # or it would be missing
    if result.verdict == "stage":
        return f"{begin}, the stage raised S/N by {spoken(it)}: it was worth having in."
    if result.verdict == "bypass":
        return f"{begin}, the stage changed S/N by {spoken(it)}: it was better out."
    if result.verdict == "either":
        return f"{begin}, the stage changed S/N by {spoken(it)}: in or out made no difference that matters."
    more = "" if result.source == "now" else "; switch for longer"
    return f"{begin}, the stage changed S/N by {spoken(it)}: not settled yet{more}."
