"""A recording compared: read for its level, its edges found or checked, spectra taken at them, in and out compared."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np

from drivers.samples.file import Recording, RecordingError, open_recording
from sweeper.ab import ABResult, NoNoise, Switched, Terms, compare, flagged, untold
from sweeper.ab.intervals import FEWEST_BLOCKS
from sweeper.ab.moments import (
    NEVER_AT_REST,
    Marks,
    Moment,
    Turning,
    coming_s,
    moments,
    steps_between,
    turning,
)
from sweeper.errors import UserFacingError, WrongInput
from sweeper.recordings import refused
from sweeper.recordings.at_edges import AtEdges
from sweeper.recordings.converter import converter_of
from sweeper.recordings.labels import Mark, agree, read_marks, route_path, seen_mark, stated
from sweeper.recordings.levels import Levels, levels_of
from sweeper.recordings.noise_kinds import kinds_of_noise
from sweeper.spectra.axis import Axis, axis_of

AUDIO_HZ = (100.0, 5000.0)
SAMPLED_SHARE = 0.47
"""Of the sampled width to both sides of the centre; beyond, filters against aliases fall off."""
SETTLE_S, SETTLE_FOUND_S = 0.10, 0.16
SEEN_S = SETTLE_FOUND_S - SETTLE_S
"""What a moment that was seen in the noise may be off by."""
LINEAR_MODES = ("USB", "LSB", "CW")


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person says about a recording. `first`: ``bypass`` or ``stage``; `agc_off`: known to be off."""

    files: tuple[Path, ...]
    dial_hz: float | None = None
    mode: str | None = None
    centre_hz: float | None = None
    switched: str | None = None
    marks: Path | None = None
    first: str | None = None
    channel: int | None = None
    agc_off: bool = False
    confidence: float = 0.95
    worthwhile_db: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """The finding and what a page draws beside it."""

    result: ABResult
    levels: Levels
    notes: tuple[str, ...]
    name: str
    rate_hz: float
    real: bool


def compare_recording(asked: Asked, told: Callable[[float], None] = lambda share: None) -> Compared:
    """Read, check and compare. `WrongInput` (2) for a wrong call or file, `UserFacingError` (1) where it allows no
    comparison.
    """
    _call(asked)
    try:
        return _compared(_opened(asked), asked, told)
    except RecordingError as fault:  # also where it turns out to be damaged midway
        raise WrongInput(str(fault)) from fault


def _compared(recording: Recording, asked: Asked, told: Callable[[float], None]) -> Compared:
    name = (
        str(asked.files[0]) if len(asked.files) == 1 else f"{asked.files[0]} and {len(asked.files) - 1} more"
    )
    axis = _axis(recording, asked)
    levels = levels_of(recording, axis, lambda share: told(0.7 * share))
    for unfit in (refused.silent, refused.clipped, refused.processed):
        if why := unfit(levels, name):
            raise UserFacingError(why)
    converter = converter_of(recording)
    if still := refused.hardly_moved(converter, name):
        raise UserFacingError(still)
    if recording.real and asked.mode is None:
        _no_am(levels, axis, name)
    marks, found, turned = _marks(recording, levels, asked, name)
    start_s = recording.started.timestamp() if recording.started else 0.0
    settle_s = SETTLE_FOUND_S if found else SETTLE_S
    sequence = AtEdges(recording, axis, marks, settle_s, start_s, converter.step_noise)
    terms = Terms(
        source="file",
        at=_instant(recording.started),
        hz=_hz(recording, asked),
        centre_hz=None if recording.real else axis.centre_hz,
        confidence=asked.confidence,
        worthwhile_db=asked.worthwhile_db,
        gain_known=True if asked.agc_off else None,
        switched=tuple(Switched(mark.at_s, str(mark.path)) for mark in marks),
        seconds=recording.seconds,
        flags=("clipped",) if levels.clipped > 1e-4 else (),
        apart_s=turned.apart_s + 2.0 * settle_s,
    )
    try:
        result = compare(sequence, terms)
    except NoNoise as why:
        raise UserFacingError(f"{name}: {why}, so nothing can be compared.") from why
    _enough(result, name)
    keyed = any(signal.kind == "unsteady" for signal in result.carriers)
    kinds = kinds_of_noise(recording, axis, marks, settle_s, asked.confidence, keyed)
    notes = [*recording.notes, *kinds]
    if turned.coming_s > 0.0:
        notes.append(
            f"After the switch the noise comes to rest within {turned.coming_s:.1f} s, as with a stage whose supply is "
            "switched with it; that time is left out."
        )
    told(1.0)
    if levels.clipped > 0.0:
        notes.append(
            f"{levels.clipped:.2%} of the samples are clipped; switchings with clipping beside them are left out."
        )
    return Compared(result, levels, tuple(notes), name, recording.rate_hz, recording.real)


