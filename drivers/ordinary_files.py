"""Files that others may have written, opened only where they are ordinary ones, and read no further than a bound.

The one place that opens files for reading; `sweeper/store/files.py` is the one that makes them (`tests/test_files.py`).
"""

import os
import stat
from pathlib import Path
from typing import BinaryIO

_NOT_WAITED_FOR = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_CLOEXEC", 0)


def opened(file: Path) -> BinaryIO:
    """An ordinary file, open for reading. OSError for anything else: a pipe is not waited for, a device not touched."""
    try:
        handle = os.open(file, os.O_RDONLY | _NOT_WAITED_FOR)
    except ValueError:
        raise OSError("its name cannot be one of a file") from None
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


def text_of(file: Path, most_bytes: int, encoding: str = "utf-8") -> str:
    """`content_of` as text. OSError, or UnicodeDecodeError where it is none."""
    return content_of(file, most_bytes).decode(encoding)


def why_not(fault: OSError) -> str:
    """An OSError of this module in a few words, without the file's name."""
    return fault.strerror or str(fault)
