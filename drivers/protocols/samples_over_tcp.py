"""Samples of a band over TCP: 8-bit pairs as rtl_tcp's public protocol sends them, and its commands. Pure.

The server speaks first: 12 bytes, ``RTL0``, the kind of tuner and how many gains it has, big-endian. After them come
pairs of bytes, I and Q, without end; 127.5 is zero. A command is one byte and a number of four, big-endian; none is
ever answered. Samples are scaled so that full scale is 1.
"""

import struct
from typing import TYPE_CHECKING, Literal

from drivers.errors import BadReply

if TYPE_CHECKING:  # slow to load, and only a receiver of samples needs it
    import numpy as np
    from numpy.typing import NDArray

PART = "receiver"
HEADER_BYTES = 12
TUNERS = {1: "E4000", 2: "FC0012", 3: "FC0013", 4: "FC2580", 5: "R820T", 6: "R828D"}
Name = Literal[
    "frequency", "rate", "gain by hand", "gain", "ppm", "digital gain control", "direct sampling", "bias tee"
]
CODES: dict[Name, int] = {
    "frequency": 0x01,
    "rate": 0x02,
    "gain by hand": 0x03,
    "gain": 0x04,
    "ppm": 0x05,
    "digital gain control": 0x08,
    "direct sampling": 0x09,
    "bias tee": 0x0E,
}
"""Gain is in tenths of a decibel, of the tuner's own steps the nearest; direct sampling is 0 off, 1 by I, 2 by Q."""


STEP_NOISE = 2.0 / 12.0 / 127.5**2
"""Power that steps of eight bits add, both parts together, of full scale: a twelfth of a step squared in each."""


def tuner_of(header: bytes) -> str:
    """The tuner that the server's first 12 bytes name; BadReply where they are no such header."""
    if len(header) != HEADER_BYTES or header[:4] != b"RTL0":
        raise BadReply(
            PART,
            f"it begins with {header.hex(' ').upper()}, not as a server of 8-bit samples does.",
            "Is the port that of a server of samples, such as rtl_tcp?",
        )
    (kind,) = struct.unpack(">I", header[4:8])
    return TUNERS.get(kind, "tuner unknown")


def command(name: Name, value: int) -> bytes:
    """The five bytes of a command; negative numbers as two's complement."""
    return struct.pack(">BI", CODES[name], value & 0xFFFF_FFFF)


def decoded(pairs: "NDArray[np.uint8]") -> "NDArray[np.complex64]":
    """Samples of an even number of bytes, shape (n,) from (2n,)."""
    import numpy as np

    parts = pairs.astype(np.float32)
    parts -= np.float32(127.5)
    parts *= np.float32(1.0 / 127.5)
    samples: NDArray[np.complex64] = parts.view(np.complex64)
    return samples


def clipped_share(pairs: "NDArray[np.uint8]") -> float:
    """Share of the bytes that stand at either end of the converter, which are where it clips."""
    import numpy as np

    return float(np.count_nonzero((pairs == 0) | (pairs == 255)) / max(len(pairs), 1))
