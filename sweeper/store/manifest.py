"""What a station hands on: its finished days, its station file, and a manifest that proves them whole.

``manifest.json`` lists every finished day and its spectra with size and SHA-256, so any file-copy tool may send the
files, again and again: who receives them checks each against the manifest. A day that is about to be written anew is
announced first: until it is listed, its bytes may be the old or the new ones, and never any others.
"""

import hashlib
import json
from collections.abc import Mapping
from functools import lru_cache
from itertools import chain
from pathlib import Path
from typing import Any

from drivers.ordinary_files import content_of
from sweeper.outside import MOST_JSON_BYTES, json_of
from sweeper.store.files import told, write_whole

MANIFEST = "manifest.json"
FORMAT = "sweeper-manifest-1"
STATION = "station.yaml"
MOST_DAY_BYTES = 512_000_000
"""Hundred times the fullest day."""


def announce(folder: Path, file: Path, content: bytes) -> None:
    """Before `content` becomes `file`, a day that is listed already: a crash in between leaves one or the other."""
    files = {name: dict(entry) for name, entry in _read(folder).items()}
    entry = files.get(file.relative_to(folder).as_posix())
    if entry is not None:
        entry["next"] = hashlib.sha256(content).hexdigest()
        _write(folder, files)


def write_manifest(folder: Path) -> None:
    """List the files of a station's `folder` that may be sent; only new or changed ones are read.

    A day whose bytes were changed by anybody else stays listed as it was.
    """
    listed = _read(folder)
    files: dict[str, dict[str, Any]] = {}
    with told("read it", folder):
        days = (sorted((folder / name).glob("[!.]*.parquet")) for name in ("days", "spectra"))
        for file in [*chain.from_iterable(days), folder / STATION]:
            if not file.is_file():
                continue
            name, stat = file.relative_to(folder).as_posix(), file.stat()
            known = listed.get(name)
            if known and "next" not in known and _stamp(known) == (stat.st_size, stat.st_mtime_ns):
                files[name] = dict(known)
                continue
            digest = digest_of(file)
            if known and file.name != STATION and digest not in _allowed(known):
                files[name] = dict(known)
            else:
                files[name] = {"bytes": stat.st_size, "modified_ns": stat.st_mtime_ns, "sha256": digest}
    if files != listed:
        _write(folder, files)


def _write(folder: Path, files: Mapping[str, Mapping[str, Any]]) -> None:
    text = json.dumps({"format": FORMAT, "files": files}, indent=1)
    write_whole(folder / MANIFEST, text.encode())


def _stamp(entry: Mapping[str, Any]) -> tuple[Any, Any]:
    return entry.get("bytes"), entry.get("modified_ns")


def _allowed(entry: Mapping[str, Any]) -> tuple[Any, ...]:
    return entry["sha256"], entry.get("next")


def parse_manifest(text: str) -> Mapping[str, Mapping[str, Any]]:
    """Files by name, each with ``bytes`` and ``sha256``; ValueError when it is no manifest."""
    book = json_of(text)
    if not isinstance(book, dict) or book.get("format") != FORMAT or not isinstance(book.get("files"), dict):
        raise ValueError(f"this is no manifest of the format {FORMAT}")
    files: dict[str, Mapping[str, Any]] = book["files"]
    for name, entry in files.items():
        if name.startswith("/") or ".." in name.split("/"):
            raise ValueError(f"{name!r} would lie outside the station's folder")
        if not isinstance(entry, dict) or not isinstance(entry.get("sha256"), str):
            raise ValueError(f"{name!r} has no checksum")
    return files


def has_rotted(folder: Path, file: Path) -> bool:
    """Whether a listed file does not have the bytes that it was listed with, whatever its time stamp says."""
    listed = _read(folder).get(file.relative_to(folder).as_posix())
    return listed is not None and digest_of(file) not in _allowed(listed)


def digest_of(file: Path) -> str:
    """SHA-256 of a day's file, the same bytes read only once. OSError for what is no ordinary file, or a giant."""
    return _digest(file, stamp_of(file))


def stamp_of(file: Path) -> tuple[int, ...]:
    """What changes with every write to a file: nobody but the kernel sets the last of these times."""
    stat = file.stat()
    return stat.st_dev, stat.st_ino, stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns


@lru_cache(maxsize=4096)
def _digest(file: Path, stamp: tuple[int, ...]) -> str:
    return hashlib.sha256(content_of(file, MOST_DAY_BYTES)).hexdigest()


def keep_station_file(folder: Path, text: str) -> None:
    """Keep the station file beside the readings that were taken under it."""
    content, file = text.encode(), folder / STATION
    with told("read it", file):
        same = file.exists() and content_of(file, MOST_JSON_BYTES) == content
    if not same:
        write_whole(file, content)


def _read(folder: Path) -> Mapping[str, Mapping[str, Any]]:
    file = folder / MANIFEST
    try:
        return _parsed(file, stamp_of(file))
    except (OSError, ValueError):
        return {}  # absent or torn: everything is listed anew


@lru_cache(maxsize=8)
def _parsed(file: Path, stamp: tuple[int, ...]) -> Mapping[str, Mapping[str, Any]]:
    return parse_manifest(content_of(file, MOST_JSON_BYTES).decode())
