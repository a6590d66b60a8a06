"""The receiver's sound looked at before the first night: its level, its card, its delay, and whether it keeps decibels.

The rig is borrowed by the caller, who puts it back.
"""

from collections.abc import Iterator, Sequence

import numpy as np

from drivers.contracts import Block, SampleSource
from sweeper.clock import Clock
from sweeper.daemon.rig.instruments import Rig, measurement_settings
from sweeper.daemon.sound_look import NOTICED_DB, Finding, Look, level_of_channel
from sweeper.daemon.sound_two_levels import gain_control
from sweeper.engine.by_sound import NOT_HELD, Listening
from sweeper.engine.sound_tests import OVER_CARD_DB, over_card_db
from sweeper.station import Station
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, Reading, Visit

STEP_DB = 4.0
"""A step of the relay that is timed must stand out of the noise's own scatter."""
EVERY_S = 0.01
AROUND_S = 1.0
"""Sound that is taken to both sides of a step."""
STEPS = 4


def check_sound(
    station: Station, rig: Rig, clock: Clock, channels: Sequence[Channel], unknown: Sequence[str]
) -> Iterator[Finding]:
    """Findings as they come. `channels`: those that can be tuned to; `unknown`: settings that could not be known."""
    sound = measurement_settings(station).sound
    if rig.samples is None or sound is None or not channels:
        return
    look = Look(station, rig, clock, rig.samples, sound)
    yield from _input(look.samples)
    listening = Listening(look.samples, sound, clock)
    unknown = listening.allowed(unknown)
    if listening.by_ratio:
        yield _without_levels(channels)
    else:
        yield "gain control", True, "off" + (", as you say" if sound.vouched else ", as the receiver says")
    if unknown:
        yield (
            "sound card",
            True,
            f"cannot tell about {', '.join(unknown)}: set by hand; the findings carry a flag",
        )
    few = [channels[0]] if station.receiver.by_hand else _few(channels)
    for path in station.paths():
        stands = look.select(path)
        yield f"path {path}", stands == str(path), f"relays stand at {stands or 'an unknown path'}"
        if stands == str(path):
            for channel in few:
                rig.receiver.set_mode(station.receiver.mode, channel.bandwidth_hz)
                look.tune(sound.dial_hz(channel.hz))
                listening.hear(Visit(channel, path))
    readings = listening.readings(0)
    yield from _levels(listening, readings)
    if listening.by_ratio:
        return
    yield from _delay(look, _steepest(readings, few))
    if not station.receiver.by_hand:
        yield from gain_control(look, readings, few)


def _without_levels(channels: Sequence[Channel]) -> Finding:
    """What is left where the gain control may be on: carriers against the noise beside them."""
    bands = {each.band for each in channels}
    bare = bands - {each.band for each in channels if each.purpose == "carrier"}
    told = (
        "not known to be off, so levels are not told, only carriers against the noise beside them"
        + (f", and {', '.join(sorted(bare))} has no carrier" if bare else "")
        + ": switch it off and write agc_off: true below audio"
    )
    return "gain control", not bare, told


def _input(samples: SampleSource) -> Iterator[Finding]:
    identify, source = getattr(samples, "identify", None), getattr(samples, "input", None)
    yield "sound", True, identify() if identify is not None else "its samples come"
    if source is not None and source.is_microphone:
        yield (
            "sound",
            True,
            f"the input calls itself a microphone ({source.port}): if it is the room's, name another; if the "
            "receiver's cable is in it, turn its boost off and put a pad before it",
        )


def _few(channels: Sequence[Channel]) -> list[Channel]:
    """One channel of each purpose a band."""
    first: dict[tuple[str, str], Channel] = {}
    for channel in channels:
        first.setdefault((channel.band, channel.purpose), channel)
    return list(first.values())


