"""What others may have written, read within limits: ordinary files of a bounded size, JSON of a bounded depth.

Every file that the program finds in a data folder goes through here, or through the store's own formats.
"""

import json
import os
import stat
from pathlib import Path
from typing import Any

MOST_JSON_BYTES = 16_000_000
"""A manifest of a hundred years of days takes a third of it."""
MOST_DEPTH = 32


def content_of(file: Path, most_bytes: int = MOST_JSON_BYTES) -> bytes:
    """The bytes of an ordinary file; OSError for anything else (a pipe is not waited for) and for a longer one."""
    handle = os.open(file, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC)
    with os.fdopen(handle, "rb") as opened:
        found = os.fstat(handle)
        if not stat.S_ISREG(found.st_mode):
            raise OSError("it is no ordinary file")
        content = opened.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise OSError(f"it is longer than {most_bytes:,} bytes")
    return content


def json_of(text: str | bytes, most_bytes: int = MOST_JSON_BYTES) -> Any:
    """The value that a JSON text holds. ValueError when it is none, or too long, too deep or no text at all inside."""
    if len(text) > most_bytes:
        raise ValueError(f"it is longer than {most_bytes:,} bytes")
    try:
        value = json.loads(text)
    except RecursionError:
        raise ValueError("it is nested too deep") from None
    waiting = [(value, 1)]
    while waiting:
        each, depth = waiting.pop()
        if depth > MOST_DEPTH:
            raise ValueError("it is nested too deep")
        if isinstance(each, dict):
            waiting += [(inner, depth + 1) for pair in each.items() for inner in pair]
        elif isinstance(each, list):
            waiting += [(inner, depth + 1) for inner in each]
        elif isinstance(each, str):
            each.encode()  # half a surrogate pair is no text (a UnicodeEncodeError is a ValueError)
    return value
