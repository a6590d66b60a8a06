"""What a station hands on: its finished days, its station file, and a manifest that proves them whole.

``manifest.json`` lists every finished day with its size and SHA-256. Day files do not change once they are
listed, so any file-copy tool may send them, again and again: who receives them checks each against the manifest.
"""

import hashlib
import json
import os
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from sweeper.store.files import told, write_whole

MANIFEST = "manifest.json"
FORMAT = "sweeper-manifest-1"
STATION = "station.yaml"


def write_manifest(folder: Path) -> None:
    """List the files of a station's `folder` that may be sent; only new or changed ones are read."""
    listed = _read(folder)
    files: dict[str, dict[str, Any]] = {}
    with told("read it", folder):
        for file in [*sorted((folder / "days").glob("[!.]*.parquet")), folder / STATION]:
            if not file.is_file():
                continue
            name, stat = file.relative_to(folder).as_posix(), file.stat()
            known = listed.get(name)
            if known and known.get("bytes") == stat.st_size and known.get("modified_ns") == stat.st_mtime_ns:
                files[name] = dict(known)
            else:
                digest = hashlib.sha256(file.read_bytes()).hexdigest()
                files[name] = {"bytes": stat.st_size, "modified_ns": stat.st_mtime_ns, "sha256": digest}
    if files != listed:
        text = json.dumps({"format": FORMAT, "files": files}, indent=1)
        write_whole(folder / MANIFEST, text.encode())


def parse_manifest(text: str) -> Mapping[str, Mapping[str, Any]]:
    """Files by name, each with ``bytes`` and ``sha256``; ValueError when it is no manifest."""
    book = json.loads(text)
    if not isinstance(book, dict) or book.get("format") != FORMAT or not isinstance(book.get("files"), dict):
        raise ValueError(f"this is no manifest of the format {FORMAT}")
    files: dict[str, Mapping[str, Any]] = book["files"]
    for name, entry in files.items():
        if name.startswith("/") or ".." in name.split("/"):
            raise ValueError(f"{name!r} would lie outside the station's folder")
        if not isinstance(entry, dict) or not isinstance(entry.get("sha256"), str):
            raise ValueError(f"{name!r} has no checksum")
    return files


def identity(folder: Path, file: Path) -> str:
    """What the bytes of a file are known by: their checksum where the manifest has it, else size and time."""
    stat = file.stat()
    return _listed_as(folder, file, stat) or f"{stat.st_size} {stat.st_mtime_ns}"


def has_rotted(folder: Path, file: Path) -> bool:
    """Whether a listed file of the size and time in the manifest no longer has the bytes that it had then."""
    stat = file.stat()
    listed = _listed_as(folder, file, stat)
    return bool(listed) and _digest(file, stat.st_size, stat.st_mtime_ns) != listed


def _listed_as(folder: Path, file: Path, stat: os.stat_result) -> str:
    """The checksum in the manifest; empty where the file was never listed, or written since."""
    listed = _read(folder).get(file.relative_to(folder).as_posix(), {})
    same = (listed.get("bytes"), listed.get("modified_ns")) == (stat.st_size, stat.st_mtime_ns)
    return str(listed["sha256"]) if same else ""


@lru_cache(maxsize=4096)
def _digest(file: Path, size: int, modified_ns: int) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()


def keep_station_file(folder: Path, text: str) -> None:
    """Keep the station file beside the readings that were taken under it."""
    content, file = text.encode(), folder / STATION
    with told("read it", file):
        same = file.exists() and file.read_bytes() == content
    if not same:
        write_whole(file, content)


def _read(folder: Path) -> Mapping[str, Mapping[str, Any]]:
    file = folder / MANIFEST
    try:
        stat = file.stat()
        return _parsed(file, stat.st_size, stat.st_mtime_ns)
    except (OSError, ValueError):
        return {}  # absent or torn: everything is listed anew


@lru_cache(maxsize=8)
def _parsed(file: Path, size: int, modified_ns: int) -> Mapping[str, Mapping[str, Any]]:
    return parse_manifest(file.read_text(encoding="utf-8"))
