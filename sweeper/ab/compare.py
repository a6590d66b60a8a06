"""In and out compared across the edges of one tuning: S/N change, noise change, gain, noise rise, and the verdict.

Pure: labelled spectra in, `ABResult` out; from a file and from a rig alike.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import inf
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sweeper.ab.gathered import Gathered, gather
from sweeper.ab.judging import has_left, is_unsteady, odd_ones, own_lines, verdict_of
from sweeper.ab.noise_change import noise_change, unlike
from sweeper.ab.overload import new_lines
from sweeper.ab.pooled import DB, Both, clear_edges, interval, pool
from sweeper.ab.reason import reason_of
from sweeper.ab.result import ABResult, CarrierChange, Picture, Switched
from sweeper.ab.rise import rise_and_cap
from sweeper.ab.sides import Learned, NoNoise, learn
from sweeper.ab.steadiness import gain_of
from sweeper.analysis import Interval
from sweeper.spectra.carriers import Signal
from sweeper.spectra.welch import shape_of
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Labelled

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

FLAGS = (
    "overload", "in-step", "agc", "gain-unknown", "carrier-left", "odd-signal", "occupied", "birdie", "leakage",
    "image", "clipped",
)  # fmt: skip
"""All that this may say of a recording, in the order in which it is told."""
WITHHOLDING = frozenset({"overload", "in-step", "occupied"})
FEWEST_KEPT = 0.2
"""Share of the usable bins that noise has to fill to be taken for noise."""
WITNESS_DB = 1.0
"""The quantile's noise and the excised one differ by no more where either is right."""
CLEAR = 4.0
"""S/N in a bin, linear (6 dB), from which a signal is counted. What stands lower may be the ripple of the receiver's
filter, and noise taken for a signal says that nothing changes, with great confidence."""
REFERENCE_HZ = 2400.0


@dataclass(frozen=True, slots=True)
class Terms:
    """What the caller knows and wants. `gain_known`: the receiver's gain is known to be constant (True) or not (False);
    None: to be told from the data, and for audio to be shown. `centre_hz`: of samples of a band; None for audio.
    `apart_s`: sides that lie further apart are not compared.
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
    apart_s: float = inf
    flags: tuple[str, ...] = ()


def compare(sequence: Iterable[Labelled], terms: Terms | None = None) -> ABResult:
    """Compare stage and bypass over a sequence in the order of time, which may be gone through several times.

    Intervals at `terms.confidence`; `NoNoise` where there is nothing to compare with (silence, no noise bins, one
    route only, no clean edge).
    """
    terms = terms or Terms()
    learned = learn(sequence, terms.centre_hz, terms.band_hz)
    gathered = gather(sequence, learned, terms.apart_s)
    if gathered is None:
        raise NoNoise("no edge is clean on both sides")
    state = _gain_state(gathered, terms)
    if state == "constant":  # the noise of a whole side is known better than that of each spectrum
        gathered = replace(gathered, both=gathered.level)
    both = gathered.both
    changes = [_change(both.of([nth]), terms) for nth in range(len(learned.signals))]
    told = _sorted_out(learned, gathered, changes)
    occupied = _is_occupied(learned)
    once, watched = (_change(both.of(told.counted), terms, watched=after) for after in (False, True))
    only_in, only_out = new_lines(sequence, learned, None if occupied else once)
    if occupied or (only_in and only_out):
        once = watched = None
    shown = watched if terms.watched else once
    constant = state == "constant" and not occupied and not (only_in and only_out)
    noise = (
        noise_change(np.log(gathered.noise_stage / gathered.noise_bypass), unlike(learned), terms.confidence)
        if constant
        else None
    )
    rise, cap = rise_and_cap(gathered, terms.confidence) if constant else (None, None)
    flags = told.flags | {
        "overload": only_in and not only_out,
        "in-step": only_in and only_out,
        "agc": state == "follows",
        "gain-unknown": state == "unknown",
        "occupied": occupied,
        "clipped": gathered.spoiled > 0,
    }
    seen = tuple(name for name in FLAGS if flags[name])
    hz = learned.start_hz + learned.step_hz * np.flatnonzero(learned.noise.usable)
    found = ABResult(
        source=terms.source,
        at=terms.at,
        hz=terms.hz,
        edges_hz=(float(hz[0]), float(hz[-1])),
        seconds=float(gathered.at_s[-1] - gathered.at_s[0]) if terms.seconds is None else terms.seconds,
        edges=len(gathered.at_s),
        confidence=terms.confidence,
        worthwhile_db=terms.worthwhile_db,
        switched=terms.switched,
        noise_change_db=noise,
        gain_db=_gain(gathered, told.counted, terms) if constant else None,
        noise_rise_db=rise,
        snr_change_db=shown,
        carriers=tuple(
            _carrier(learned, signal, changes[nth], gathered, nth, told.why_out(nth))
            for nth, signal in enumerate(learned.signals)
        ),
        verdict="undecided" if WITHHOLDING & set(seen) else verdict_of(shown, terms.worthwhile_db),
        flags=tuple(dict.fromkeys((*seen, *terms.flags))),
        reason="",
        watched_db=watched,
        cap_db=cap,
        clear=clear_edges(both.of(told.counted)),
        picture=_picture(learned, gathered, constant),
    )
    return replace(found, reason=reason_of(found))


@dataclass(frozen=True, eq=False)
class _SortedOut:
    """Which signals are counted, and why the others are not; shapes (signals,)."""

    counted: Mask
    own: Mask
    left: Mask
    weak: Mask
    odd: Mask
    kinds: tuple[str, ...]

    def why_out(self, nth: int) -> str | None:
        """In a word, or None for one that is counted."""
        reasons = {"birdie": self.own, "left": self.left, "weak": self.weak, "odd": self.odd}
        return next((word for word, mask in reasons.items() if mask[nth]), None)

    @property
    def flags(self) -> dict[str, bool]:
        """What of this is told with the result."""
        return {
            "carrier-left": bool(self.left.any()),
            "odd-signal": bool(self.odd.any()),
            "birdie": "birdie" in self.kinds or bool(self.own.any()),
            "leakage": "leakage" in self.kinds,
            "image": "image" in self.kinds,
        }


def _sorted_out(learned: Learned, gathered: Gathered, changes: list[Interval | None]) -> _SortedOut:
    """Leave out what did not come by the antenna, left midway, is too weak, or changed otherwise than the others."""
    both, kinds = gathered.both, tuple(signal.kind for signal in learned.signals)
    left = np.array(
        [
            has_left(both.bypass[:, 0, nth], both.stage[:, 0, nth], both.spread[0, nth])
            for nth in range(len(kinds))
        ],
        np.bool_,
    )
    weak = np.array([signal.strength < CLEAR for signal in learned.signals], np.bool_)
    taken = np.array([kind in ("signal", "leakage") for kind in kinds], np.bool_) & ~left & ~weak
    own = taken & own_lines(
        gathered.noise_stage, gathered.noise_bypass, both.stage[:, 0], both.bypass[:, 0], both.spread[0]
    )
    taken &= ~own
    odd = odd_ones(changes, taken)
    return _SortedOut(taken & ~odd, own, left, weak, odd, kinds)


def _change(both: Both, terms: Terms, *, watched: bool = False) -> Interval | None:
    pooled = pool(both)
    return None if pooled is None else interval(pooled, terms.confidence, watched=watched)


def _gain(gathered: Gathered, counted: Mask, terms: Terms) -> Interval | None:
    """The signals' own powers compared in the same way, with the step of the noise taken out and added again."""
    unit, step = (
        float(np.median(gathered.noise_bypass)),
        float(np.median(gathered.noise_stage / gathered.noise_bypass)),
    )
    both = gathered.both
    powers = Both(
        both.stage * (gathered.noise_stage / unit / step)[:, None, None],
        both.bypass * (gathered.noise_bypass / unit)[:, None, None],
        both.spread,
        both.way,
    )
    found, shift = _change(powers.of(counted), terms), DB * float(np.log(step))
    return None if found is None else Interval(found.value + shift, found.low + shift, found.high + shift)


