"""In and out compared across the edges of one tuning: S/N change, noise change, gain, noise rise, and the verdict.

Pure: labelled spectra in, `ABResult` out; from a file and from a rig alike.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sweeper.ab import pooled
from sweeper.ab.intervals import (
    FEWEST_BLOCKS,
    FIRST_SHOWN,
    mean_interval,
    solved_interval,
    t_limit,
    watched_limit,
)
from sweeper.ab.overload import NewLines
from sweeper.ab.reason import reason_of
from sweeper.ab.result import ABResult, CarrierChange, Interval, Picture, Switched, Verdict
from sweeper.ab.sides import Learned, NoNoise, Seen, edges, learn
from sweeper.ab.steadiness import gain_of
from sweeper.spectra.carriers import Signal
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Labelled

Floats = NDArray[np.float64]

DB = 10.0 / np.log(10.0)
WITHHOLDING = frozenset({"overload"})
UNSTEADY = 0.5
"""Mean step of ln S/N from one sub-spectrum to the next (2.2 dB) from which a signal is speech, keying or data."""
REFERENCE_HZ = 2400.0
ODD_DB = 3.0
"""A signal whose change differs by this much from the others', and beyond its own error, is not counted with them."""


@dataclass(frozen=True, slots=True)
class Terms:
    """What the caller knows and wants. `gain_known`: the receiver's gain is known to be constant (True) or not (False);
    None: to be told from the data, and for audio to be shown. `centre_hz`: of samples of a band; None for audio.
    """

    source: Literal["file", "now"] = "file"
    at: str | None = None
    hz: float | None = None
    centre_hz: float | None = None
    band_hz: tuple[float, float] | None = None
    confidence: float = 0.95
    worthwhile_db: float = 1.0
    gain_known: bool | None = None
    watched: bool = False
    switched: tuple[Switched, ...] = ()
    seconds: float | None = None
    flags: tuple[str, ...] = ()


@dataclass(eq=False)
class _Gathered:
    """Arrays over the edges between bypass and stage on the antenna; shapes (edges,) and (edges, signals)."""

    at_s: list[float] = field(default_factory=list)
    noise: list[tuple[float, float]] = field(default_factory=list)
    total: list[tuple[float, float]] = field(default_factory=list)
    stage_last: list[bool] = field(default_factory=list)
    bypass: list[Floats] = field(default_factory=list)
    stage: list[Floats] = field(default_factory=list)
    unrest: list[Floats] = field(default_factory=list)
    segments: list[int] = field(default_factory=list)
    on_load: dict[str, list[float]] = field(default_factory=dict)
    spoiled: int = 0

    def add(self, seen: Seen) -> None:
        before, after = seen.before, seen.after
        pair = {before.path, after.path}
        if pair == {ANTENNA_BYPASS, ANTENNA_STAGE}:
            out, within = (before, after) if after.path == ANTENNA_STAGE else (after, before)
            self.at_s.append(seen.at_s)
            self.noise.append((out.noise, within.noise))
            self.total.append((out.total, within.total))
            self.stage_last.append(after.path == ANTENNA_STAGE)
            self.bypass.append(out.over)
            self.stage.append(within.over)
            self.unrest.append((before.unrest + after.unrest) / 2.0)
            self.segments.append(min(before.segments, after.segments))
        elif before.path.route == after.path.route and {before.path.source, after.path.source} == {
            "antenna",
            "load",
        }:
            antenna, load = (before, after) if before.path.source == "antenna" else (after, before)
            rises = self.on_load.setdefault(before.path.route, [])
            rises.append(float(np.log(antenna.noise / load.noise)))


