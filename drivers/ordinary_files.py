"""Files that others may have written, opened only where they are ordinary ones, and read no further than a bound."""

import os
import stat
from pathlib import Path
from typing import BinaryIO


def opened(file: Path) -> BinaryIO:
    """An ordinary file, open for reading. OSError for anything else: a pipe is not waited for, a device not touched."""
    handle = os.open(file, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC)
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise OSError("it is no ordinary file")
    return os.fdopen(handle, "rb")


def content_of(file: Path, most_bytes: int) -> bytes:
    """All its bytes. OSError where `opened` raises one, and for a file that is longer."""
    with opened(file) as source:
        content = source.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise OSError(f"it is longer than {most_bytes:,} bytes")
    return content