def _gain_state(gathered: Gathered, terms: Terms) -> Literal["constant", "follows", "unknown"]:
    """Samples of a band and what the caller vouches for count as constant unless the data show that it follows."""
    if terms.gain_known is False:
        return "follows"
    noise = np.stack([gathered.noise_bypass, gathered.noise_stage], axis=1).ravel()
    total = np.stack([gathered.total_bypass, gathered.total_stage], axis=1).ravel()
    state = gain_of(noise, total, np.tile([False, True], len(gathered.at_s)), gathered.own_variance).state
    return "constant" if state == "unknown" and (terms.gain_known or terms.centre_hz is not None) else state


def _carrier(
    learned: Learned,
    signal: Signal,
    change: Interval | None,
    gathered: Gathered,
    nth: int,
    out: str | None,
) -> CarrierChange:
    # in units of one bin's noise; a line fills the window's own width, so the sum over its bins counts that often
    power = max(float(np.mean(gathered.both.bypass[:, 0, nth])) * len(signal.core), 1e-6)
    snr_db = 10.0 * np.log10(power * learned.step_hz / REFERENCE_HZ)
    if signal.kind in ("birdie", "image"):
        kind = signal.kind
    elif out is not None:
        kind = out
    else:
        kind = "unsteady" if is_unsteady(gathered.unrest[:, nth]) else "steady"
    place = learned.start_hz + learned.step_hz * float(np.average(signal.core))
    return CarrierChange(place, float(snr_db), change if kind != "image" else None, kind)


def _is_occupied(learned: Learned) -> bool:
    """Whether signals fill so much that noise and signals cannot be told apart: few bins alike, or a witness that says
    else (the lower quartile of all bins, which signals lift by 0.4 dB where they fill half).
    """
    noise = learned.noise
    apart = [
        abs(DB * np.log(noise.quartile_level(mean, shape_of(learned.segments[path])) / noise.level(mean)))
        for path, mean in learned.means.items()
        if path in (ANTENNA_BYPASS, ANTENNA_STAGE)
    ]
    return noise.share < FEWEST_KEPT or max(apart) > WITNESS_DB


def _picture(learned: Learned, gathered: Gathered, constant: bool) -> Picture:
    """Mean spectra, at the levels of the edges where these can be compared."""
    noise, out = learned.noise, float(np.median(gathered.noise_bypass))
    within = float(np.median(gathered.noise_stage)) if constant else out
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
