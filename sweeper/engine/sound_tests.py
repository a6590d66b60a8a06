"""What is wrong with a receiver's sound, seen in the sound of a pass itself: each finding names what to turn. Pure.

Findings are phrases of a name and, in brackets, what was seen and what to do about it.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, median

import numpy as np

from sweeper.spectra.rows import Learned
from sweeper.words import (
    ANTENNA_BYPASS,
    ANTENNA_STAGE,
    LOAD_BYPASS,
    LOAD_STAGE,
    Channel,
    Labelled,
    Reading,
    SignalPath,
    Visit,
)

MOST_PEAK_DB = -3.0
"""Of full scale: what comes above is near enough to the converter's end to bend."""
OVER_CARD_DB = 10.0
"""The load this far over the sound card's own noise is read 0.4 dB too high at most."""
ZERO_JUMP = 0.002
"""Of full scale, and a fifth of the sound itself: less is what cards wander by."""
SHAPE_DB = 1.5
"""Rms by which the pass band's shape may differ between two visits beyond what noise scatters."""
APART_DB = 6.0
"""A step of noise that a carrier must show, too, whatever it does by itself."""
HELD_DB = 3.0
"""A carrier that a gain control holds is spread less: by its slope over the step, and by what noise does to it."""
CLEAR = 10.0
"""Power over what lies under it from which a gain is read to half a decibel."""
OVER_LOAD = 2.0
"""Noise over that of the load from which the stage's step is read to half a decibel: a second tells it to a tenth."""
LOUD = 10.0
"""Signals over all the noise of a tuning from which the sound stands at another level."""
SUNK = 1.4
"""Noise of the antenna so far under the load's, though over it elsewhere on the band: the gain fell."""


@dataclass(frozen=True, slots=True)
class Sounded:
    """The sound of one visit, of full scale: its highest peak, its mean (direct voltage) and its rms."""

    visit: Visit
    peak: float
    offset: float
    rms: float

    @property
    def peak_db(self) -> float:
        return 20.0 * math.log10(max(self.peak, 1e-6))


def troubles(
    sounded: Sequence[Sounded],
    heard: Mapping[Channel, Sequence[Labelled]],
    learned: Mapping[Channel, Learned],
    readings: Sequence[Reading],
) -> tuple[str, ...]:
    """All that a pass shows of its sound: level, zero, filter and gain."""
    return (
        *_level(sounded),
        *_card(heard, learned),
        *_zero(sounded),
        *_filter(heard, learned),
        *_gain(heard, learned, readings),
    )


def over_card_db(
    heard: Mapping[Channel, Sequence[Labelled]], learned: Mapping[Channel, Learned]
) -> float | None:
    """How far the quietest noise stands over the sound card's own: of the load, or else of the antenna in bypass.

    None where the card's noise could not be seen beside the receiver's filter.
    """
    found: list[float] = []
    for channel, tuning in learned.items():
        paths = {one.path for one in heard[channel]}
        quiet = LOAD_BYPASS if LOAD_BYPASS in paths else ANTENNA_BYPASS
        for one in heard[channel]:
            if one.path == quiet and tuning.card > 0.0:
                found.append(10.0 * math.log10(tuning.noise.level(one.spectrum.mean) / tuning.card))
    return min(found) if found else None


def _level(sounded: Sequence[Sounded]) -> Iterator[str]:
    loudest = max(sounded, key=lambda each: each.peak, default=None)
    if loudest is not None and loudest.peak_db > MOST_PEAK_DB:
        yield (
            f"the sound's level (peaks reach {loudest.peak_db:.1f} dB of full scale on {loudest.visit.channel.band}, "
            f"{loudest.visit.path}: turn it down)"
        )


