"""What the noise of a recording gives away of where it comes from: mains in its envelope, combs in its spectrum.

Read from the antenna without the stage, up to `MOST_S` of it: the stage adds nothing to know, and may overload.
"""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from sweeper.recordings.labels import Mark
from sweeper.spectra.axis import Axis
from sweeper.spectra.combs import SPACING_HZ, Comb, combs
from sweeper.spectra.envelope import noise_power, power_hz
from sweeper.spectra.mains import MainsShare, mains_share
from sweeper.spectra.noise_bins import in_pass_band, noise_bins
from sweeper.spectra.welch import Welch, shape_of
from sweeper.words import ANTENNA_BYPASS

if TYPE_CHECKING:
    from drivers.contracts import Block
    from drivers.samples.file import Recording

MOST_S = 60.0
A_FRAME_S = 0.5


def kinds_of_noise(
    recording: "Recording",
    axis: Axis,
    marks: Sequence[Mark],
    settle_s: float,
    confidence: float,
    keyed: bool = False,
) -> tuple[str, ...]:
    """Sentences for a person; none where nothing is found beyond chance.

    `keyed`: signals that are not steady stand in the recording. What they spill into the noise keeps time with their
    keying: 50 steps a second, or dots of 60 ms, are in step with 100 Hz.
    """
    stays = _stays(recording, marks, settle_s)
    welch = Welch(axis, max(2, int(A_FRAME_S * axis.rate_hz / (axis.length // 2))))
    frames = [
        frame for stay in stays for at, block in recording.blocks(*stay) for frame in welch.feed(block, at)
    ]
    if not frames:
        return ()
    segments = sum(frame.segments for frame in frames)
    mean = np.sum([frame.segments * frame.mean.astype(np.float64) for frame in frames], axis=0) / segments
    shape = shape_of(segments, axis.length)
    noise = noise_bins((mean,), (shape,), in_pass_band(mean) if axis.real else None)
    stretches = [
        stretch for stay in stays for stretch in noise_power(_blocks(recording, stay), axis, noise.keep)
    ]
    width_hz = float(noise.keep.sum()) * axis.step_hz
    share = mains_share(stretches, power_hz(axis), confidence, width_hz)
    told = [] if share is None else [_of_mains(share, keyed)]
    if len(mean) * axis.step_hz > 5 * SPACING_HZ[0]:
        flat = mean / noise.pass_band / noise.level(mean)
        told += [
            _of_comb(comb) for comb in combs(flat, noise.usable, noise.shape, axis.start_hz, axis.step_hz)
        ]
    return tuple(told)


def _stays(recording: "Recording", marks: Sequence[Mark], settle_s: float) -> list[tuple[int, int]]:
    """First and last sample of the stays on the antenna without the stage."""
    ends = [mark.at_s for mark in marks[1:]] + [recording.seconds]
    left_s, found = MOST_S, []
    for mark, end_s in zip(marks, ends, strict=True):
        begin_s = mark.at_s + settle_s + mark.after_s
        lasts_s = min(end_s - settle_s - mark.before_s - begin_s, left_s)
        if mark.path == ANTENNA_BYPASS and lasts_s > 0.0:
            found.append((int(begin_s * recording.rate_hz), int((begin_s + lasts_s) * recording.rate_hz)))
            left_s -= lasts_s
    return found


def _blocks(recording: "Recording", stay: tuple[int, int]) -> "Iterator[Block]":
    for _, block in recording.blocks(*stay):
        yield block


def _of_mains(share: MainsShare, keyed: bool) -> str:
    lead = (
        f"At least {share.share:.0%} ({share.low:.0%} to {share.high:.0%}) of the noise without the stage comes and "
        f"goes {2 * share.mains_hz:.1f} times a second"
    )
    if keyed:
        return (
            f"{lead}: with the mains, or in step with a signal that is keyed here. Record where no such signal "
            "stands, and it is clear which."
        )
    return (
        f"{lead}, with the mains: an arc, a dimmer or a rectifier, at home or on the line. It need not come by the "
        "wire."
    )


def _of_comb(comb: Comb) -> str:
    return (
        f"Lines every {comb.spacing_hz / 1e3:.2f} kHz, {comb.hits} of {comb.places} places: a switched supply, a lamp "
        "or a display."
    )
