"""Spectra at the edges of a recording, labelled: read anew each time they are gone through, or kept if they are few."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from sweeper.recordings.labels import Mark
from sweeper.spectra.axis import Axis
from sweeper.spectra.welch import Welch, spectrum_of, without_steps
from sweeper.words import Labelled

if TYPE_CHECKING:
    from drivers.samples.file import Recording

FRAME_S = 0.125
"""A sub-spectrum: short enough for an AGC to hold still, long enough for a few segments."""
WINDOW_S = 0.75
KEPT_BYTES = 64_000_000


class AtEdges:
    """Labelled spectra before and after each mark but the first, in the order of time. May be gone through again.

    `step_noise`: what the converter's steps add to them, of full scale; it is taken off.
    """

    def __init__(
        self,
        recording: "Recording",
        axis: Axis,
        marks: Sequence[Mark],
        settle_s: float,
        start_s: float,
        step_noise: float = 0.0,
    ) -> None:
        self._recording, self._axis, self._marks, self._step_noise = recording, axis, marks, step_noise
        self._settle_s, self._start_s = settle_s, start_s
        self._a_frame = max(2, int(FRAME_S * axis.rate_hz / (axis.length // 2)))
        self._kept: list[Labelled] | None = None
        first, end = axis.bins
        frames = 2 * WINDOW_S / FRAME_S * max(len(marks) - 1, 1)
        self._keep = 4 * (end - first) * frames < KEPT_BYTES

    def __iter__(self) -> Iterator[Labelled]:
        if self._kept is None and self._keep:
            self._kept = list(self._read())
        return iter(self._kept) if self._kept is not None else self._read()

    def _read(self) -> Iterator[Labelled]:
        rate_hz = self._recording.rate_hz
        width_hz = rate_hz / 2.0 if self._axis.real else rate_hz
        for mark, begin_s, end_s in self._spans():
            welch = Welch(self._axis, self._a_frame)
            first, last = int(begin_s * rate_hz), int(end_s * rate_hz)
            for at, block in self._recording.blocks(max(first, 0), last):
                for frame in welch.feed(block, at):
                    yield Labelled(
                        self._start_s + frame.first / rate_hz,
                        self._start_s + frame.last / rate_hz,
                        mark.path,
                        self._axis.centre_hz,
                        without_steps(spectrum_of(frame, self._axis), self._step_noise, width_hz),
                    )

    def _spans(self) -> Iterator[tuple[Mark, float, float]]:
        """(mark, from, to): the beginning and the end of each dwell, joined where they meet."""
        ends = [mark.at_s for mark in self._marks[1:]] + [self._recording.seconds]
        last = len(self._marks) - 1
        for nth, (mark, end_s) in enumerate(zip(self._marks, ends, strict=True)):
            until_s = self._settle_s + (self._marks[nth + 1].before_s if nth < last else 0.0)
            begin_s, stop_s = mark.at_s, end_s - until_s
            if nth:
                begin_s += self._settle_s + mark.after_s
            if nth == last:
                stop_s = min(end_s, begin_s + WINDOW_S)
            if nth == 0:
                begin_s = max(begin_s, stop_s - WINDOW_S)
            if stop_s - begin_s <= 2 * WINDOW_S + FRAME_S:
                yield mark, begin_s, stop_s
            else:
                yield mark, begin_s, begin_s + WINDOW_S
                yield mark, stop_s - WINDOW_S, stop_s
