"""A station's folder wherever it lies: on a disk, or in object storage, through fsspec.

Only what the manifest lists is read, and only when its checksum holds; besides it the summaries that a station keeps,
which have a book of checksums of their own. Nothing is written there.
"""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from sweeper.errors import UserFacingError, WrongInput
from sweeper.outside import MOST_JSON_BYTES
from sweeper.station import load
from sweeper.store.files import write_new
from sweeper.store.finished import day_of_bytes
from sweeper.store.manifest import MANIFEST, MOST_DAY_BYTES, STATION, parse_manifest
from sweeper.tables import pl

if TYPE_CHECKING:
    from fsspec import AbstractFileSystem

    from sweeper.station import Station


class BrokenFile(UserFacingError):
    """A file that is missing, torn or not what the manifest says."""


class StationFolder:
    """What one station sent. `UserFacingError` when it has no manifest that can be read."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._files, self._root = _reach(url)
        try:
            text = self._content(MANIFEST, MOST_JSON_BYTES).decode("utf-8")
            self._listed: Mapping[str, Mapping[str, Any]] = parse_manifest(text)
        except (OSError, ValueError) as error:
            raise BrokenFile(f"{url}/{MANIFEST}: {error}. Let the station send its folder again.") from error
        self.bytes_read = len(text)

    def station(self) -> Station:
        """The station file that came with the readings."""
        content = self._read(STATION)
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / STATION
            write_new(file, content)
            return load(file)

    def days(self) -> dict[str, str]:
        """The finished days that the manifest lists, in order, each by its date, with its checksum."""
        names = sorted(name for name in self._listed if name.startswith("days/"))
        try:
            days = {name: date.fromisoformat(PurePosixPath(name).stem) for name in names}
        except ValueError as error:
            raise BrokenFile(
                f"{self.url}/{MANIFEST}: it lists a day that is none ({error}). Let the station send its folder again."
            ) from error
        return {day.isoformat(): str(self._listed[name]["sha256"]) for name, day in days.items()}

    def kept(self, name: str) -> bytes:
        """A file that the manifest does not vouch for, so that its reader must; OSError where there is none."""
        content = self._content(name, MOST_DAY_BYTES)
        self.bytes_read += len(content)
        return content

    def _content(self, name: str, most_bytes: int) -> bytes:
        place = f"{self._root}/{name}"
        kind, size = (self._files.info(place).get(key) for key in ("type", "size"))
        if kind != "file" or size is None or size > most_bytes:
            raise OSError(f"{name} is no ordinary file of at most {most_bytes:,} bytes")
        content: bytes = self._files.cat_file(place)
        return content

    def day(self, day: str) -> pl.DataFrame:
        """The readings of one day; `BrokenFile` when they are not what the manifest says."""
        name = f"days/{day}.parquet"
        content = self._read(name)
        try:
            return day_of_bytes(content, day)
        except (ValueError, pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
            raise BrokenFile(f"{self.url}/{name}: this is no day of readings ({error}).") from error

    def _read(self, name: str) -> bytes:
        try:
            content = self.kept(name)
        except OSError as error:
            raise BrokenFile(
                f"{self.url}/{name}: cannot be read ({error}). Let the station send it again."
            ) from error
        if hashlib.sha256(content).hexdigest() != self._listed.get(name, {}).get("sha256"):
            raise BrokenFile(
                f"{self.url}/{name}: its checksum is not the manifest's. Let the station send it again."
            )
        return content


def find_stations(urls: Sequence[str]) -> tuple[str, ...]:
    """The station folders at or below each of `urls`, in a fixed order; `WrongInput` where there is none."""
    found: set[str] = set()
    for url in urls:
        below = set(_below(url))
        if not below and _begun(url):
            raise WrongInput(
                f"{url}: this station has no finished day yet, and only those are put beside others. Its first is a "
                "file once `sweeper run` has seen the next noon there."
            )
        if not below:
            raise WrongInput(
                f"{url}: no station's folder lies there. One holds {MANIFEST}, {STATION} and days/; "
                f"`sweeper run` keeps it up to date in the data folder of its station."
            )
        found |= below
    return tuple(sorted(found))


def _below(url: str) -> Iterator[str]:
    files, root = _reach(url)
    prefix = url.rstrip("/")
    for pattern in (f"{root}/{MANIFEST}", f"{root}/*/{MANIFEST}", f"{root}/*/*/{MANIFEST}"):
        for match in files.glob(pattern):
            inside = str(match)[len(root) :].removesuffix(MANIFEST).strip("/")
            yield f"{prefix}/{inside}" if inside else prefix


def _begun(url: str) -> bool:
    """Whether a station lies there that keeps its first day in the database still."""
    files, root = _reach(url)
    return any(files.glob(f"{root}{below}/today.sqlite") for below in ("", "/*", "/*/*"))


def _reach(url: str) -> tuple[AbstractFileSystem, str]:
    try:
        from fsspec.core import url_to_fs

        files, root = url_to_fs(url)
    except ImportError as missing:
        raise WrongInput(
            f"{url}: {missing}. Install fsspec, and s3fs for s3 addresses, in the program's environment."
        ) from missing
    except ValueError as error:
        raise WrongInput(f"{url}: {error}. Name a folder, or a URL such as s3://club/stations.") from error
    return files, str(root).rstrip("/")
