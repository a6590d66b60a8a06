"""One way to open files, one way to make them: whatever bears a file's name may be a pipe, a device or a link.

`drivers/ordinary_files.py` reads, `sweeper/store/files.py` makes. Everybody else who opens by name is on the list.
"""

import ast
import os
import re
import resource
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from drivers.ordinary_files import content_of, opened
from drivers.samples.file import RecordingError, open_recording
from drivers.switches.login import Login
from sweeper.daemon.live import endpoints
from sweeper.daemon.rig.lock import hold_rig
from sweeper.errors import UserFacingError
from sweeper.page.guard import token_in
from sweeper.recordings.labels import read_marks
from sweeper.store import StoreError, make_folder, replace_whole, write_new, write_parquet

ROOT = Path(__file__).parents[1]

BY_NAME = {
    "read_text", "read_bytes", "write_text", "write_bytes", "touch", "mkdir", "load_verify_locations",
    "load_certificate", "load_certificates", "create_certificates", "configure_curve", "memmap",
    "os.open", "os.mkdir", "os.makedirs", "io.open", "builtin open", "Path.open", "soundfile.info", "copyfile", "copy2",
}  # fmt: skip
"""Calls that open, make or read what a name leads to."""

ALLOWED: dict[str, set[str]] = {
    "drivers/ordinary_files.py": {"os.open"},
    "sweeper/store/files.py": {"os.open", "mkdir", "Path.open"},
    # what `sweeper.store.replacing` gave them
    "sweeper/store/export.py": {"Path.open"},
    "sweeper/cli/calibrate.py": {"write_text"},
    # locks, kept open, not through a link and not waited for
    "sweeper/store/lock.py": {"os.open"},
    "sweeper/daemon/rig/lock.py": {"os.open"},
    # devices that somebody named, looked at before
    "drivers/links/ports.py": {"Path.open"},
    "drivers/switches/line.py": {"Path.open"},
    "drivers/terminal.py": {"Path.open"},
    # /dev/null, and folders held by O_PATH, which opens nothing that is in them
    "sweeper/cli/data.py": {"os.open"},
    "sweeper/notify/sending.py": {"os.open"},
    "sweeper/daemon/live/front.py": {"os.open"},
    "sweeper/daemon/live/endpoints.py": {"os.open", "mkdir"},
    # files of the program itself
    "sweeper/page/assets.py": {"read_text"},
    "sweeper/report/template.py": {"read_text"},
    "sweeper/reduction/kept.py": {"read_bytes"},
    # folders that a person named in the command
    "sweeper/cli/demo_folder.py": {"mkdir"},
    "sweeper/cli/first_units.py": {"mkdir"},
}


