"""A receiver's sound as samples: from a sound server or from ALSA, by a capture program of theirs.

Nothing is ever played: only capture programs are started, and no stream for output is opened. No sound is kept longer
than half a minute, and none on disk. `SoundSource.take` follows `drivers.contracts.SampleSource`; its clock is
`drivers.waiting.monotonic`.
"""

import math
import re
import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from drivers.contracts import Block
from drivers.errors import BadReply, InUse, LinkLost, LinkTimeout, Refused, RigError
from drivers.samples.full_scale import check_samples
from drivers.samples.sound_alsa import arecord
from drivers.samples.sound_capture import DRIFT_S, Capture
from drivers.samples.sound_checks import holes, is_silent, picked
from drivers.samples.sound_inputs import SoundInput, chosen, moving_levels, sound_inputs
from drivers.samples.sound_programs import PART, checked
from drivers.waiting import Deadline, monotonic, pause

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["SoundOptions", "SoundSource", "open_sound", "sound_inputs"]

ASKED_MS = 20
"""Latency asked of a sound server, whose own choice may be two seconds."""
MARGIN_S = 0.05
"""On top of the latency that a sound server tells: the card's own buffer and what lies in between."""
UNTOLD_S = 0.25
"""Taken for the latency where nobody tells it (ALSA: its buffer is asked for and read back)."""
SETTLED_S = 0.3
"""How long arrivals are watched before the first sample is given, and for which channels are looked at."""
LOOK_S, LOOKS_S = 0.01, 0.1
"""Between looks at what has come: the shortest pause, and the longest, within which a capture that ended is noticed."""
CLIPPED = 1.0 - 2.5 / 32768


class SoundOptions(BaseModel):
    """What names a sound input. `device`: a name of `sound_inputs`, or a part that no other has; empty: the only one.

    `rate_hz`, `channel` (from 1): None for its own. `latency_s`: the greatest delay of a sample, where it was measured;
    None to go by what the sound server tells. `timeout_s`: without a sample for so long the stream is broken. `kept_s`:
    how far a reader may fall behind before samples are lost, and told to be.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    device: str = Field(default="", max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")
    rate_hz: int | None = Field(default=None, ge=8_000, le=384_000)
    channel: int | None = Field(default=None, ge=1, le=32)
    latency_s: float | None = Field(default=None, ge=0, le=10, allow_inf_nan=False)
    timeout_s: float = Field(default=3.0, gt=0, le=60, allow_inf_nan=False)
    kept_s: float = Field(default=30.0, gt=0, le=120, allow_inf_nan=False)


class SoundSource:
    """An input that is being captured. Fulfils `drivers.contracts.SampleSource`.

    Each call of `take` goes on after the last; where something lies between, or was lost, the block begins with a gap.
    After a `RigError` the next call begins anew, so that a card may be plugged in again.
    """

    def __init__(self, options: SoundOptions, one: SoundInput) -> None:
        self._options = options
        self._found = one
        self._capture: Capture | None = None
        self._channel: int | None = None
        self._given = 0
        self._broken = False
        self._begin(one)

    @property
    def input(self) -> SoundInput:
        """What was found under the name asked for."""
        return self._found

    @property
    def rate_hz(self) -> int:
        """Samples a second."""
        return self._rate_hz

    @property
    def latency_s(self) -> float:
        """The greatest delay from capture to arrival, beyond the earliest arrival: the width of ``captured``."""
        if self._options.latency_s is not None:
            return self._options.latency_s
        if self._capture is None or self._found.by == "alsa":
            return UNTOLD_S
        return self._capture.latency_s + MARGIN_S

    def identify(self) -> str:
        """Which input this is, in words."""
        return f"{self._found.description}, {self._rate_hz} samples a second ({self._found.name})"

    def unknown(self) -> tuple[str, ...]:
        levels = moving_levels(self._found)
        if self._found.by == "server":
            now = next((each for each in sound_inputs() if each.name == self._found.name), self._found)
            if now.levels != self._found.levels:
                levels = (
                    *levels,
                    f"the sound server's level (it went from {self._found.levels} to {now.levels})",
                )
        return levels

    def take(self, seconds: float, after_s: float) -> Block:
        deadline = Deadline(seconds + max(after_s - monotonic(), 0.0) + 2 * self._options.timeout_s, PART)
        try:
            return self._take(seconds, after_s, deadline)
        except RigError:
            if self._capture is not None:
                self._capture.held_from = sys.maxsize
                if self._capture.over:
                    self._end()
            raise

    def close(self) -> None:
        self._end()

    def _take(self, seconds: float, after_s: float, deadline: Deadline) -> Block:
        if self._capture is None:
            self._begin(chosen(self._options.device))
        capture, count = self._running(), round(seconds * self._rate_hz)
        self._wait_for(round(SETTLED_S * self._rate_hz), deadline)
        while True:
            wanted = (after_s + self.latency_s - capture.began_s()) * self._rate_hz
            first = max(self._given, math.ceil(wanted), capture.oldest())
            if capture.total >= first + count and capture.settled():
                break
            capture.held_from = first
            self._look(deadline, first + count)
        begin, frames = capture.kept(first, first + count)
        capture.held_from = sys.maxsize
        end = begin + len(frames)
        follows, self._given = begin == self._given and not self._broken, end
        of_full_scale = _of_full_scale(frames)
        check_samples(of_full_scale, PART)
        samples, gaps = self._sound(of_full_scale)
        if not follows:
            gaps = (0, *(gap for gap in gaps if gap > 0))
        self._broken = False
        began_s = capture.began_s()
        latest_s = min(began_s + end / self._rate_hz + DRIFT_S, monotonic())
        return Block(
            samples,
            float(self._rate_hz),
            (began_s + begin / self._rate_hz - self.latency_s, latest_s),
            gaps,
            capture.lost_within(begin, end),
            float(np.mean(np.abs(samples) >= CLIPPED)),
        )

    def _sound(self, frames: "NDArray[np.float32]") -> "tuple[NDArray[np.float32], tuple[int, ...]]":
        """The channel's samples without holes that somebody filled with zeros, and where those were."""
        if self._channel is None and not is_silent(frames.reshape(-1)):
            self._channel = self._pick(frames)
        samples = np.ascontiguousarray(frames[:, self._channel or 0])
        if is_silent(samples):
            raise BadReply(
                PART,
                f"{self._found.name} gives silence.",
                "Is it the right input, is the receiver's volume up, and its squelch open?",
            )
        filled = holes(samples, self._rate_hz)
        if not len(filled):
            return samples, ()
        kept = np.ones(len(samples), np.bool_)
        for first, end in filled:
            kept[first:end] = False
        places = np.cumsum(kept)
        return samples[kept], tuple(int(places[end - 1]) for _, end in filled if end < len(samples))

    def _pick(self, frames: "NDArray[np.float32]") -> int:
        answer = picked(frames, self._options.channel)
        if isinstance(answer, str):
            raise Refused(PART, f"{self._found.name}: {answer}")
        return answer

    def _wait_for(self, total: int, deadline: Deadline) -> None:
        while self._running().total < total:
            self._look(deadline, total)

    def _look(self, deadline: Deadline, total: int) -> None:
        """Wait until so many samples can have come, unless nothing comes any more."""
        capture = self._running()
        if capture.over:
            raise _ended(self._found, capture.last_words())
        if monotonic() - capture.last_arrival_s > self._options.timeout_s or deadline.remaining() <= 0.0:
            self._end()
            raise LinkTimeout(
                PART,
                f"no samples come from {self._found.name}.",
                "Is it plugged in, and does no other program have it to itself?",
            )
        due_s = (total - capture.total) / self._rate_hz
        pause(min(max(due_s, LOOK_S), LOOKS_S), PART)

    def _running(self) -> Capture:
        if self._capture is None:
            raise LinkLost(PART, "it is closed.")
        return self._capture

    def _begin(self, one: SoundInput) -> None:
        if one.muted:
            raise Refused(PART, f"{one.name} is muted.", "Unmute it: pactl set-source-mute NAME 0.")
        wanted_hz = self._options.rate_hz
        if wanted_hz and one.rate_hz and wanted_hz != one.rate_hz:
            raise Refused(
                PART,
                f"{one.name} runs at {one.rate_hz} Hz, not at {wanted_hz} Hz, and would be resampled unseen.",
                f"Write rate_hz: {one.rate_hz}, or leave it out.",
            )
        if self._options.channel and one.channels and self._options.channel > one.channels:
            raise Refused(
                PART,
                f"{one.name} has no channel {self._options.channel}: {one.channels} come in.",
                "Name one of these.",
            )
        self._found = one
        self._capture, self._rate_hz = _started(one, self._options)
        self._channel, self._broken, self._given = None, True, 0

    def _end(self) -> None:
        if self._capture is not None:
            self._capture.close()
            self._capture = None


