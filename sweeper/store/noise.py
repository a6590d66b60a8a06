"""What made the noise, pass by pass: lines of text in a file a month, in the folder ``noise``. Kept for good.

Beside the readings, and less than they are: a line that a crash tears is a line lost, and no pass.
"""

from datetime import datetime
from pathlib import Path

from drivers.ordinary_files import content_of
from sweeper.store.errors import StoreError
from sweeper.store.files import append_line, make_folder

MOST_BYTES = 200_000_000
"""Of a month, many times over."""


def keep_noise(station_folder: Path, started: datetime, line: str) -> None:
    """Keep the line of a pass. `StoreError` if it cannot be."""
    place = station_folder / "noise"
    try:
        make_folder(place)
        append_line(place / f"{started:%Y-%m}.jsonl", line)
    except OSError as fault:
        raise StoreError(f"{place}: what made the noise cannot be kept there ({fault.strerror}).") from fault


def kept_noise(station_folder: Path) -> list[str]:
    """All lines, in order of time; what cannot be read is left out."""
    found: list[str] = []
    try:
        files = sorted((station_folder / "noise").glob("????-??.jsonl"))
    except OSError:
        return []
    for file in files:
        try:
            found += content_of(file, MOST_BYTES).decode("utf-8", "replace").splitlines()
        except OSError:
            continue
    return found
