"""How an A/B comparison is told: headline, figures, remarks. The same on the terminal and on the page."""

from typing import Protocol

from sweeper.ab import ABResult
from sweeper.analysis import words_of
from sweeper.report import wording

REMARKS = {
    "agc": "The receiver's gain followed the signals (AGC), so gain and noise change are not told; S/N "
    "change, a ratio, is.",
    "gain-unknown": "Nothing shows that the receiver's gain was constant, so gain and noise change are not "
    "told; record with AGC off and say --agc-off.",
    "overload": "Lines appear with the stage in that bypass does not have: intermodulation.",
    "in-step": "Signals come and go in step with the switch, as those of stations that send in slots do; switch at "
    "other moments.",
    "carrier-left": "A signal left midway; it is not counted.",
    "birdie": "A line stands on the load as well, or neither fades nor steps with the noise: the receiver's own or "
    "hum, not counted.",
    "occupied": "Record with a wider pass band, or where fewer signals are.",
    "leakage": "Signals get past the relay to the load; they are counted.",
    "image": "A line lies opposite a much stronger one: an image, not counted.",
    "odd-signal": "A signal changed unlike all others, so it did not come through the stage alone; it is not "
    "counted.",
    "clipped": "Switchings with clipped or missing sound beside them are left out.",
}


def headline(result: ABResult) -> str:
    """The finding in a few words."""
    change = result.snr_change_db
    if "overload" in result.flags:
        return "The stage overloads here"
    if change is None:
        return "No S/N change can be told"
    said = f"S/N {wording.decibel(change.value, True)} dB with the stage"
    return f"{said}: {words_of(result.verdict)}"


def figures(result: ABResult) -> tuple[tuple[str, str], ...]:
    """(what, ``value (low to high) dB``)."""
    told = (
        ("S/N change", result.snr_change_db),
        ("Gain of the stage", result.gain_db),
        ("Noise change", result.noise_change_db),
        ("Noise rise, stage out", result.noise_rise_db),
    )
    rows = [(name, f"{wording.interval(it)} dB") for name, it in told if it is not None]
    if result.cap_db is not None and result.source == "file":  # who attends has a sentence of it
        rows.append(("No stage could give more than", f"{wording.decibel(result.cap_db, True)} dB"))
    return (*rows, ("Switchings used", str(result.edges)))


NOW = {
    "gain-unknown": "Nothing shows that the receiver's gain was constant, so gain and noise change are not told; "
    "to see them switch its AGC off, say --agc-off (or agc_off: true in the station file) and test again. S/N change, "
    "a ratio, holds all the same.",
    "occupied": "",
}
"""Where somebody attends a test there is no recording to make again; empty: its sentence says what to do."""


class Told(Protocol):
    """A result and the notes beside it, from a recording or from a test that somebody attended."""

    @property
    def result(self) -> ABResult: ...

    @property
    def notes(self) -> tuple[str, ...]: ...


def remarks(told: Told) -> list[str]:
    """What was odd, in sentences."""
    said = REMARKS | NOW if told.result.source == "now" else REMARKS
    return [*told.notes, *(said[flag] for flag in told.result.flags if said.get(flag))]