def open_sound(options: SoundOptions | Mapping[str, object]) -> SoundSource:
    """Begin to capture the input that `options` name; a `RigError` with what to do where that cannot be.

    `Unsupported` lists the inputs there are. What only samples tell (silence, a busy card, dead or different channels)
    is told by the first `take`.
    """
    plain = options if isinstance(options, SoundOptions) else SoundOptions.model_validate(options)
    return SoundSource(plain, chosen(plain.device))


def _started(one: SoundInput, options: SoundOptions) -> tuple[Capture, int]:
    if one.by == "alsa":
        return arecord(one, options.rate_hz, options.kept_s)
    rate_hz, channels = one.rate_hz or 48_000, one.channels or 1
    kind = np.dtype("<f4") if one.wide else np.dtype("<i2")
    arguments = [
        "--verbose",
        "--raw",
        f"--device={checked(one.name)}",
        f"--format={'float32le' if one.wide else 's16le'}",
        f"--rate={rate_hz}",
        f"--channels={channels}",
        "--no-remix",
        f"--latency-msec={ASKED_MS}",
        "--client-name=sweeper",
    ]
    decode = lambda data: np.frombuffer(data, kind).reshape(-1, channels)  # noqa: E731
    return Capture(
        "parec", arguments, rate_hz, kind.itemsize * channels, decode, MOVED, options.kept_s
    ), rate_hz


MOVED = re.compile(r"^Stream moved to|^Stream device suspended|[Ff]ailure|[Ee]rror")
"""A sound server whose card is unplugged goes on with another one, unasked: its samples are of something else."""


def _ended(one: SoundInput, said: Sequence[str]) -> RigError:
    last = (said[-1] if said else "without a word").rstrip(".")
    if "busy" in last:
        return InUse(PART, f"another program has {one.name} to itself.", "End that program.")
    if "moved to" in last or "no such" in last.lower():
        return LinkLost(PART, f"{one.name} is gone.", "Is the card unplugged?")
    return LinkLost(PART, f"the capture of {one.name} ended: {last}.", "Is the card plugged in?")


def _of_full_scale(frames: "NDArray[Any]") -> "NDArray[np.float32]":
    plain = frames.astype(np.float32)
    return plain if frames.dtype.kind == "f" else plain * np.float32(2.0 ** (1 - 8 * frames.dtype.itemsize))