def _card(heard: Mapping[Channel, Sequence[Labelled]], learned: Mapping[Channel, Learned]) -> Iterator[str]:
    over_db = over_card_db(heard, learned)
    if over_db is not None and over_db < OVER_CARD_DB:
        yield (
            f"the sound's level (the quietest noise stands {max(over_db, 0.0):.0f} dB over the sound card's own, and "
            f"{OVER_CARD_DB:.0f} dB are needed: turn it up)"
        )


def _zero(sounded: Sequence[Sounded]) -> Iterator[str]:
    jumps = [
        abs(after.offset - before.offset)
        for before, after in pairwise(sounded)
        if before.visit.path != after.visit.path
        and abs(after.offset - before.offset) > 0.2 * min(before.rms, after.rms)
    ]
    if jumps and max(jumps) > ZERO_JUMP:
        yield (
            f"the sound's zero (it jumps by {max(jumps):.3f} of full scale with the relays: an isolating transformer "
            "in the sound cable stops that)"
        )


def _filter(heard: Mapping[Channel, Sequence[Labelled]], learned: Mapping[Channel, Learned]) -> Iterator[str]:
    """Shapes of the same route, early and late: the same filter has the same."""
    for channel, tuning in learned.items():
        for path in (ANTENNA_BYPASS, ANTENNA_STAGE):
            mine = [one.spectrum for one in heard[channel] if one.path == path]
            if len(mine) < 2:
                continue
            keep = tuning.noise.keep
            first, last = (
                np.log10(np.maximum(each.mean[keep], 1e-30)) * 10.0 for each in (mine[0], mine[-1])
            )
            apart = (last - first) - np.median(last - first)
            width = max(len(apart) // 8, 1)
            smooth = np.convolve(apart, np.ones(width) / width, "valid")
            chance = 4.34 * math.sqrt(2.0 * 2.0 / (width * max(min(each.segments for each in mine), 1)))
            if math.sqrt(float(np.mean(smooth**2))) > max(SHAPE_DB, 4.0 * chance):
                yield (
                    f"the receiver's filter (its shape changed within the pass on {channel.band}: switch off notch and "
                    "noise reduction)"
                )
                return


def _gain(
    heard: Mapping[Channel, Sequence[Labelled]],
    learned: Mapping[Channel, Learned],
    readings: Sequence[Reading],
) -> Iterator[str]:
    """The first band on which the stage's step is not the same at two levels of the sound."""
    for band in dict.fromkeys(each.channel.band for each in readings):
        noise = {path: _noise(readings, band, path) for path in PATHS}
        step_db = _step_db(noise)
        if step_db is None or abs(step_db) < APART_DB:
            continue
        for seen in (_carrier_held(readings, band, noise), _noise_beside(heard, learned, band, step_db)):
            if seen:
                yield (
                    f"gain (on {band} the stage steps noise by {step_db:.0f} dB and {seen}: the gain control is on, or "
                    "something clips)"
                )
                return


PATHS = (ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE)
Powers = Mapping[SignalPath, float | None]


def _carrier_held(readings: Sequence[Reading], band: str, noise: Powers) -> str:
    """A carrier that stands alike in all stays, stage in or out, while noise steps: fading alone would have to undo the
    step every time. Empty where none does.
    """
    stays = [
        each
        for each in readings
        if (each.channel.band, each.channel.purpose) == (band, "carrier") and each.path in PATHS[:2]
    ]
    levels = [each.reading for each in stays]
    clear = all(10 ** (each.reading / 10) > CLEAR * (noise[each.path] or 0.0) for each in stays)
    if len(stays) < 4 or not clear or max(levels) - min(levels) >= HELD_DB:
        return ""
    return f"leaves the carrier within {max(levels) - min(levels):.1f} dB"


def _noise_beside(
    heard: Mapping[Channel, Sequence[Labelled]], learned: Mapping[Channel, Learned], band: str, step_db: float
) -> str:
    """The same step beside a loud carrier, by the noise there, which does not fade; empty where it is the same.

    What the antenna adds to the load in bypass, the step should bring to the stage. Noise that lies under that of the
    load there, and over it where no carrier stands, has sunk with the gain.
    """
    for channel, tuning in learned.items():
        if (channel.band, channel.purpose) != (band, "carrier") or not _loud(heard[channel], tuning):
            continue
        out, within, load_out, load_within = (_under(heard[channel], tuning, path) for path in PATHS)
        if out is None or within is None or load_out is None or load_within is None:
            continue
        if min(out / load_out, within / load_within) < 1.0 / SUNK:
            return "noise beside the carrier sinks under that of the load"
        due = load_within + max(out - load_out, 0.0) * 10 ** (step_db / 10)
        short_db = 10.0 * math.log10(due / within) * math.copysign(1.0, step_db)
        if short_db > HELD_DB:
            return f"by {short_db:.0f} dB less beside the carrier"
    return ""


def _loud(sequence: Sequence[Labelled], tuning: Learned) -> bool:
    """Whether signals carry the sound of the antenna in bypass, not noise."""
    usable, noise = tuning.noise.usable, tuning.noise
    return any(
        float(one.spectrum.mean[usable].sum())
        > LOUD * noise.level(one.spectrum.mean) * float(noise.pass_band[usable].sum())
        for one in sequence
        if one.path == ANTENNA_BYPASS
    )


def _under(sequence: Sequence[Labelled], tuning: Learned, path: SignalPath) -> float | None:
    """Mean noise in a bin beside what stands in a tuning."""
    mine = [tuning.noise.level(one.spectrum.mean) for one in sequence if one.path == path]
    return fmean(mine) if mine else None


def _noise(readings: Sequence[Reading], band: str, path: SignalPath) -> float | None:
    """Mean power of a band's noise, of full scale, in a cell."""
    mine = [
        10 ** (each.reading / 10)
        for each in readings
        if each.channel.band == band
        and each.channel.purpose == "noise"
        and each.path == path
        and not each.flags
    ]
    return fmean(mine) if mine else None


def _step_db(noise: Powers) -> float | None:
    """The stage's gain in dB by noise, that of the load taken off; None where either route is not clear of it."""
    out, within, load_out, load_within = (noise[path] for path in PATHS)
    if out is None or within is None or load_out is None or load_within is None:
        return None
    if out < OVER_LOAD * load_out or within < OVER_LOAD * load_within:
        return None
    return 10.0 * math.log10((within - load_within) / (out - load_out))


TUNING_HZ = 3000
"""What one tuning of a receiver of speech shows, to each side of its channel."""


def of_tuning(row: Channel, channel: Channel) -> bool:
    """Whether a row may come of a channel's tuning: its carrier, or one of its noise cells."""
    within = 0 if channel.purpose == "carrier" else TUNING_HZ
    return (row.band, row.purpose) == (channel.band, channel.purpose) and abs(row.hz - channel.hz) <= within


def of_its_meter(
    shown: Mapping[tuple[Channel, str], Sequence[float]], readings: Sequence[Reading], apart_db: float
) -> tuple[str, ...]:
    """What the receiver's own meter says of the stage, where that clearly is not what the sound says."""
    moves: list[tuple[float, float]] = []
    for channel in dict.fromkeys(channel for channel, _ in shown):
        own = [each for each in readings if of_tuning(each.channel, channel)]
        heard = [[each.reading for each in own if each.path == path] for path in PATHS[:2]]
        meter = [shown.get((channel, str(path)), ()) for path in PATHS[:2]]
        if all(heard) and all(meter):
            moves.append((fmean(heard[1]) - fmean(heard[0]), fmean(meter[1]) - fmean(meter[0])))
    if not moves:
        return ()
    by_sound, by_meter = median(each[0] for each in moves), median(each[1] for each in moves)
    if abs(by_meter) < apart_db / 2 or abs(by_sound - by_meter) < apart_db:
        return ()
    return (
        f"gain (with the stage its own meter moves by {by_meter:+.0f} dB, its sound by {by_sound:+.0f} dB)",
    )
