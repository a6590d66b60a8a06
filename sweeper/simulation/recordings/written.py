"""Recordings as files: sound or samples as a recorder writes them, the marks beside them, and the truth.

WAV, FLAC and RF64 by libsndfile. A WAV of samples carries its centre in its name or in the `auxi` chunk that recorders
of samples write (two SYSTEMTIME stamps, then the centre in hertz as 32 bits, little-endian; from memory). SigMF is the
open format of that name: samples as they are, and metadata as JSON (SigMF specification 1.0).
"""

import json
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sweeper.simulation.recordings.planted import Planted, truth
from sweeper.simulation.recordings.rendering import Block, render

Format = Literal["wav", "flac", "rf64", "auxi", "sigmf"]
Plain = NDArray[np.float32]
Depth = Literal["8", "16", "24", "32", "float"]
_SUBTYPES = {"8": "PCM_U8", "16": "PCM_16", "24": "PCM_24", "32": "PCM_32", "float": "FLOAT"}
_BEGAN = datetime(2026, 11, 1, 18, 0, tzinfo=UTC)
"""When the invented recordings began."""


@dataclass(frozen=True)
class Written:
    """What was written. `clipped` is the share of samples that met full scale."""

    recording: Path
    marks: Path
    truth: Path
    clipped: float


def write(
    planted: Planted,
    folder: Path,
    name: str = "recording",
    form: Format = "wav",
    depth: Depth = "16",
    progress: Callable[[float], None] = lambda share: None,
) -> Written:
    """Write a recording with its marks and its truth; memory does not grow with its length.

    Samples of a band get their centre into the name, as `NAME_7100kHz_.wav`. Lengths beyond 4 GB need "rf64".
    """
    folder.mkdir(parents=True, exist_ok=True)
    kilohertz = f"_{planted.centre_hz / 1000:g}kHz_" if planted.kind == "samples" and form != "sigmf" else ""
    stem = folder / f"{name}{kilohertz}"
    clipping = _Clipping(1.0 - 1.0 / (2 ** (int(depth) - 1)) if depth != "float" else np.inf)
    blocks = (clipping.limited(block) for block in _told(planted, progress))
    if form == "sigmf":
        recording = _sigmf(planted, stem, depth, blocks)
    elif form == "auxi":
        recording = _auxi(planted, stem.with_name(f"{name}.wav"), blocks)
    else:
        recording = _by_libsndfile(planted, stem, form, depth, blocks)
    marks = folder / f"{name}-marks.csv"
    lines = [f"{planted.in_file_s(stay.at_s):.3f},{stay.path}" for stay in planted.stays]
    marks.write_text("\n".join(["at_s,path", *lines, ""]), encoding="utf-8")
    told = folder / f"{name}-truth.json"
    told.write_text(
        json.dumps(truth(planted) | {"clipped": clipping.share}, indent=1) + "\n", encoding="utf-8"
    )
    return Written(recording, marks, told, clipping.share)


def _told(planted: Planted, progress: Callable[[float], None]) -> Iterator[Block]:
    for number, block in enumerate(render(planted), start=1):
        yield block
        progress(min(1.0, number / planted.seconds))


class _Clipping:
    """Holds samples to full scale and counts those that met it."""

    def __init__(self, most: float) -> None:
        self._most = most
        self._met = self._seen = 0

    @property
    def share(self) -> float:
        return self._met / max(1, self._seen)

    def limited(self, block: Block) -> Plain:
        """(samples, channels), in full scale."""
        if np.iscomplexobj(block):
            plain = np.ascontiguousarray(block.astype(np.complex64)).view(np.float32).reshape(-1, 2)
        else:
            plain = np.asarray(block, np.float32).reshape(-1, 1)
        self._met += int((np.abs(plain).max(1, initial=0.0) >= self._most).sum())
        self._seen += len(plain)
        return plain if np.isinf(self._most) else np.clip(plain, -1.0, self._most)


