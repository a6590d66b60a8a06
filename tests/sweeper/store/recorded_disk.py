"""What a process did to the files of a folder, recorded by strace with every byte, and what a power cut leaves of it.

The disk of this model keeps less than any real one promises: bytes are safe only after their file was synced, names
only after their folder was; everything else may be there, be missing, or be torn at a sector.
"""

import random
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

import pytest

SECTOR = 512
_CALLS = (
    "open,openat,creat,write,pwrite64,ftruncate,truncate,fsync,fdatasync,rename,renameat,renameat2,unlink,unlinkat,mkdir,"
    "mkdirat,rmdir,link,linkat,symlink,symlinkat,writev,pwritev,pwritev2,sendfile,copy_file_range,fallocate,msync,sync,syncfs"
)
_LINE = re.compile(r"^(\d+) +(\w+)\((.*)\) += (-?\d+|\?)(?:<.*>)?")


@dataclass(frozen=True)
class Call:
    """A system call that succeeded: its name and its arguments, paths decoded and data as bytes."""

    name: str
    arguments: tuple[str | bytes, ...]


def record(command: Sequence[str], log: Path) -> list[Call]:
    """Run a command to its end under strace; its file calls in order. Output on descriptor 1 is among them."""
    strace = shutil.which("strace")
    if strace is None:
        pytest.skip("strace is not installed")
    subprocess.run(
        [strace, "-f", "-qq", "-xx", "-y", "-s", "10000000", "-e", f"trace={_CALLS}", "-o", log, *command],
        check=True, stdout=subprocess.DEVNULL, timeout=120,
    )  # fmt: skip
    return list(_parsed(log))


def _parsed(log: Path) -> Iterator[Call]:
    unfinished: dict[str, str] = {}
    for line in log.read_text(encoding="ascii").splitlines():
        process = line.split(" ", 1)[0]
        if line.endswith("<unfinished ...>"):
            unfinished[process] = line.removesuffix("<unfinished ...>")
            continue
        if resumed := re.match(r"^(\d+) +<\.\.\. \w+ resumed>(.*)$", line):
            line = unfinished.pop(process) + resumed[2]
        match = _LINE.match(line)
        if match is not None and not match[4].startswith("-"):
            yield Call(match[2], tuple(_argument(text) for text in match[3].split(", ")))


def _argument(text: str) -> str | bytes:
    if text.startswith('"'):
        return bytes.fromhex(text.strip('"').replace("\\x", ""))
    if "<" in text:  # A descriptor, followed by the path it stands for.
        number, path = text.rstrip(">").split("<", 1)
        decoded = bytes.fromhex(path.replace("\\x", "")).decode() if path.startswith("\\x") else path
        return f"{number}<{decoded}"
    return text


@dataclass
class _File:
    """An inode: what is safe, and what was written since."""

    safe: bytearray = field(default_factory=bytearray)
    pending: list[tuple[int, bytes | None]] = field(
        default_factory=list
    )  # offset and bytes; None: cut to the offset

    def after(self, writes: Sequence[tuple[int, bytes | None]]) -> bytes:
        content = bytearray(self.safe)
        for offset, written in writes:
            if written is None:
                content = content[:offset].ljust(offset, b"\0")
            else:
                content = content.ljust(offset, b"\0")
                content[offset : offset + len(written)] = written
        return bytes(content)


