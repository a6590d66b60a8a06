"""SigMF recordings: metadata in JSON beside raw samples (SigMF specification 1.x)."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from drivers.ordinary_files import opened, text_of, why_not
from drivers.samples.file import HIGHEST_RATE_HZ, LOWEST_RATE_HZ, Piece, Recording, RecordingError, utc

if TYPE_CHECKING:
    from numpy.typing import NDArray

DATATYPE = re.compile(r"^([rc])(?:(f32|f64|i32|i16|u32|u16)_(le|be)|(i8|u8))$")
LONGEST_METADATA = 50_000_000


class _Global(BaseModel):
    model_config = ConfigDict(extra="allow")
    datatype: str = Field(alias="core:datatype")
    sample_rate: float | None = Field(default=None, alias="core:sample_rate")
    num_channels: int = Field(default=1, alias="core:num_channels")
    offset: int = Field(default=0, alias="core:offset", ge=0)
    trailing_bytes: int = Field(default=0, alias="core:trailing_bytes", ge=0)
    dataset: str | None = Field(default=None, alias="core:dataset")
    metadata_only: bool = Field(default=False, alias="core:metadata_only")


class _Capture(BaseModel):
    model_config = ConfigDict(extra="allow")
    sample_start: int = Field(alias="core:sample_start", ge=0)
    header_bytes: int = Field(default=0, alias="core:header_bytes", ge=0)
    frequency: float | None = Field(default=None, alias="core:frequency")
    datetime: str | None = Field(default=None, alias="core:datetime")


class _Metadata(BaseModel):
    model_config = ConfigDict(extra="allow")
    about: _Global = Field(alias="global")
    captures: list[_Capture] = Field(default_factory=list)


def open_sigmf(file: Path, centre_hz: float | None) -> Recording:
    """Open a recording by its ``.sigmf-meta`` or ``.sigmf-data``. `RecordingError` for whatever is wrong
    with it.
    """
    meta, rate_hz, data_file, found = _described(file)
    meta_file, about = file.with_suffix(".sigmf-meta"), meta.about
    real = found[1] == "r"
    kind = found[2] or found[4]
    code = ("<" if found[3] != "be" else ">") + {"f32": "f4", "f64": "f8", "i32": "i4", "i16": "i2", "u32": "u4",
                                                 "u16": "u2", "i8": "i1", "u8": "u1"}[kind]  # fmt: skip
    width = int(code[-1]) * (1 if real else 2)
    there = data_file.stat().st_size - about.trailing_bytes
    frames = max(there, 0) // width
    if frames == 0:
        raise RecordingError(f"{data_file}: it holds no samples ({data_file.stat().st_size} bytes).")
    centres = {capture.frequency for capture in meta.captures if capture.frequency is not None}
    if centre_hz is None and len(centres) > 1:
        raise RecordingError(
            f"{meta_file}: the receiver was tuned to {len(centres)} frequencies in turn; split it into one "
            f"recording each."
        )
    centre = centre_hz if centre_hz is not None else next(iter(centres), None)
    started = next((utc(capture.datetime) for capture in meta.captures if capture.datetime), None)
    gaps = tuple(capture.sample_start for capture in meta.captures if 0 < capture.sample_start < frames)
    notes: tuple[str, ...] = ()
    if there % width:
        notes = (f"{data_file.name} ends in the middle of a sample; the rest is used.",)
    bits = {"f32": 24, "f64": 24}.get(kind, 8 * int(code[-1]))
    reader = _reader(data_file, code, real)
    return Recording(
        (Piece(data_file, frames, reader, gaps),), rate_hz, real, None if real else (centre or 0.0),
        started, 1.0 - 1.5 / 2 ** (bits - 1), 1, notes,
    )  # fmt: skip


def _described(file: Path) -> tuple[_Metadata, float, Path, re.Match[str]]:
    """Metadata, samples a second, the file that holds them, the parts of the datatype. `RecordingError` if wrong."""
    if file.suffix.lower() == ".sigmf":
        raise RecordingError(
            f"{file}: this is a SigMF archive; unpack it (it is a tar file) and name the .sigmf-meta in it."
        )
    meta_file = file.with_suffix(".sigmf-meta")
    if not meta_file.is_file():
        raise RecordingError(
            f"{meta_file}: there is no such file, and without it nobody knows rate and datatype."
        )
    meta = _metadata(meta_file)
    about = meta.about
    found = DATATYPE.match(about.datatype)
    if not found:
        raise RecordingError(
            f"{meta_file}: core:datatype is {about.datatype!r}, which is none that SigMF knows."
        )
    data_file = (
        meta_file.with_name(about.dataset)
        if about.dataset and Path(about.dataset).name == about.dataset
        else (meta_file.with_suffix(".sigmf-data"))
    )
    if about.metadata_only or not data_file.is_file():
        raise RecordingError(f"{data_file}: the samples that {meta_file.name} describes are not there.")
    if about.num_channels != 1:
        raise RecordingError(f"{meta_file}: it has {about.num_channels} channels; record or save one.")
    if about.sample_rate is None or not LOWEST_RATE_HZ <= about.sample_rate <= HIGHEST_RATE_HZ:
        raise RecordingError(f"{meta_file}: core:sample_rate is missing or no rate that a receiver has.")
    if any(capture.header_bytes for capture in meta.captures):
        raise RecordingError(
            f"{meta_file}: its samples have headers between them (core:header_bytes); save it without."
        )
    return meta, about.sample_rate, data_file, found


def _metadata(file: Path) -> _Metadata:
    try:
        return _Metadata.model_validate(json.loads(text_of(file, LONGEST_METADATA)))
    except OSError as fault:
        raise RecordingError(f"{file}: this is no SigMF metadata ({why_not(fault)}).") from fault
    except (ValueError, ValidationError, RecursionError) as fault:
        if isinstance(fault, ValidationError):
            first = fault.errors()[0]
            why = f"{'.'.join(str(part) for part in first['loc'])}: {first['msg']}"
        else:
            why = str(fault)
        raise RecordingError(f"{file}: this is no SigMF metadata ({why}).") from fault


def _reader(file: Path, code: str, real: bool) -> Any:
    def read(first: int, last: int, size: int) -> "Iterator[tuple[int, NDArray[Any]]]":
        parts = 1 if real else 2
        kind = np.dtype(code)
        with opened(file) as raw:
            raw.seek(first * parts * kind.itemsize)
            at = first
            while at < last:
                data = np.fromfile(raw, kind, min(size, last - at) * parts)
                if len(data) < parts:
                    return
                scaled = _scaled(data[: len(data) // parts * parts], kind)
                yield at, scaled if real else scaled.view(np.complex64)
                at += len(data) // parts

    return read


def _scaled(data: "NDArray[Any]", kind: Any) -> "NDArray[Any]":
    """To float32 of full scale 1. Unsigned: their middle is zero, which for 8 bits is 127.5 (SigMF leaves
    it open).
    """
    if kind.kind == "f":
        return data.astype(np.float32)
    half = float(2 ** (8 * kind.itemsize - 1))
    if kind.kind == "u":
        return ((data.astype(np.float32) - np.float32(half - 0.5)) / np.float32(half)).astype(np.float32)
    return (data.astype(np.float32) / np.float32(half)).astype(np.float32)