def compare(sequence: Iterable[Labelled], terms: Terms | None = None) -> ABResult:
    """Compare stage and bypass over a sequence in the order of time, which may be gone through several times.

    Intervals at `terms.confidence`; `NoNoise` where there is nothing to compare with (silence, no noise bins, one
    route only).
    """
    terms = terms or Terms()
    learned = learn(sequence, terms.centre_hz, terms.band_hz)
    kinds = [signal.kind for signal in learned.signals]
    gathered = _Gathered()
    for seen in edges(sequence, learned):
        if seen is None:
            gathered.spoiled += 1
        else:
            gathered.add(seen)
    count = len(gathered.at_s)
    if count == 0:
        raise NoNoise("no clean edge")
    flags = list(terms.flags)
    bypass, stage = np.array(gathered.bypass), np.array(gathered.stage)
    outs, ins = np.array(gathered.noise).T
    spread = _one_side(learned, float(np.median(gathered.segments)))
    taken = np.array([kind in ("signal", "leakage") for kind in kinds], np.bool_)
    steps = np.array(
        [_own_change(stage[:, j], bypass[:, j], spread[j], terms) for j in range(len(kinds))], object
    )
    left = np.array([_left(bypass[:, j], stage[:, j], spread[j]) for j in range(len(kinds))], np.bool_)
    odd = _odd(steps, taken & ~left)
    counted = taken & ~left & ~odd
    snr, watched, _x = _snr_change(stage, bypass, spread, counted, terms)
    noise_steps = np.log(ins / outs)
    gain_state = _gain_constant(gathered, terms)
    if gain_state == "follows":
        flags.append("agc")
    elif gain_state == "unknown":
        flags.append("gain-unknown")
    constant = gain_state == "constant"
    noise_change = _mean_db(noise_steps, terms) if constant else None
    gain = _gain(stage, bypass, ins, outs, spread, counted, terms) if constant else None
    rise, cap = _rise(gathered, constant)
    if _overloaded(sequence, learned, snr):
        flags.append("overload")
    flags += [
        name
        for name, there in (
            ("carrier-left", left.any()),
            ("birdie", "birdie" in kinds),
            ("odd-signal", odd.any()),
            ("leakage", "leakage" in kinds),
            ("image", "image" in kinds),
            ("clipped", gathered.spoiled > 0),
        )
        if there
    ]
    shown = watched if terms.watched else snr
    verdict = _verdict(shown, terms) if not WITHHOLDING & set(flags) else "undecided"
    carriers = tuple(
        _carrier(learned, signal, steps[j], bypass[:, j], np.array(gathered.unrest)[:, j], left[j], odd[j])
        for j, signal in enumerate(learned.signals)
    )
    hz = learned.start_hz + learned.step_hz * np.flatnonzero(learned.noise.usable)
    result = ABResult(
        source=terms.source,
        at=terms.at,
        hz=terms.hz,
        edges_hz=(float(hz[0]), float(hz[-1])),
        seconds=terms.seconds if terms.seconds is not None else gathered.at_s[-1] - gathered.at_s[0],
        edges=count,
        confidence=terms.confidence,
        worthwhile_db=terms.worthwhile_db,
        switched=terms.switched,
        noise_change_db=noise_change,
        gain_db=gain,
        noise_rise_db=rise,
        snr_change_db=shown,
        carriers=carriers,
        verdict=verdict,
        flags=tuple(dict.fromkeys(flags)),
        reason="",
        watched_db=watched,
        cap_db=cap,
        picture=_picture(
            learned, float(np.median(outs)), float(np.median(ins)) if constant else float(np.median(outs))
        ),
    )
    return replace(result, reason=reason_of(result))


def _interval(value: float, low: float, high: float) -> Interval:
    """Plain numbers, whatever computed them."""
    return Interval(float(value), float(low), float(high))


def _half(it: Interval) -> float:
    return (it.high - it.low) / 2.0


def _one_side(learned: Learned, segments: float) -> Floats:
    """Standard deviation of S/N on one side of an edge where there is no signal: noise in the core and of the level."""
    sizes = np.array([len(signal.core) for signal in learned.signals], np.float64)
    kept = float(learned.noise.keep.sum())
    return np.sqrt((np.minimum(1.0, 2.0 / np.maximum(sizes, 1.0)) + 2.0 / kept) / segments)


def _own_change(stage: Floats, bypass: Floats, spread: float, terms: Terms) -> Interval | None:
    x, weight = pooled.common_change(stage[:, None], bypass[:, None], np.array([spread]))
    if not np.isfinite(x) or float(weight.sum()) < FEWEST_BLOCKS:
        return None
    return _solved(stage[:, None], bypass[:, None], weight, x, terms, watched=False)


