"""Recordings: WAV (8, 16, 24, 32 bit, float), RF64, FLAC and AIFF by libsndfile; SigMF. Read in blocks, forwards.

Audio is one channel; two channels are samples of a band (I left, Q right) where the file, its name or the caller says
so. Every fault is a `RecordingError` of one sentence. Nothing is ever written.
"""

import re
import struct
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from drivers.contracts import Block
from drivers.ordinary_files import opened, why_not
from drivers.samples.auxi import centre_and_start

if TYPE_CHECKING:
    from numpy.typing import NDArray

BLOCK_S = 0.5
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 4_000, 64_000_000
LOSSY = {"MP3", "OGG", "MPEG"}
"""Formats of libsndfile that leave out what nobody would hear: the noise first of all."""
COMPANDED = ("ADPCM", "GSM", "ULAW", "ALAW", "G721", "G723", "VORBIS", "OPUS", "MPEG", "DPCM", "DWVW", "VOX")
LOSSY_NAMES = {".mp3", ".ogg", ".opus", ".m4a", ".aac", ".wma", ".oga", ".webm", ".mp4"}
IN_NAME = re.compile(r"(?:^|[_\W])(\d+(?:\.\d+)?)\s?(Hz|kHz|MHz)(?=[_\W]|$)", re.IGNORECASE)
UNITS = {"hz": 1.0, "khz": 1e3, "mhz": 1e6}


class RecordingError(Exception):
    """A recording that cannot be read or does not fit: one sentence, with what to do."""


LARGEST = 1e12
"""Of full scale; single precision squares it without overflow."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One file. `frames` samples from `offset` bytes on (SigMF), or as libsndfile counts them."""

    file: Path
    frames: int
    reader: Any
    gaps: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Recording:
    """What is known before a sample is read. `centre_hz`: of samples of a band; None for audio or where unknown.

    `started`: when, where the file says so. `notes`: sentences on what was odd and yet taken.
    """

    pieces: tuple[Piece, ...]
    rate_hz: float
    real: bool
    centre_hz: float | None
    started: datetime | None
    ends_at: float
    channel: int = 1
    notes: tuple[str, ...] = field(default=())

    @property
    def frames(self) -> int:
        return sum(piece.frames for piece in self.pieces)

    @property
    def seconds(self) -> float:
        return self.frames / self.rate_hz

    def blocks(self, first: int = 0, last: int | None = None) -> Iterator[tuple[int, Block]]:
        """(index of the first sample, block) from sample `first` up to `last`; files follow each other with
        a gap.
        """
        last = self.frames if last is None else min(last, self.frames)
        size = max(int(BLOCK_S * self.rate_hz), 1024)
        begin = 0
        for piece in self.pieces:
            end = begin + piece.frames
            for at, samples in piece.reader(max(first, begin) - begin, min(last, end) - begin, size):
                gaps = tuple(gap - at for gap in piece.gaps if at <= gap < at + len(samples))
                if at == 0 and begin > 0:
                    gaps = (0, *gaps)
                here = begin + at
                largest = _largest(samples)
                if not largest <= LARGEST:
                    raise RecordingError(
                        f"{piece.file}: near {here / self.rate_hz:.1f} s its samples are no numbers, or larger than "
                        "any receiver's. Was it written with another format of samples?"
                    )
                span = (here / self.rate_hz, (here + len(samples)) / self.rate_hz)
                yield (
                    here,
                    Block(samples, self.rate_hz, span, gaps, False, _clipped(samples, largest, self.ends_at)),
                )
            begin = end


def open_recording(
    files: Sequence[Path],
    *,
    centre_hz: float | None = None,
    channel: int | None = None,
    samples: bool | None = None,
) -> Recording:
    """Open the files of one recording, in the order given. `samples`: two channels are I and Q (True) or not (False).

    `RecordingError` for whatever cannot be read, or does not fit together.
    """
    opened = [_open(file, centre_hz, channel, samples) for file in files]
    first = opened[0]
    for other, file in zip(opened[1:], files[1:], strict=True):
        if (other.rate_hz, other.real, other.centre_hz) != (first.rate_hz, first.real, first.centre_hz):
            raise RecordingError(
                f"{file}: it differs from {files[0]} in rate, kind or centre frequency, so they are not one "
                f"recording."
            )
    return Recording(
        tuple(piece for each in opened for piece in each.pieces),
        first.rate_hz,
        first.real,
        first.centre_hz,
        first.started,
        min(each.ends_at for each in opened),
        first.channel,
        tuple(note for each in opened for note in each.notes),
    )


