"""Whether the files that are held open are still those of the folder: a deleted file takes writes as gladly as any."""

from collections.abc import Iterable, Mapping
from pathlib import Path

Place = Mapping[Path, tuple[int, int] | None]
"""Device and inode of each file by the name it was opened under; None where there was none."""


def place_of(files: Iterable[Path]) -> Place:
    """Where `files` are now."""
    return {file: _identity(file) for file in files}


def moved(place: Place) -> Path | None:
    """The first name that no longer leads to the file it led to (deleted, replaced, on a disk that is gone)."""
    return next((file for file, identity in place.items() if _identity(file) != identity), None)


def _identity(file: Path) -> tuple[int, int] | None:
    # An inode is not given to another file while somebody holds it open, so the pair is as good as the file itself.
    try:
        found = file.lstat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
