"""JSON that others may have written: of a bounded size and depth, and with nothing but text inside.

The bytes come by `drivers.ordinary_files`; so does every file of a data folder that is not in the store's own formats.
"""

import json
from typing import Any

MOST_JSON_BYTES = 16_000_000
"""A manifest of a hundred years of days takes a third of it."""
MOST_DEPTH = 32


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