def _opened(asked: Asked) -> Recording:
    """The files as one recording. `RecordingError` where they are none."""
    return open_recording(
        asked.files,
        centre_hz=asked.centre_hz,
        channel=asked.channel,
        samples=False if asked.dial_hz is not None or asked.mode is not None else None,
    )


def _enough(result: ABResult, name: str) -> None:
    """`UserFacingError` where nothing can be compared: its signal leaves, too few clean switchings, no noise."""
    counted = any(carrier.counts for carrier in result.carriers)
    if result.snr_change_db is None and not counted and any(c.kind == "left" for c in result.carriers):
        raise UserFacingError(
            f"{name}: its carrier at {_left_hz(result):.0f} Hz leaves midway, and there is no other signal; "
            f"record it again "
            "while a signal stays."
        )
    missing = untold(result)
    if missing is not None and result.edges < FEWEST_BLOCKS:
        raise UserFacingError(f"{name}: {missing.why}.")
    if result.snr_change_db is None and not flagged(result):
        raise UserFacingError(f"{name}: {_why_no_signal(result)}")


def _why_no_signal(result: ABResult) -> str:
    """Why S/N cannot be compared though there are switchings, and what to do, for a person."""
    if not result.carriers:
        return (
            "nothing stands clear of the rest: there is only noise, or one signal (speech, data) fills the whole pass "
            "band; record where a carrier stands beside quiet places."
        )
    strongest = max(result.carriers, key=lambda carrier: carrier.snr_db)
    return (
        f"its signals (the strongest at {strongest.hz:.0f} Hz, {strongest.snr_db:.0f} dB over the noise in "
        f"2.4 kHz) are too weak or too seldom there, on both routes at {FEWEST_BLOCKS} switchings or "
        "more, so S/N cannot be compared; record a stronger or steadier one, or for longer."
    )


def _call(asked: Asked) -> None:
    """`WrongInput` for a call that contradicts itself."""
    if asked.mode is not None and asked.mode.upper() == "AM":
        raise WrongInput(
            "--mode AM: an envelope detector bends S/N (a true 3 dB reads 2 dB where carrier and noise are "
            "alike); record in "
            "USB with the dial 1 kHz below the carrier."
        )
    if asked.mode is not None and asked.mode.upper() not in LINEAR_MODES:
        raise WrongInput(f"--mode {asked.mode}: audio can be compared in USB, LSB and CW.")
    if asked.centre_hz is not None and (asked.dial_hz is not None or asked.mode is not None):
        raise WrongInput(
            "--centre is for samples of a band, --dial and --mode are for audio; give one or the other."
        )
    if asked.switched is not None and asked.marks is not None:
        raise WrongInput("--switched and --marks both say when the stage was switched; give one.")
    if asked.first is not None and asked.first not in ("bypass", "stage"):
        raise WrongInput(f"--first {asked.first}: it is bypass or stage.")
    if asked.first is None and asked.marks is None:
        raise WrongInput(
            "--first is missing: say whether the recording begins with the stage out (--first bypass) or in "
            "(--first stage); "
            "steps alone cannot tell, and guessing could turn the answer round."
        )


def _axis(recording: Recording, asked: Asked) -> Axis:
    rate_hz = recording.rate_hz
    if recording.real:
        mode = (asked.mode or "USB").upper()
        return axis_of(
            rate_hz, real=True, centre_hz=asked.dial_hz or 0.0, inverted=mode == "LSB" and asked.dial_hz is not None,
            band_hz=(AUDIO_HZ[0], min(AUDIO_HZ[1], 0.46 * rate_hz)),
        )  # fmt: skip
    width = SAMPLED_SHARE * rate_hz
    return axis_of(rate_hz, real=False, centre_hz=recording.centre_hz or 0.0, band_hz=(-width, width))


def _hz(recording: Recording, asked: Asked) -> float | None:
    return asked.dial_hz if recording.real else (recording.centre_hz or None)


