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
        *_gain(readings),
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


def _gain(readings: Sequence[Reading]) -> Iterator[str]:
    """The stage's step at two levels: that of noise, with the load taken off, and that of a carrier.

    A carrier that stands alike in all stays, stage in or out, while noise steps, is held there: fading alone would
    have to undo the step every time.
    """
    for band in dict.fromkeys(each.channel.band for each in readings):
        noise = {path: _noise(readings, band, path) for path in PATHS}
        by_noise = _ratio(*(noise[path] for path in (ANTENNA_STAGE, LOAD_STAGE, ANTENNA_BYPASS, LOAD_BYPASS)))
        stays = [
            each
            for each in readings
            if (each.channel.band, each.channel.purpose) == (band, "carrier") and each.path in PATHS[:2]
        ]
        if by_noise is None or abs(by_noise) < APART_DB or len(stays) < 4:
            continue
        levels = [each.reading for each in stays]
        clear = all(10 ** (each.reading / 10) > CLEAR * (noise[each.path] or 0.0) for each in stays)
        if clear and max(levels) - min(levels) < HELD_DB:
            yield (
                f"gain (on {band} the stage steps noise by {by_noise:.0f} dB and leaves the carrier within "
                f"{max(levels) - min(levels):.1f} dB: the gain control is on, or something clips)"
            )
            return


PATHS = (ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE)


def _noise(readings: Sequence[Reading], band: str, path: object) -> float | None:
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


def _ratio(
    up: float | None, under_up: float | None, down: float | None, under_down: float | None
) -> float | None:
    """Gain in dB from powers over what lies under them; None where either is not clear of it."""
    if up is None or under_up is None or down is None or under_down is None:
        return None
    if up < CLEAR * under_up or down < CLEAR * under_down:
        return None
    return 10.0 * math.log10((up - under_up) / (down - under_down))


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
