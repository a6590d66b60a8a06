"""Reading YAML into plain values while remembering the line of every key.

A station file is data: no tag constructs an object, and size, depth and the number of values are
bounded, so that aliases cannot unfold into more than a person would write.
"""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from drivers.ordinary_files import content_of
from sweeper.station.problems import Problem, StationFileError

MOST_BYTES = 200_000
MOST_VALUES = 20_000
MOST_DEPTH = 20
MOST_MERGES = 100

Place = tuple[str | int, ...]


def read(file: Path) -> tuple[dict[Any, Any], Mapping[Place, int]]:
    """The file's mapping as plain values, and the line (from 1) of every key and item in it."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    text = text_of(file)
    if text.count("<<") > MOST_MERGES:  # Each costs ruamel as much as all before it.
        raise _refuse(file, "it merges more mappings than any station file.", "Write them out instead.")
    try:
        # Version 1.2: `off` and `07:00` stay text, whoever reads them knows what they mean there.
        content = YAML(typ="rt", pure=True).load(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        raise _refuse(
            file, f"this is not YAML: {error.problem}.", line=mark.line + 1 if mark else 0
        ) from None
    except (YAMLError, ValueError, RecursionError, TypeError) as error:
        # A bad control character, a date such as 2026-13-01, thousands of open brackets, a mapping as a key.
        raise _refuse(file, f"this is not YAML: {str(error).splitlines()[0]}.") from None
    if not isinstance(content, dict):
        raise _refuse(
            file, "this file holds no sections.", "Begin with `station:`, or let `sweeper new` write one."
        )
    lines: dict[Place, int] = {}
    plain = _Unfolding(file, lines).plain(content, ())
    return plain, lines


def text_of(file: Path) -> str:
    """The text of a station file, up to `MOST_BYTES`; `StationFileError` where it is missing or not UTF-8."""
    try:
        return content_of(file, MOST_BYTES).decode("utf-8")
    except FileNotFoundError:
        raise _refuse(
            file,
            "there is no such file.",
            "Give the path of a station file, or write one with `sweeper new`.",
        ) from None
    except UnicodeDecodeError as error:
        raise _refuse(file, f"byte {error.start} is not UTF-8.", "Save the file as UTF-8.") from None
    except OSError as error:
        raise _refuse(
            file, f"it cannot be read: {error.strerror or error}.", "Check the path and its permissions."
        ) from None


def _refuse(
    file: Path, what: str, mend: str = "Mend that line first; the rest is checked then.", line: int = 0
) -> StationFileError:
    return StationFileError((Problem(file, line, "the file", what, mend),))


class _Unfolding:
    """Turns ruamel's containers into plain ones, counting values as it goes."""

    def __init__(self, file: Path, lines: dict[Place, int]) -> None:
        self.file = file
        self.lines = lines
        self.values = 0

    def plain(self, value: Any, place: Place) -> Any:
        self.values += 1
        if self.values > MOST_VALUES or len(place) > MOST_DEPTH:
            raise _refuse(
                self.file,
                "it holds more values than any station, or aliases that unfold without end.",
                "Write out what an alias stands for, or describe fewer channels.",
            )
        if isinstance(value, dict):
            unfolded = {}
            for key, item in value.items():
                name = self._scalar(key)
                inside = (*place, name if isinstance(name, int) else str(name))
                self.lines[inside] = self._line(value, key, place)
                unfolded[name] = self.plain(item, inside)
            return unfolded
        if isinstance(value, list):
            for index in range(len(value)):
                self.lines[*place, index] = self._line(value, index, place)
            return [self.plain(item, (*place, index)) for index, item in enumerate(value)]
        return self._scalar(value)

    def _line(self, container: Any, key: Any, place: Place) -> int:
        """The line of a key or item; that of what holds it where ruamel kept none (merged keys, odd tags)."""
        own = container.lc.data or {}
        return int(own[key][0]) + 1 if key in own else self.lines.get(place, 0)

    @staticmethod
    def _scalar(value: Any) -> Any:
        if value is None or isinstance(value, bool):
            return value
        for kind in (int, float, str):
            if isinstance(value, kind):
                return kind(value)
        if isinstance(value, date):
            return value.isoformat()
        return str(value)