def _by_libsndfile(planted: Planted, stem: Path, form: str, depth: Depth, blocks: Iterator[Plain]) -> Path:
    import soundfile

    if form == "flac":
        depth = "16" if depth == "float" else depth
    recording = stem.with_name(f"{stem.name}.{'flac' if form == 'flac' else 'wav'}")
    subtype = "PCM_S8" if form == "flac" and depth == "8" else _SUBTYPES[depth]
    channels = 2 if planted.kind == "samples" else 1
    with soundfile.SoundFile(
        recording, "w", planted.rate_hz, channels, subtype, format={"rf64": "RF64"}.get(form, form.upper())
    ) as file:
        for block in blocks:
            file.write(block)
    return recording


def _auxi(planted: Planted, recording: Path, blocks: Iterator[Plain]) -> Path:
    """A WAV of 16-bit samples with the chunk that names the centre."""
    channels = 2 if planted.kind == "samples" else 1
    rate = planted.rate_hz
    kind = struct.pack("<HHIIHH", 1, channels, rate, rate * 2 * channels, 2 * channels, 16)
    about = _system_time(_BEGAN) + _system_time(_BEGAN + timedelta(seconds=planted.seconds))
    about += struct.pack("<9I", planted.centre_hz, rate, 0, rate, 0, 0, 0, 0, 0)
    head = (
        b"WAVE"
        + b"fmt "
        + struct.pack("<I", len(kind))
        + kind
        + b"auxi"
        + struct.pack("<I", len(about))
        + about
    )
    with recording.open("wb") as file:
        file.write(b"RIFF" + struct.pack("<I", 0) + head + b"data" + struct.pack("<I", 0))
        size = sum(file.write(_integers(block, 16).tobytes()) for block in blocks)
        file.seek(4)
        file.write(struct.pack("<I", len(head) + 8 + size))
        file.seek(8 + len(head) + 4)
        file.write(struct.pack("<I", size))
    return recording


def _system_time(at: datetime) -> bytes:
    return struct.pack(
        "<8H",
        at.year,
        at.month,
        (at.weekday() + 1) % 7,
        at.day,
        at.hour,
        at.minute,
        at.second,
        at.microsecond // 1000,
    )


def _integers(block: Plain, bits: int) -> NDArray[np.int16]:
    return np.asarray(np.rint(block * (2 ** (bits - 1) - 1)), "<i2")


def _sigmf(planted: Planted, stem: Path, depth: Depth, blocks: Iterator[Plain]) -> Path:
    """NAME.sigmf-meta beside NAME.sigmf-data; the path returned is that of the metadata."""
    letter = "c" if planted.kind == "samples" else "r"
    types = {"8": f"{letter}u8", "16": f"{letter}i16_le", "float": f"{letter}f32_le"}
    if depth not in types:
        raise ValueError(f"SigMF is written with 8 or 16 bits or floating point here, not with {depth} bits")
    with stem.with_name(f"{stem.name}.sigmf-data").open("wb") as file:
        for block in blocks:
            if depth == "8":
                file.write(np.clip(np.rint(block * 127.5 + 127.5), 0, 255).astype(np.uint8).tobytes())
            else:
                file.write((_integers(block, 16) if depth == "16" else block.astype("<f4")).tobytes())
    about = {
        "global": {
            "core:datatype": types[depth],
            "core:sample_rate": planted.rate_hz,
            "core:version": "1.0.0",
            "core:description": "invented: a simulated recording",
        },
        "captures": [
            {
                "core:sample_start": 0,
                "core:frequency": planted.centre_hz,
                "core:datetime": f"{_BEGAN:%Y-%m-%dT%H:%M:%SZ}",
            }
        ],
        "annotations": [],
    }
    recording = stem.with_name(f"{stem.name}.sigmf-meta")
    recording.write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")
    return recording
