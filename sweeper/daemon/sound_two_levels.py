"""A receiver's sound at two levels, by noise without a strong carrier and beside one: whether its decibels hold."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from sweeper.daemon.sound_look import NOTICED_DB, Finding, Look, level_of_channel
from sweeper.engine.by_sound import Listening
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, Reading, SignalPath, Visit

AGC_DB = 2.0
"""By how much noise may sink beside a strong carrier; a gain control takes more."""
STRONG_DB = 15.0
LINEAR_DB = 2.0
"""By so much the stage's step of noise may differ beside a strong carrier: what side bands are left in it fade."""
SIDEBANDS_DB = 1.0
"""Noise that stands so much higher beside a carrier holds the carrier's own side bands."""


def gain_control(look: Look, readings: Sequence[Reading], channels: Sequence[Channel]) -> Iterator[Finding]:
    """Noise beside a strong carrier, and without it: at two levels of the sound it has to stand, and to step, alike."""
    for carrier in (each for each in channels if each.purpose == "carrier"):
        noise = [each for each in channels if each.band == carrier.band and each.purpose == "noise"]
        strong = level_of_channel(readings, carrier, ANTENNA_BYPASS)
        quiet = level_of_channel(readings, noise[0], ANTENNA_BYPASS) if noise else None
        if strong is None or quiet is None or strong - quiet < STRONG_DB:
            continue
        levels = _beside(look, carrier)
        if levels is not None:
            yield _held_down(carrier.band, *levels)
            yield from _linear(carrier.band, *levels)
            return


Routes = tuple[float, float | None]
"""Noise in bypass and with the stage in, dB."""


def _held_down(band: str, with_carrier: Routes, without: Routes) -> Finding:
    """A gain control makes noise sink when the carrier comes in."""
    sinks = without[0] - with_carrier[0]
    if sinks > AGC_DB:
        return (
            "gain control",
            False,
            f"beside the carrier on {band} noise sinks by {sinks:.1f} dB: the gain control is on, or the receiver is "
            "overdriven. Switch it off, or turn RF gain down.",
        )
    return "gain control", True, f"the carrier on {band} does not hold noise down"


def _linear(band: str, with_carrier: Routes, without: Routes) -> Iterator[Finding]:
    """The stage's step of noise, known from where no carrier stands, has to be the same beside one."""
    if with_carrier[1] is None or without[1] is None:
        return
    step, beside = without[1] - without[0], with_carrier[1] - with_carrier[0]
    told = f"with the stage noise moves by {step:+.1f} dB, beside the carrier on {band} by {beside:+.1f} dB"
    if with_carrier[0] - without[0] > SIDEBANDS_DB:
        yield "linear", True, f"not told: the side bands of the carrier on {band} fill the noise beside it"
    elif abs(step - beside) > LINEAR_DB:
        yield (
            "linear",
            False,
            f"{told}: the gain control is on, or something clips. Turn RF gain or level down.",
        )
    elif abs(step) < NOTICED_DB:
        yield "linear", True, f"not told: the stage moves the noise on {band} by {step:+.1f} dB only"
    else:
        yield "linear", True, told


def _beside(look: Look, carrier: Channel) -> tuple[Routes, Routes] | None:
    """Noise in the carrier's pass band, and the lower of those 4 kHz to both sides; None where neither can be told."""
    listening = Listening(look.samples, look.sound, look.clock)
    look.rig.receiver.set_mode(look.station.receiver.mode, carrier.bandwidth_hz)
    places = [replace(carrier, hz=carrier.hz + away_hz, purpose="noise") for away_hz in (0, -4000, 4000)]
    out = _noises_db(look, listening, places, ANTENNA_BYPASS)
    # the carrier last, so that no gain control is still on its way back from it
    within = _noises_db(look, listening, places[::-1], ANTENNA_STAGE)
    here, *beside = ((out[place], within[place]) for place in places)
    known = [(level, stage) for level, stage in beside if level is not None]
    return (
        ((here[0], here[1]), min(known, key=lambda each: each[0])) if here[0] is not None and known else None
    )


def _noises_db(
    look: Look, listening: Listening, places: Sequence[Channel], path: SignalPath
) -> dict[Channel, float | None]:
    found = dict[Channel, float | None]()
    look.select(path)
    for place in places:
        look.tune(look.sound.dial_hz(place.hz))
        listening.heard.pop(place, None)
        listening.hear(Visit(place, path))
        found[place] = listening.noise_db(place)
    return found