def _no_am(levels: Levels, axis: Axis, name: str) -> None:
    places = np.flatnonzero(levels.pass_band)
    if len(places) < 8:
        return
    span = slice(int(places[0]), int(places[-1]) + 1)
    floor = np.full(span.stop - span.start, float(np.quantile(levels.mean[span], 0.1)))
    peak = refused.am_by_the_look(levels.mean[span], floor)
    if peak is not None:
        hz = (axis.bins[0] + span.start + peak) * axis.step_hz
        raise UserFacingError(
            f"{name}: side bands alike to both sides of a carrier at {hz:.0f} Hz look like AM; if it was "
            f"received in AM, record "
            "it again in USB with the dial 1 kHz below the carrier; if it was USB, LSB or CW, say so with "
            "--mode."
        )


def _marks(recording: Recording, levels: Levels, asked: Asked, name: str) -> tuple[list[Mark], bool, Turning]:
    """The marks, whether they are those seen rather than those stated, and what is left out beside them."""
    seen = moments(levels.floor_db, levels.every_s)
    turned = turning(levels.floor_db, levels.total_db, levels.every_s, seen.moments)
    _comes_to_rest(turned, name)
    if asked.marks is None and asked.switched is None:
        if not seen.moments:
            raise UserFacingError(
                f"{name}: no moment can be made out at which the stage was switched ({seen.why_not}); say "
                f"when with --switched "
                "or --marks, if it was."
            )
        return _by_sign(seen, asked.first or "bypass", turned), True, turned
    if asked.marks is not None:
        marks, saying = read_marks(asked.marks, recording.seconds), str(asked.marks)
    else:
        marks = stated(asked.switched or "", asked.first or "bypass", recording.seconds)
        saying = f'"{asked.switched}"'
    if len(marks) < 2:
        raise WrongInput(
            f"{name}: by {saying} nothing was switched while it ran ({recording.seconds:.1f} s)."
        )
    if len(seen.moments) >= 4:
        share, strangers = agree(marks, [moment.at_s for moment in seen.moments])
        if share < 0.7:
            shown = ", ".join(f"{at:.1f}" for at in strangers[:3])
            raise WrongInput(
                f"{name}: the noise steps at {shown} s, which {saying} does not say; leave it out and the "
                f"steps are taken."
                if asked.marks is None
                else f"{name}: the noise steps at {shown} s, where {saying} has no mark; mend the marks."
            )
    if not seen.moments:
        changes = [(one.path, other.path) for one, other in pairwise(marks)]
        steps = steps_between([mark.at_s for mark in marks[1:]], changes, levels.floor_db, levels.every_s)
        turned = Turning(0.0, 0.0, 0.0, *coming_s(levels.floor_db, levels.every_s, steps))
        _comes_to_rest(turned, name)
    return _moved(marks, seen, turned), False, turned


def _comes_to_rest(turned: Turning, name: str) -> None:
    """`UserFacingError` where a route is left before it has come to rest."""
    if np.isinf(turned.coming_s):
        raise UserFacingError(f"{name}: {NEVER_AT_REST}.")


def _by_sign(seen: Marks, first: str, turned: Turning) -> list[Mark]:
    """Every step up leads to one route and every step down to the other, so that a missed one turns nothing
    round.
    """
    marks = [Mark(0.0, route_path(first, 0))]
    up = float(np.sign(seen.moments[0].step_db))
    for moment in seen.moments:
        mark = Mark(moment.at_s, route_path(first, 1 if np.sign(moment.step_db) == up else 0))
        marks.append(seen_mark(mark, moment, 0.0, turned))
    return marks


def _moved(marks: Sequence[Mark], seen: Marks, turned: Turning) -> list[Mark]:
    """Marks put where the step is seen, and all others by as much: nobody notes times to a tenth of a
    second.
    """
    close: list[Moment | None] = []
    for mark in marks:
        away = [abs(moment.at_s - mark.at_s) for moment in seen.moments] or [np.inf]
        nearest = int(np.argmin(away))
        close.append(seen.moments[nearest] if mark.at_s > 0.0 and away[nearest] <= 1.0 else None)
    shifts = [
        moment.at_s - mark.at_s for mark, moment in zip(marks, close, strict=True) if moment is not None
    ]
    common = float(np.median(shifts)) if len(shifts) >= 2 else 0.0
    moved = []
    for mark, moment in zip(marks, close, strict=True):
        if moment is not None:
            moved.append(seen_mark(mark, moment, SEEN_S, turned))
        else:
            moved.append(mark if mark.at_s == 0.0 else replace(mark, at_s=mark.at_s + common))
    return moved


def _instant(started: datetime | None) -> str | None:
    return None if started is None else started.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _left_hz(result: ABResult) -> float:
    return next(carrier.hz for carrier in result.carriers if carrier.kind == "left")