def calls_by_name(source: str) -> set[str]:
    """What of `BY_NAME` the source calls. `.open(…)` counts as a path's where a mode, or nothing, is given."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        called = ast.unparse(node.func)
        last = called.rpartition(".")[2]
        if called == "open":
            found.add("builtin open")
        elif called in BY_NAME:
            found.add(called)
        elif last == "open" and called != "os.open":
            first = node.args[0] if node.args else None
            mode = isinstance(first, ast.Constant) and re.fullmatch("[rwxab+t]+", str(first.value))
            if mode or not node.args:
                found.add("Path.open")
        elif last in BY_NAME and called != "self.touch":
            found.add(last)
        elif last == "SoundFile" and "fileno" not in ast.unparse(node):
            found.add("soundfile.info")
        elif any(keyword.arg in ("cafile", "capath", "certfile") for keyword in node.keywords):
            found.add("load_verify_locations")
    return found


def test_files_are_opened_in_one_place_and_made_in_another() -> None:
    by_file = {
        str(file.relative_to(ROOT)): calls
        for part in ("drivers", "sweeper")
        for file in sorted((ROOT / part).rglob("*.py"))
        # The simulation writes into folders of its own, or one that a person named; nothing reads them but `ab`.
        if "simulation" not in file.parts
        for calls in [calls_by_name(file.read_text(encoding="utf-8"))]
        if calls
    }
    assert by_file == ALLOWED


@pytest.mark.parametrize(
    "line",
    [
        "file.open()", "file.open('rb')", "open(file)", "os.open(file, 0)", "Path(file).read_text()", "a.read_bytes()",
        "soundfile.SoundFile(str(file))", "soundfile.info(file)", "ssl.create_default_context(cafile=file)",
        "file.write_text('')", "file.touch()",
    ],
)  # fmt: skip
def test_such_a_line_would_be_seen(line: str) -> None:
    assert calls_by_name(line)


def a_pipe(file: Path) -> None:
    os.mkfifo(file)


def too_long(file: Path) -> None:
    """Fifty gigabytes that take no room."""
    with file.open("wb") as out:
        out.truncate(50_000_000_000)


def a_link_to_a_device(file: Path) -> None:
    file.symlink_to("/dev/zero")


def a_folder(file: Path) -> None:
    file.mkdir()


READERS: dict[str, Callable[[Path], object]] = {
    "a password": lambda file: Login(user="me", password_file=str(file)).password("board"),
    "an authority": lambda file: Login(ca_file=str(file)).trusted("board"),
    "marks": lambda file: read_marks(file, 60.0),
    "a token": token_in,
    "a recording": lambda file: open_recording([file]),
    "metadata": lambda file: open_recording([file.rename(file.with_suffix(".sigmf-meta"))]),
    "a secret key": lambda file: endpoints.server_pair(
        file.rename(file.with_name("server.key_secret")).parent
    ),
    "a client's key": lambda file: endpoints.keys_allowed(_allowed(file)),
    "any of them": lambda file: content_of(file, 1000),
}


def _allowed(file: Path) -> Path:
    (file.parent / "allowed").mkdir()
    return file.rename(file.parent / "allowed" / "laptop.key").parents[1]


@pytest.mark.timeout(60)
@pytest.mark.parametrize("put", [a_pipe, too_long, a_link_to_a_device, a_folder])
@pytest.mark.parametrize("what", READERS)
def test_what_is_no_ordinary_file_is_told_and_neither_waited_for_nor_read(
    tmp_path: Path, what: str, put: Callable[[Path], None]
) -> None:
    file = tmp_path / "given"
    put(file)
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    if (what, put) == ("a recording", too_long):
        with pytest.raises(RecordingError):
            READERS[what](file)
    else:
        from drivers.errors import RigError

        with pytest.raises((RigError, UserFacingError, RecordingError, OSError)):
            READERS[what](file)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb < 150_000


@pytest.mark.parametrize("name", ["a\0b", "~nobody-of-that-name/secret", "x" * 5000])
def test_a_name_that_no_file_can_have_is_told(name: str) -> None:
    from drivers.errors import RigError

    with pytest.raises(OSError):
        opened(Path(name))
    for read in (
        lambda: Login(user="me", password_file=name).password("board"),
        lambda: Login(ca_file=name).trusted("board"),
    ):
        with pytest.raises(RigError):
            read()


def test_no_authority_is_not_every_authority(tmp_path: Path) -> None:
    """An empty file once would have meant those of the system."""
    from drivers.errors import LinkLost

    (tmp_path / "empty.pem").write_text("\n")
    with pytest.raises(LinkLost, match="empty"):
        Login(ca_file=str(tmp_path / "empty.pem")).trusted("board")


def put_link(file: Path, elsewhere: Path) -> None:
    file.symlink_to(elsewhere)


def put_second_name(file: Path, elsewhere: Path) -> None:
    os.link(elsewhere, file)


def put_pipe(file: Path, _: Path) -> None:
    os.mkfifo(file)


@pytest.mark.timeout(60)
@pytest.mark.parametrize("put", [put_link, put_second_name, put_pipe])
def test_what_lies_where_a_file_is_made_is_not_written_to(
    tmp_path: Path, put: Callable[[Path, Path], None]
) -> None:
    from sweeper.store.frames import frame_of

    mine = tmp_path / "mine"
    mine.write_text("mine")
    for make in (
        lambda file: replace_whole(file, b"new"),
        lambda file: write_parquet(frame_of([]).lazy(), file),
    ):
        put(tmp_path / ".new.part", mine)
        make(tmp_path / "new")
        assert mine.read_text() == "mine"
        assert (tmp_path / "new").is_file()
        (tmp_path / ".new.part").unlink(missing_ok=True)
        put(tmp_path / "taken", mine)
        with pytest.raises(FileExistsError):
            write_new(tmp_path / "taken", b"new")
        (tmp_path / "taken").unlink()
    assert mine.read_text() == "mine"


@pytest.mark.timeout(60)
@pytest.mark.parametrize("put", [put_link, put_pipe])
def test_a_lock_is_not_taken_where_a_link_leads(tmp_path: Path, put: Callable[[Path, Path], None]) -> None:
    from drivers.errors import RigError

    put(tmp_path / "rig.lock", tmp_path / "elsewhere")
    if put is put_link:
        with pytest.raises(RigError, match="cannot be locked"), hold_rig(tmp_path):
            pass
        assert not (tmp_path / "elsewhere").exists()
    else:
        with hold_rig(tmp_path):
            pass


def test_a_folder_is_not_made_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "station").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(StoreError, match="a link to somewhere else"):
        make_folder(tmp_path / "station")
    assert not (tmp_path / "elsewhere").exists()


def test_the_list_of_exceptions_has_no_dead_entry() -> None:
    assert not [name for name, count in Counter(ALLOWED).items() if count and not (ROOT / name).is_file()]