def _solved(
    stage: Floats, bypass: Floats, weight: Floats, x: float, terms: Terms, *, watched: bool
) -> Interval | None:
    each = pooled.scores(stage, bypass, x, weight).sum(axis=1)
    there = weight.sum(axis=1) > 0.0
    if there.sum() < FEWEST_BLOCKS:
        return None
    length = pooled.block_length(each[there])

    def blocks(at: float) -> Floats:
        return pooled.blocked(pooled.scores(stage, bypass, at, weight).sum(axis=1)[there], length)

    number = len(blocks(x))
    if number < FEWEST_BLOCKS or (watched and number < FIRST_SHOWN):
        return None
    limit = watched_limit(number, terms.confidence) if watched else t_limit(number, terms.confidence)
    value, low, high = solved_interval(blocks, limit)
    if not np.isfinite(value):
        return None
    return _interval(value * DB, low * DB, high * DB)


def _snr_change(
    stage: Floats, bypass: Floats, spread: Floats, counted: NDArray[np.bool_], terms: Terms
) -> tuple[Interval | None, Interval | None, float]:
    if not counted.any():
        return None, None, float("nan")
    stage, bypass, spread = stage[:, counted], bypass[:, counted], spread[counted]
    x, weight = pooled.common_change(stage, bypass, spread)
    if not np.isfinite(x):
        return None, None, x
    once = _solved(stage, bypass, weight, x, terms, watched=False)
    return once, _solved(stage, bypass, weight, x, terms, watched=True), x


def _gain(
    stage: Floats,
    bypass: Floats,
    ins: Floats,
    outs: Floats,
    spread: Floats,
    counted: NDArray[np.bool_],
    terms: Terms,
) -> Interval | None:
    """The same on the signals' own powers, in units of the noise of bypass."""
    if not counted.any():
        return None
    unit = float(np.median(outs))
    step = float(np.median(ins / outs))
    inside = stage[:, counted] * (ins / unit / step)[:, None]
    outside = bypass[:, counted] * (outs / unit)[:, None]
    x, weight = pooled.common_change(inside, outside, spread[counted])
    if not np.isfinite(x):
        return None
    found = _solved(inside, outside, weight, x, terms, watched=False)
    shift = DB * float(np.log(step))
    return None if found is None else _interval(found.value + shift, found.low + shift, found.high + shift)


