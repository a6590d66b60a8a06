"""The `auxi` chunk of a RIFF file: when samples were taken and at which centre frequency. Bytes in, numbers out.

Layout as commonly written by programs that record samples as WAV (common practice; there is no standard): two times of
16 bytes (eight little-endian 16-bit words: year, month, weekday, day, hour, minute, second, millisecond; UTC), start
and stop, then the centre frequency in hertz as a 32-bit word.
"""

import struct
from datetime import UTC, datetime
from pathlib import Path

from drivers.ordinary_files import opened

FARTHEST_CHUNKS = 64


def centre_and_start(file: Path) -> tuple[float | None, datetime | None]:
    """Centre frequency in hertz and time of the start; None where the file does not say, or not sensibly."""
    with opened(file) as raw:
        head = raw.read(12)
        if head[:4] not in (b"RIFF", b"RF64") or head[8:] != b"WAVE":
            return None, None
        for _ in range(FARTHEST_CHUNKS):
            header = raw.read(8)
            if len(header) < 8:
                return None, None
            name, size = header[:4], struct.unpack("<I", header[4:])[0]
            if name == b"auxi":
                return parse(raw.read(min(size, 4096)))
            raw.seek(size + size % 2, 1)
    return None, None


def parse(body: bytes) -> tuple[float | None, datetime | None]:
    """The chunk's body."""
    if len(body) < 36:
        return None, None
    year, month, _, day, hour, minute, second, millis = struct.unpack_from("<8H", body, 0)
    try:
        started = datetime(year, month, day, hour, minute, second, millis * 1000, UTC)
    except ValueError:
        started = None
    (centre,) = struct.unpack_from("<I", body, 32)
    return (float(centre) if centre > 0 else None), started