def _open(file: Path, centre_hz: float | None, channel: int | None, samples: bool | None) -> Recording:
    if file.suffix.lower() in (".sigmf-meta", ".sigmf-data", ".sigmf"):
        from drivers.samples.sigmf import open_sigmf  # which builds on this module

        return open_sigmf(file, centre_hz)
    if not file.exists():
        raise RecordingError(f"{file}: there is no such recording.")
    if file.is_dir():
        raise RecordingError(f"{file}: this is a folder; name the recordings in it.")
    try:
        opened(file).close()
    except OSError as fault:
        raise RecordingError(f"{file}: it cannot be read ({why_not(fault)}).") from fault
    if file.stat().st_size == 0:
        raise RecordingError(f"{file}: it is empty (0 bytes).")
    return _open_sound(file, centre_hz, channel, samples)


def _open_sound(file: Path, centre_hz: float | None, channel: int | None, samples: bool | None) -> Recording:
    try:
        with opened(file) as raw, soundfile.SoundFile(raw.fileno(), closefd=False) as info:
            pass
    except (soundfile.LibsndfileError, RuntimeError, OSError) as fault:
        if file.suffix.lower() in LOSSY_NAMES:
            raise RecordingError(_lossy(file)) from fault
        why = str(getattr(fault, "error_string", fault)).strip().rstrip(".")
        raise RecordingError(
            f"{file}: this is no recording that can be read ({why}); WAV, RF64, FLAC, AIFF and SigMF can."
        ) from fault
    if info.format in LOSSY or any(word in info.subtype for word in COMPANDED):
        raise RecordingError(_lossy(file))
    if not LOWEST_RATE_HZ <= info.samplerate <= HIGHEST_RATE_HZ:
        raise RecordingError(
            f"{file}: it says {info.samplerate} samples a second, which no receiver records; record or "
            f"convert it "
            "again with the right rate."
        )
    notes = []
    if info.frames == 0 or info.frames > 2**60:
        raise RecordingError(
            f"{file}: no samples can be read, though it is {file.stat().st_size} bytes long; the program that "
            f"wrote it "
            "seems to have been stopped before it could finish the file."
        )
    bits = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}.get(info.subtype, 24)
    missing = _missing(file, info)
    if missing:
        notes.append(
            f"{file.name} is cut short: {missing:.0%} of what its header promises is missing; the rest is used."
        )
    header_hz, started = centre_and_start(file)
    named_hz = _named(file.name)
    found_hz = centre_hz if centre_hz is not None else header_hz if header_hz is not None else named_hz
    ends_at = 1.0 - 1.5 / 2 ** (bits - 1)
    if info.channels == 1:
        if centre_hz is not None:
            raise RecordingError(
                f"{file}: --centre is for samples in two channels (I and Q), and this has one."
            )
        return _sound(file, info, None, started, ends_at, 1, notes, real=True)
    if info.channels > 2:
        if channel is None:
            raise RecordingError(f"{file}: it has {info.channels} channels; choose one with --channel.")
    elif channel is None and samples is not False and found_hz is not None:
        return _sound(file, info, found_hz, started, ends_at, 1, notes, real=False)
    if channel is None:
        channel = _the_only_one(file)
        if channel is None:
            raise RecordingError(
                f"{file}: its two channels differ; say --centre HZ if they are I and Q of samples, or choose "
                f"one with "
                "--channel if they are audio."
            )
    if not 1 <= channel <= info.channels:
        raise RecordingError(f"{file}: it has {info.channels} channels, so there is no channel {channel}.")
    return _sound(file, info, None, started, ends_at, channel, notes, real=True)


