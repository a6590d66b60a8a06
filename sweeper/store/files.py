"""Files that are whole or absent: write beside, fsync, rename, fsync the folder.

The one place that makes files; `drivers/ordinary_files.py` is the one that reads them (`tests/test_files.py`).
"""

import errno
import os
import re
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sweeper.store.errors import DiskError, StoreError

try:
    import fcntl
except ModuleNotFoundError:  # as on Windows, where no daemon runs
    fcntl = None  # type: ignore[assignment]

_MENDS = {
    errno.ENOSPC: "the disk is full. Free some space; what is stored already is safe.",
    errno.EDQUOT: "the disk quota is used up. Free some space; what is stored already is safe.",
    errno.EFBIG: "the file would grow beyond the allowed size. Raise the limit; what is stored already is safe.",
    errno.EROFS: "the disk is read-only. Mount it writable, or give another folder with --data.",
    errno.EACCES: "permission is denied. Give this user the folder, or give another one with --data.",
    errno.EPERM: "permission is denied. Give this user the folder, or give another one with --data.",
    errno.ENOENT: "there is no such folder. Make it, or give another place.",
    errno.ENOTDIR: "a file stands where a folder should be. Give another place.",
    errno.EIO: "the disk reports an error. Copy the data folder to another disk soon.",
}


@contextmanager
def told(doing: str, file: Path) -> Iterator[None]:
    """Turn an OSError into a `DiskError` that says what cannot be done to which file, and what to do."""
    try:
        yield
    except BrokenPipeError:
        raise  # Whoever reads our output has seen enough; that is for the command to end.
    except OSError as error:
        # polars raises some without a number, but with the number in the text.
        in_text = re.search(r"os error (\d+)", str(error))
        number = error.errno or (int(in_text[1]) if in_text else 0)
        why = _MENDS.get(number) or (f"{os.strerror(number)}." if number else f"{error}.")
        raise DiskError(f"{file}: cannot {doing}: {why}") from error


NOT_THROUGH_A_LINK = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0)
"""How files of ours are opened, where the system knows such links; a pipe in their place is not waited for."""
NO_FILE = (errno.ELOOP, errno.ENXIO, errno.EISDIR)
"""What the system says of a link, a pipe or a folder that is opened so."""


def write_new(file: Path, content: bytes, mode: int = 0o644) -> None:
    """Write a file that is not there yet. FileExistsError for whatever bears its name already, or another OSError."""
    with os.fdopen(
        os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL | NOT_THROUGH_A_LINK, mode), "wb"
    ) as out:
        out.write(content)


def append_line(file: Path, line: str) -> None:
    """Add a line to a file, on a line of its own even where a crash tore the one before. OSError if it cannot."""
    how = os.O_WRONLY | os.O_CREAT | os.O_APPEND | NOT_THROUGH_A_LINK
    with os.fdopen(os.open(file, how, 0o644), "ab", buffering=0) as out:
        if not stat.S_ISREG(os.fstat(out.fileno()).st_mode):
            raise OSError(errno.EINVAL, "it is no ordinary file")
        view = memoryview(f"\n{line}\n".encode())
        while view:
            view = view[out.write(view) :]


def write_whole(file: Path, content: bytes) -> None:
    """`replace_whole` for what is stored: `StoreError` when the disk or its permissions do not allow it."""
    with told("write it", file):
        replace_whole(file, content)


def replace_whole(file: Path, content: bytes) -> None:
    """Make `file` hold `content`, or leave it as it was, also when the power fails in between. OSError when it is."""
    with replacing(file) as beside, beside.open("wb", buffering=0) as out:
        view = memoryview(content)
        while view:
            view = view[out.write(view) :]


@contextmanager
def replacing(file: Path) -> Iterator[Path]:
    """An empty file to write to, which becomes `file` when all goes well and is gone otherwise; OSError if it cannot.

    Whoever else writes `file` meanwhile has another one: the last to be done stands, whole. A file that was there keeps
    its permissions, since a station file may hold passwords.
    """
    beside, descriptor = _beside(file)
    try:
        if file.exists() and hasattr(os, "fchmod"):
            os.fchmod(descriptor, stat.S_IMODE(file.stat().st_mode))
        yield beside
        os.fsync(descriptor)
        beside.replace(file)
    except BaseException:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise
    finally:  # and only now may another use that name
        os.close(descriptor)
    sync_folder(file.parent)


def _beside(file: Path) -> tuple[Path, int]:
    """An empty file for us alone, open for writing, and its descriptor, which holds its lock where there are locks.

    It has one name, so that what a power failure left there is written over and never piles up. While somebody else
    writes there, where something else than a file lies there, and where there are no locks, it has a name that nobody
    else has.
    """
    how = os.O_WRONLY | os.O_CREAT | NOT_THROUGH_A_LINK
    if fcntl is not None:
        usual = file.with_name(f".{file.name}.part")
        try:
            descriptor = os.open(usual, how, 0o644)
        except OSError as fault:
            if fault.errno not in NO_FILE:
                raise
        else:
            if _is_ours(descriptor, usual):
                os.ftruncate(descriptor, 0)
                return usual, descriptor
            os.close(descriptor)
    other = file.with_name(f".{file.name}.{secrets.token_hex(8)}.part")
    return other, os.open(other, how | os.O_EXCL, 0o644)


def _is_ours(descriptor: int, file: Path) -> bool:
    """Whether nobody else writes this ordinary file, and the name still leads to it and is its only one."""
    try:
        lock(descriptor)
        held, named = os.fstat(descriptor), file.lstat()
    except OSError:
        return False
    alone = stat.S_ISREG(held.st_mode) and held.st_nlink == 1
    return alone and (held.st_dev, held.st_ino) == (named.st_dev, named.st_ino)


def lock(descriptor: int) -> None:
    """Hold the file's lock until it is closed. `BlockingIOError` when somebody else does; no lock where none exist."""
    if fcntl is not None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)


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
