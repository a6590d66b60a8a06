"""Files that are whole or absent: write beside, fsync, rename, fsync the folder.

The one place that makes files; `drivers/ordinary_files.py` is the one that reads them.
"""

import errno
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from sweeper.store.errors import StoreError

_MENDS = {
    errno.ENOSPC: "the disk is full. Free some space; what is stored already is safe.",
    errno.EDQUOT: "the disk quota is used up. Free some space; what is stored already is safe.",
    errno.EFBIG: "the file would grow beyond the allowed size. Raise the limit; what is stored already is safe.",
    errno.EROFS: "the disk is read-only. Mount it writable, or give another folder with --data.",
    errno.EACCES: "permission is denied. Give this user the folder, or give another one with --data.",
    errno.EPERM: "permission is denied. Give this user the folder, or give another one with --data.",
    errno.ENOENT: "there is no such folder. Make it, or give another place.",
    errno.EIO: "the disk reports an error. Copy the data folder to another disk soon.",
}


@contextmanager
def told(doing: str, file: Path) -> Iterator[None]:
    """Turn an OSError into a `StoreError` that says what cannot be done to which file, and what to do."""
    try:
        yield
    except BrokenPipeError:
        raise  # Whoever reads our output has seen enough; that is for the command to end.
    except OSError as error:
        # polars raises some without a number, but with the number in the text.
        in_text = re.search(r"os error (\d+)", str(error))
        number = error.errno or (int(in_text[1]) if in_text else 0)
        why = _MENDS.get(number) or (f"{os.strerror(number)}." if number else f"{error}.")
        raise StoreError(f"{file}: cannot {doing}: {why}") from error


NOT_THROUGH_A_LINK = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0)
"""How files of ours are opened, where the system knows such links; a pipe in their place is not waited for."""


def new_file(file: Path, mode: int = 0o644) -> int:
    """Make a file that is not there yet; its descriptor. FileExistsError for whatever bears its name already."""
    return os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL | NOT_THROUGH_A_LINK, mode)


def write_new(file: Path, content: bytes, mode: int = 0o644) -> None:
    """Write a file that is not there yet. FileExistsError as above, another OSError where none can be written."""
    with os.fdopen(new_file(file, mode), "wb") as out:
        out.write(content)


@contextmanager
def beside(file: Path) -> Iterator[tuple[Path, BinaryIO]]:
    """A new file to write to, which becomes `file` if all goes well and is gone otherwise. OSError.

    Whatever bore its name, left by a crash or put there by somebody, link or pipe, is taken away and not written to.
    """
    part = file.with_name(f".{file.name}.part")
    part.unlink(missing_ok=True)
    try:
        with os.fdopen(new_file(part), "wb") as out:
            yield part, out
            out.flush()
            os.fsync(out.fileno())
        part.rename(file)
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise
    sync_folder(file.parent)


def write_whole(file: Path, content: bytes) -> None:
    """`replace_whole` for what is stored: `StoreError` when the disk or its permissions do not allow it."""
    with told("write it", file):
        replace_whole(file, content)


def replace_whole(file: Path, content: bytes) -> None:
    """Make `file` hold `content`, or leave it as it was, also when the power fails in between. OSError when it is."""
    with beside(file) as (_, out):
        out.write(content)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder last."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def folder_name(station_name: str) -> str:
    """The station's name, if it can name a folder and leads nowhere else."""
    hidden = not station_name.strip() or station_name.startswith(".")
    if hidden or any(character in "/\\" or ord(character) < 32 for character in station_name):
        raise StoreError(f"{station_name!r} cannot name a folder; mend station.name.")
    return station_name


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, each name on the disk before this returns. A link in its place is refused."""
    with told("make it", folder):
        if folder.is_symlink():
            raise StoreError(
                f"{folder}: this is a link to somewhere else, where nothing is written or set aside. Put the folder "
                "itself there."
            )
        missing = [each for each in (folder, *folder.parents) if not each.exists()]
        for each in reversed(missing):
            each.mkdir(exist_ok=True)
            sync_folder(each.parent)


def set_aside(file: Path, folder: Path) -> Path:
    """Move a file out of the way without deleting or overwriting anything; where it went."""
    with told("set it aside", file):
        make_folder(folder)
        number = 1
        while (target := folder / f"{file.name}.{number}").exists():
            number += 1
        file.rename(target)
        sync_folder(folder)
        sync_folder(file.parent)
    return target