def _mean_db(steps: Floats, terms: Terms) -> Interval | None:
    """Mean over edges of a log ratio, those far out left aside (a burst on one side), by blocks."""
    middle = float(np.median(steps))
    scale = 1.4826 * float(np.median(np.abs(steps - middle))) + 1e-9
    kept = steps[np.abs(steps - middle) < 6.0 * scale]
    if len(kept) < FEWEST_BLOCKS:
        return None
    length = pooled.block_length(kept - kept.mean())
    blocks = np.array([part.mean() for part in np.array_split(kept, max(len(kept) // length, 1))])
    value, low, high = mean_interval(blocks, t_limit(len(blocks), terms.confidence))
    return _interval(value * DB, low * DB, high * DB)


def _gain_constant(gathered: _Gathered, terms: Terms) -> Literal["constant", "follows", "unknown"]:
    if terms.gain_known is False:
        return "follows"
    outs, ins = np.array(gathered.noise).T
    totals_out, totals_in = np.array(gathered.total).T
    noise = np.stack([outs, ins], axis=1).ravel()
    total = np.stack([totals_out, totals_in], axis=1).ravel()
    routes = np.tile([False, True], len(outs))
    state = gain_of(noise, total, routes).state
    if state == "unknown" and (terms.gain_known or terms.centre_hz is not None):
        return "constant"
    return state


def _rise(gathered: _Gathered, constant: bool) -> tuple[Interval | None, float | None]:
    """Noise rise in bypass, and the S/N change that no stage can exceed: L(Y) = Y − 10 log₁₀(10^(Y/10) − 1)."""
    rises = np.array(gathered.on_load.get("bypass", []))
    if not constant or len(rises) < 2:
        return None, None
    mean = float(rises.mean())
    half = float(rises.std(ddof=1) / np.sqrt(len(rises))) * t_limit(len(rises), 0.95)
    rise = _interval(mean * DB, (mean - half) * DB, (mean + half) * DB)
    lowest = max(rise.low, 0.0)
    cap = lowest - 10.0 * np.log10(10 ** (lowest / 10.0) - 1.0) if lowest > 0.05 else None
    return rise, None if cap is None else float(cap)


def _overloaded(sequence: Iterable[Labelled], learned: Learned, snr: Interval | None) -> list[int]:
    possible = 10.0 ** (min(snr.high, 20.0) / 10.0) if snr is not None else 10.0
    lines = NewLines.of(len(learned.noise.keep), possible)
    for seen in edges(sequence, learned):
        if seen is not None and {seen.before.path, seen.after.path} == {ANTENNA_BYPASS, ANTENNA_STAGE}:
            out, within = (
                (seen.before, seen.after) if seen.after.path == ANTENNA_STAGE else (seen.after, seen.before)
            )
            lines.add(out.bins, within.bins, min(out.segments, within.segments))
    return lines.runs(learned.noise.usable)


def _left(bypass: Floats, stage: Floats, spread: float) -> bool:
    """Whether a signal that stood well over the noise for a third of the time is gone for another third."""
    both = np.maximum(bypass, 0.0) + np.maximum(stage, 0.0)
    third = max(len(both) // 3, 2)
    if len(both) < 6:
        return False
    first, last = float(np.median(both[:third])), float(np.median(both[-third:]))
    least, most = min(first, last), max(first, last)
    return most > 20.0 * spread and least < 3.0 * spread and least < most / 20.0


def _odd(steps: NDArray[np.object_], taken: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Signals whose change is far from the others', beyond their own error: they did not come through the stage."""
    odd = np.zeros(len(steps), np.bool_)
    known = [j for j in range(len(steps)) if taken[j] and steps[j] is not None]
    if len(known) < 4:
        return odd
    middle = float(np.median([steps[j].value for j in known]))
    for j in known:
        far = abs(steps[j].value - middle)
        odd[j] = far > ODD_DB and far > 2.0 * _half(steps[j]) and np.isfinite(_half(steps[j]))
    return odd if odd.sum() <= len(known) / 3 else np.zeros(len(steps), np.bool_)


def _verdict(it: Interval | None, terms: Terms) -> Verdict:
    if it is None:
        return "undecided"
    if it.low > terms.worthwhile_db:
        return "stage"
    if it.high < -terms.worthwhile_db:
        return "bypass"
    return "either" if -terms.worthwhile_db < it.low and it.high < terms.worthwhile_db else "undecided"


def _carrier(
    learned: Learned,
    signal: Signal,
    step: Interval | None,
    bypass: Floats,
    unrest: Floats,
    left: bool,
    odd: bool,
) -> CarrierChange:
    place = learned.start_hz + learned.step_hz * float(np.average(signal.core))
    power = max(float(np.mean(bypass)) * len(signal.core), 1e-6)  # in units of one bin's noise
    snr_db = 10.0 * np.log10(
        power * learned.step_hz * (learned.noise_bandwidth_hz / learned.step_hz) / 2.0 / REFERENCE_HZ
    )
    if signal.kind in ("birdie", "image"):
        kind = signal.kind
    elif left or odd:
        kind = "left" if left else "odd"
    else:
        known = unrest[np.isfinite(unrest)]
        kind = "unsteady" if len(known) and float(np.median(known)) > UNSTEADY else "steady"
    return CarrierChange(place, float(snr_db), step if kind != "image" else None, kind)


def _picture(learned: Learned, out: float, within: float) -> Picture:
    noise = learned.noise
    bypass, stage = (
        learned.means[path] / noise.level(learned.means[path]) * level
        for path, level in ((ANTENNA_BYPASS, out), (ANTENNA_STAGE, within))
    )
    hz = learned.start_hz + learned.step_hz * np.arange(len(bypass))
    return Picture(
        tuple(hz.tolist()),
        tuple((10.0 * np.log10(np.maximum(bypass, 1e-20))).tolist()),
        tuple((10.0 * np.log10(np.maximum(stage, 1e-20))).tolist()),
        tuple(noise.keep.tolist()),
    )


def hz_span(sequence: Sequence[Labelled]) -> tuple[float, float]:
    """Lowest and highest frequency of a sequence's spectra."""
    spectrum = sequence[0].spectrum
    return spectrum.start_hz, spectrum.start_hz + spectrum.step_hz * (len(spectrum.mean) - 1)
