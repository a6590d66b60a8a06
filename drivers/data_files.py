"""Dialect and board files as plain data: read whole from an ordinary file, bounded, nothing constructed.

Somebody else wrote them, so size, depth and the number of values are bounded before anything looks at them, keys are
words or numbers, and a pipe or a device in a file's place is refused instead of waited for.
"""

from pathlib import Path
from typing import Any

from drivers.ordinary_files import content_of

MOST_BYTES = 200_000
MOST_VALUES = 20_000
MOST_DEPTH = 20
MOST_MERGES = 100


class DataFileError(ValueError):
    """What is wrong with a file as such; `line` from 1, 0 where it is none in particular."""

    def __init__(self, what: str, line: int = 0) -> None:
        super().__init__(what)
        self.line = line


def text_of(file: Path) -> str:
    """What an ordinary file in UTF-8 holds. DataFileError for anything else, FileNotFoundError where there is none."""
    try:
        data = content_of(file, MOST_BYTES)
    except FileNotFoundError:
        raise
    except OSError as fault:
        why = f"it cannot be read: {fault.strerror}" if fault.strerror else str(fault)
        raise DataFileError(why) from None
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise DataFileError(f"byte {fault.start} is not UTF-8") from None


def mapping_of(text: str) -> dict[Any, Any]:
    """The mapping that YAML 1.2 `text` holds, as ruamel.yaml gives it, with its lines. DataFileError otherwise."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    if text.count("<<") > MOST_MERGES:  # each costs ruamel as much as all before it
        raise DataFileError("it merges more mappings than such a file needs; write them out")
    try:
        content = YAML(typ="rt", pure=True).load(text)
    except MarkedYAMLError as fault:
        mark = fault.problem_mark or fault.context_mark
        raise DataFileError(str(fault.problem), mark.line + 1 if mark else 0) from None
    except (YAMLError, ValueError, RecursionError, TypeError) as fault:
        # a control character, a date such as 2026-13-01, thousands of open brackets, a mapping as a key
        raise DataFileError(f"this is not YAML: {(str(fault).splitlines() or ['?'])[0]}") from None
    if not isinstance(content, dict):
        raise DataFileError("it holds no keys")
    _bounded(content)
    return content


def _bounded(content: Any) -> None:
    """Counts values as they unfold, so that aliases of aliases are not followed to the end."""
    left, waiting = MOST_VALUES, [(content, 1, 1)]
    while waiting:
        value, depth, line = waiting.pop()
        left -= 1
        if left < 0 or depth > MOST_DEPTH:
            raise DataFileError("it holds more, or deeper, than such a file needs", line)
        if isinstance(value, dict):
            for key, inner in value.items():
                own = _line(value, key, line)
                if not isinstance(key, str | int | float):
                    raise DataFileError("a key is a word or a number", own)
                waiting.append((inner, depth + 1, own))
        elif isinstance(value, list):
            waiting += [(inner, depth + 1, _line(value, nth, line)) for nth, inner in enumerate(value)]


def _line(container: Any, key: Any, otherwise: int) -> int:
    places = getattr(getattr(container, "lc", None), "data", None) or {}
    try:
        return int(places[key][0]) + 1
    except (KeyError, TypeError, IndexError):
        return otherwise
