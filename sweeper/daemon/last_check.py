"""What the last look at the rig found, kept beside the readings for `run`, `plan` and the report until it is mended."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Self

from drivers.ordinary_files import content_of
from sweeper.outside import MOST_JSON_BYTES, json_of
from sweeper.store import replace_whole

NAME = "last-check.json"


@dataclass(frozen=True, slots=True)
class LastCheck:
    """When the rig was looked at, what failed, and what the meter showed of itself, in sentences."""

    at: datetime
    failed: tuple[str, ...] = ()
    meter: tuple[str, ...] = ()

    def keep(self, folder: Path) -> None:
        """Write it into the station's folder, in place of an earlier one. OSError when that cannot be."""
        kept = {"at": self.at.isoformat(), "failed": self.failed, "meter": self.meter}
        replace_whole(folder / NAME, (json.dumps(kept, ensure_ascii=False, indent=1) + "\n").encode())

    @classmethod
    def of(cls, folder: Path) -> Self | None:
        """What is kept in the station's folder; None where nothing readable is."""
        try:
            kept = json_of(content_of(folder / NAME, MOST_JSON_BYTES))
            return cls(
                datetime.fromisoformat(kept["at"]), _sentences(kept["failed"]), _sentences(kept["meter"])
            )
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def sentences(self) -> tuple[str, ...]:
        """What a person has to know before readings count: failures first, then the meter."""
        day = f"{self.at:%d %b %Y}"
        failed = tuple(
            f"`sweeper check` of {day} found, and no later one found it mended: {each}"
            for each in self.failed
        )
        return (*failed, *self.meter)


def _sentences(told: Iterable[object]) -> tuple[str, ...]:
    if not isinstance(told, list) or not all(isinstance(each, str) for each in told):
        raise TypeError("no sentences")
    return tuple(str(each) for each in told)
