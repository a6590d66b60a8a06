"""What is wrong with a table: each kind of mistake on one line, with how often it was made and where first."""

from pathlib import Path
from typing import NoReturn

from sweeper.store.errors import BadRows, Unclear

MOST_KINDS = 20
FIRST_PLACES = 3


class Mistake(ValueError):
    """One cell or line that cannot be read: the kind of mistake with its mend, and what stands there."""

    def __init__(self, kind: str, stands: str | None = None, unclear: Unclear | None = None) -> None:
        super().__init__(kind)
        self.kind = kind
        self.stands = stands
        self.unclear = unclear


class Mistakes:
    """The mistakes found so far, by kind."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._places: dict[str, list[str]] = {}
        self._counts: dict[str, int] = {}
        self.lines = 0
        self._unclear: Unclear | None = None

    def add(self, line: int, *mistakes: Mistake) -> None:
        """One bad line and all that is wrong with it."""
        self.lines += 1
        for each in mistakes:
            self._unclear = self._unclear or each.unclear
            places = self._places.setdefault(each.kind, [])
            self._counts[each.kind] = self._counts.get(each.kind, 0) + 1
            if len(places) < FIRST_PLACES:
                places.append(
                    f"line {line}" if each.stands is None else f"line {line}: {_short(each.stands)}"
                )

    def refuse_for(self, mistake: Mistake) -> NoReturn:
        """`BadRows` for a mistake that concerns the whole table."""
        stands = "" if mistake.stands is None else f": {_short(mistake.stands)}"
        raise BadRows(
            f"{self._file}: {mistake.kind}{stands}. Nothing of the file was taken.", mistake.unclear
        )

    def refuse(self) -> None:
        """`BadRows` with one line a kind, if there is any."""
        if not self.lines:
            return
        kinds = [self._told(kind) for kind in list(self._places)[:MOST_KINDS]]
        if len(self._places) > MOST_KINDS:
            kinds.append(f"and {len(self._places) - MOST_KINDS} more kinds of mistakes")
        raise BadRows(
            f"{self._file}: {self.lines} bad line{'s' if self.lines > 1 else ''}, so nothing of the file was taken. "
            "Correct the lines and import again.\n  " + "\n  ".join(kinds),
            self._unclear,
        )

    def _told(self, kind: str) -> str:
        places, count = self._places[kind], self._counts[kind]
        more = f", and {count - len(places)} more" if count > len(places) else ""
        times = f" ({count} times)" if count > 1 else ""
        return f"{kind}{times}: {', '.join(places)}{more}"


def _short(text: str) -> str:
    return repr(text if len(text) <= 60 else text[:59] + "…")
