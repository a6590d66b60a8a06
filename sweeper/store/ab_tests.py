"""Results of A/B tests, kept beside the readings and apart from them: a file each, in the folder ``ab``."""

from pathlib import Path

from drivers.ordinary_files import content_of
from sweeper.store.errors import StoreError
from sweeper.store.files import folder_name, make_folder, write_new

MOST, MOST_BYTES = 500, 200_000
"""As many as are read back, the latest, and how long one may be: a result has some kilobytes."""


def keep_ab_test(folder: Path, station_name: str, at: str, text: str) -> Path:
    """Keep a result, JSON, under the instant of the test (``2026-11-26T17:32:10Z``). `StoreError` if it cannot be."""
    place = folder / folder_name(station_name) / "ab"
    name = "".join(letter for letter in at if letter.isalnum() or letter == "-") or "test"
    try:
        make_folder(place)
        for nth in range(1, 100):
            file = place / (f"{name}.json" if nth == 1 else f"{name}-{nth}.json")
            try:
                write_new(file, f"{text}\n".encode(), 0o644)
            except FileExistsError:
                continue
            return file
    except OSError as fault:
        raise StoreError(f"{place}: the result cannot be kept there ({fault.strerror}).") from fault
    raise StoreError(f"{place}: a hundred results of that second are there already; nothing was kept.")


def kept_ab_tests(station_folder: Path) -> tuple[str, ...]:
    """The texts of the results kept, in the order of time; what cannot be read is left out."""
    found = []
    try:
        files = sorted((station_folder / "ab").glob("*.json"))[-MOST:]
    except OSError:
        return ()
    for file in files:
        try:
            found.append(content_of(file, MOST_BYTES).decode("utf-8"))
        except (OSError, ValueError):
            continue
    return tuple(found)