def _sound(
    file: Path, info: Any, centre_hz: float | None, started: datetime | None, ends_at: float, channel: int,
    notes: list[str], *, real: bool,
) -> Recording:  # fmt: skip
    def read(first: int, last: int, size: int) -> "Iterator[tuple[int, NDArray[Any]]]":
        if last <= first:
            return
        with _decoded(file) as sound:
            sound.seek(first)
            at = first
            while at < last:
                data = sound.read(min(size, last - at), dtype="float32", always_2d=True)
                if len(data) == 0:
                    return
                if real:
                    yield at, np.ascontiguousarray(data[:, channel - 1])
                else:
                    yield at, np.ascontiguousarray(data[:, :2]).view(np.complex64)[:, 0]
                at += len(data)

    piece = Piece(file, int(info.frames), read)
    return Recording(
        (piece,), float(info.samplerate), real, centre_hz, started, ends_at, channel, tuple(notes)
    )


@contextmanager
def _decoded(file: Path) -> Iterator[Any]:
    """The file as libsndfile reads it. `RecordingError` for what it cannot go on with, however far it came."""
    try:
        with opened(file) as raw, soundfile.SoundFile(raw.fileno(), closefd=False) as sound:
            yield sound
    except (soundfile.LibsndfileError, RuntimeError, OSError) as fault:
        why = str(getattr(fault, "error_string", fault)).strip().rstrip(".")
        raise RecordingError(
            f"{file}: it is damaged somewhere in the middle ({why}). Save it again from where it came, or cut it there."
        ) from fault


def _largest(samples: "NDArray[Any]") -> float:
    """The largest part of any sample without its sign; NaN where one is no number."""
    parts = samples.view(np.float32) if samples.dtype == np.complex64 else samples
    return max(float(parts.max()), -float(parts.min())) if len(parts) else 0.0


def _clipped(samples: "NDArray[Any]", largest: float, ends_at: float) -> float:
    """Share of the samples at the ends of the converter. Numbers beyond 1, in floating point, know no such ends."""
    if largest < ends_at or largest > 1.0 + 1e-6:
        return 0.0
    parts = samples.view(np.float32) if samples.dtype == np.complex64 else samples
    return float(np.mean(np.abs(parts) >= ends_at))


def _lossy(file: Path) -> str:
    return (
        f"{file}: MP3, Opus and their like throw away what an ear would miss, and that is the noise first of "
        f"all, so "
        "S/N cannot be measured on them; record WAV or FLAC."
    )


def _named(name: str) -> float | None:
    """``_7100kHz_`` in a file's name, hertz; the last one where there are several."""
    found = IN_NAME.findall(name)
    return float(found[-1][0]) * UNITS[found[-1][1].lower()] if found else None


def _missing(file: Path, info: Any) -> float:
    """Share of the data that a WAV header promises and the file does not hold."""
    if info.format not in ("WAV", "WAVEX"):
        return 0.0
    with opened(file) as raw:
        head = raw.read(1 << 16)
    place = head.find(b"data")
    if place < 0 or place + 8 > len(head):
        return 0.0
    (promised,) = struct.unpack_from("<I", head, place + 4)
    there = file.stat().st_size - place - 8
    if promised in (0, 0xFFFFFFFF) or promised <= there + 1:
        return 0.0
    return float(1.0 - there / promised)


def _the_only_one(file: Path) -> int | None:
    """Of two channels the one that says it all: they are alike, or the other is silent. None where they
    differ.
    """
    with _decoded(file) as sound:
        sound.seek(max(0, min(len(sound) // 2, len(sound) - 200_000)))
        data = sound.read(200_000, dtype="float32", always_2d=True).astype(np.float64)
    powers = np.mean(data**2, axis=0)
    if powers.max() == 0.0 or powers.min() < 1e-6 * powers.max():
        return int(np.argmax(powers)) + 1
    alike = np.mean(data[:, 0] * data[:, 1]) / np.sqrt(powers[0] * powers[1])
    return 1 if alike > 0.99 else None


def utc(text: str) -> datetime | None:
    """An RFC 3339 instant; None where it is none."""
    try:
        found = datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        return None
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)