class Disk:
    """Replays calls below a folder, and shows what a power cut would leave at any moment."""

    def __init__(self, folder: Path) -> None:
        self._folder = PurePosixPath(folder)
        self._names: dict[PurePosixPath, _File] = {}
        self._safe_names: dict[PurePosixPath, _File] = {}
        self._renames: dict[PurePosixPath, list[Callable[[dict[PurePosixPath, _File]], object]]] = {}
        self.said: list[str] = []

    def replay(self, call: Call) -> bool:
        """Do what the call did; whether it changed a file of ours or made it last."""
        handler = getattr(self, f"_{call.name}", None)
        if handler is None:
            # Something this model does not know must not touch our files unseen.
            assert not any(self._ours(argument) for argument in call.arguments), call
            return False
        return bool(handler(*call.arguments))

    def everything(self) -> dict[str, bytes]:
        """The files if all that was written reached the disk."""
        return self._image(self._names, lambda file: file.after(file.pending))

    def synced(self) -> dict[str, bytes]:
        """The files if only what was synced reached the disk."""
        return self._image(self._safe_names, lambda file: bytes(file.safe))

    def torn(self, chance: random.Random) -> dict[str, bytes]:
        """The files if any of what was not synced reached the disk, torn at sectors; names in order in each folder."""
        names = dict(self._safe_names)
        for changes in self._renames.values():
            for change in changes[: chance.randint(0, len(changes))]:
                change(names)

        def content(file: _File) -> bytes:
            kept: list[tuple[int, bytes | None]] = []
            for offset, written in file.pending:
                if chance.random() < 0.5:
                    continue
                if written is not None and chance.random() < 0.5:
                    written = written[: SECTOR * chance.randint(0, len(written) // SECTOR)]
                kept.append((offset, written))
            return file.after(kept)

        return self._image(names, content)

    def _image(
        self, names: dict[PurePosixPath, _File], content: Callable[[_File], bytes]
    ) -> dict[str, bytes]:
        return {str(path.relative_to(self._folder)): content(file) for path, file in names.items()}

    def _ours(self, argument: str | bytes) -> PurePosixPath | None:
        text = (
            argument.decode(errors="replace") if isinstance(argument, bytes) else argument.partition("<")[2]
        )
        path = PurePosixPath(text)
        # The index of SQLite's log is memory shared between processes; a power cut leaves none of it.
        return path if path.is_relative_to(self._folder) and not path.name.endswith("-shm") else None

    def _rename_in(
        self, folder: PurePosixPath, change: Callable[[dict[PurePosixPath, _File]], object]
    ) -> bool:
        change(self._names)
        self._renames.setdefault(folder, []).append(change)
        return True

    # One method for each call, by its name.

    def _openat(self, at: str, name: bytes, flags: str, *_: str) -> bool:
        path = self._ours(name)
        if path is None:
            return False
        if "O_CREAT" in flags and path not in self._names:
            new = _File()
            self._rename_in(path.parent, lambda names: names.__setitem__(path, new))
        if "O_TRUNC" in flags:
            self._names[path].pending.append((0, None))
        return False  # An empty file more is seen with the next call.

    def _pwrite64(self, descriptor: str, data: bytes, length: str, offset: str) -> bool:
        path = self._ours(descriptor)
        if path is None:
            return False
        self._names[path].pending.append((int(offset), data))
        return True

    def _write(self, descriptor: str, data: bytes, length: str) -> bool:
        if descriptor.startswith("1<"):
            self.said += data.decode().splitlines()
        path = self._ours(descriptor)
        if path is None:
            return False
        file = self._names[path]
        file.pending.append(
            (len(file.after(file.pending)), data)
        )  # Our own files are only ever written at their end.
        return True

    def _ftruncate(self, descriptor: str, length: str) -> bool:
        path = self._ours(descriptor)
        if path is None:
            return False
        self._names[path].pending.append((int(length), None))
        return True

    def _fsync(self, descriptor: str) -> bool:
        path = self._ours(descriptor)
        if path is None:
            return False
        if path in self._names:
            file = self._names[path]
            file.safe, file.pending = bytearray(file.after(file.pending)), []
        for change in self._renames.pop(path, []):
            change(self._safe_names)
        return True

    _fdatasync = _fsync

    def _rename(self, old: bytes, new: bytes) -> bool:
        before, after = self._ours(old), self._ours(new)
        if before is None or after is None:
            return False
        assert before.parent == after.parent, "the model renames within a folder"
        return self._rename_in(after.parent, lambda names: names.__setitem__(after, names.pop(before)))

    def _unlink(self, name: bytes) -> bool:
        path = self._ours(name)
        return path is not None and self._rename_in(path.parent, lambda names: names.pop(path, None))

    def _mkdir(self, *_: object) -> bool:
        return False  # Folders without files come with the files in them.