def _levels(listening: Listening, readings: Sequence[Reading]) -> Iterator[Finding]:
    loudest = max((each.peak_db for each in listening.sounded), default=-120.0)
    over_db = over_card_db(listening.heard, listening.learned)
    told = f"peaks up to {loudest:.0f} dB of full scale"
    if over_db is None:
        told += "; the sound card's own noise is not to be seen beside this receiver's filter"
    else:
        told += (
            f", the quietest noise {over_db:.0f} dB over the sound card's own ({OVER_CARD_DB:.0f} are needed)"
        )
    troubles = listening.troubles(readings)
    yield "sound", True, told
    yield from (("sound", False, trouble) for trouble in troubles if trouble != NOT_HELD)
    if listening.by_ratio:
        return
    moves = [abs(step) for step in _moves(readings, list(listening.heard)).values()]
    if moves and max(moves) >= NOTICED_DB:
        yield "relay and sound", True, f"with the stage the sound moves by up to {max(moves):.1f} dB"
    else:
        yield (
            "relay and sound",
            False,
            f"on no channel does the sound move by {NOTICED_DB:.0f} dB with the stage: a dead relay, a stage without "
            "supply, a gain control that is on, or another receiver's sound. Listen while you switch by hand.",
        )


def _moves(readings: Sequence[Reading], channels: Sequence[Channel]) -> dict[Channel, float]:
    """How far the level of each channel moves with the stage, dB."""
    found: dict[Channel, float] = {}
    for channel in channels:
        out, within = (level_of_channel(readings, channel, path) for path in (ANTENNA_BYPASS, ANTENNA_STAGE))
        if out is not None and within is not None:
            found[channel] = within - out
    return found


def _steepest(readings: Sequence[Reading], channels: Sequence[Channel]) -> Channel | None:
    """The noise channel that moves most with the stage; None where none moves enough to be timed."""
    moves = {channel: abs(move) for channel, move in _moves(readings, channels).items()}
    noise = [each for each, move in moves.items() if each.purpose == "noise" and move >= STEP_DB]
    return max(noise, key=lambda channel: moves[channel], default=None)


def _delay(look: Look, channel: Channel | None) -> Iterator[Finding]:
    """How long after the relays the sound steps: what was captured earlier is of before."""
    if channel is None:
        yield "delay", True, f"not measured: no noise channel steps by {STEP_DB:.0f} dB with the stage"
        return
    look.rig.receiver.set_mode(look.station.receiver.mode, channel.bandwidth_hz)
    look.select(ANTENNA_BYPASS)
    look.tune(look.sound.dial_hz(channel.hz))
    delays: list[float] = []
    for nth in range(STEPS):
        look.samples.take(
            0.1, look.clock.monotonic() + look.sound.delay_s
        )  # what comes now goes on from here
        look.clock.sleep(AROUND_S / 2)
        path = ANTENNA_BYPASS if nth % 2 else ANTENNA_STAGE
        look.rig.switch.select(str(path))
        moved_s = look.clock.monotonic()
        block = look.samples.take(AROUND_S / 2 + look.sound.delay_s + AROUND_S, 0.0)
        delay = step_after(block, moved_s)
        if delay is not None:
            delays.append(delay)
    if len(delays) < STEPS - 1:
        yield "delay", True, "not measured: the step of the relay does not stand out in the sound"
        return
    jitter = max(delays) - min(delays)
    needed = max(max(delays), 0.0) + jitter
    told = f"relays are heard after {np.median(delays):.2f} s (give or take {jitter / 2:.2f} s)"
    if needed > look.sound.delay_s:
        yield "delay", False, f"{told}: write delay_s: {np.ceil(needed * 20) / 20 + 0.05:.2f} below audio"
    else:
        yield "delay", True, f"{told}; delay_s: {look.sound.delay_s:g} covers that"


def step_after(block: Block, moved_s: float) -> float | None:
    """Seconds from `moved_s` to the step in the sound's level, at the latest that its capture can have been.

    None where no step of `STEP_DB` divides it: the sides must differ by that much.
    """
    width = max(round(EVERY_S * block.rate_hz), 1)
    count = len(block.samples) // width
    power = np.log10(np.mean(block.samples[: count * width].reshape(count, width).real ** 2, axis=1) + 1e-20)
    sums = np.concatenate([[0.0], np.cumsum(power)])
    places = np.arange(5, count - 5)
    if not len(places):
        return None
    before, after = sums[places] / places, (sums[-1] - sums[places]) / (count - places)
    gain = (after - before) ** 2 * places * (count - places)
    best = int(np.argmax(gain))
    if 10.0 * abs(after[best] - before[best]) < STEP_DB / 2:
        return None
    left_s = (len(block.samples) - places[best] * width) / block.rate_hz
    return float(block.captured[1] - left_s - moved_s)
