"""A file is written whole or not at all, by however many at once, and through nothing that stands in its place."""

import os
import stat
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from sweeper.store import replace_whole
from sweeper.store.files import replacing


def test_two_at_once_each_write_a_whole_file(tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    with replacing(file) as first, replacing(file) as second:
        assert first != second
        first.write_bytes(b"first")
        second.write_bytes(b"second")
    assert file.read_bytes() == b"first"  # the last to be done
    assert [each.name for each in tmp_path.iterdir()] == ["page.html"]


def test_many_at_once_leave_one_of_theirs_whole(tmp_path: Path) -> None:
    file, contents = tmp_path / "page.html", [bytes([n]) * (200_000 + n) for n in range(24)]
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda content: replace_whole(file, content), contents))
    assert file.read_bytes() in contents
    assert [each.name for each in tmp_path.iterdir()] == ["page.html"]


def test_what_a_power_failure_left_is_written_over(tmp_path: Path) -> None:
    (tmp_path / ".page.html.part").write_bytes(b"half a page, and longer than the whole one")
    replace_whole(tmp_path / "page.html", b"whole")
    assert (tmp_path / "page.html").read_bytes() == b"whole"
    assert [each.name for each in tmp_path.iterdir()] == ["page.html"]


def test_a_file_keeps_the_permissions_that_it_had(tmp_path: Path) -> None:
    file = tmp_path / "station.yaml"
    file.write_text("password: sesame")
    file.chmod(0o600)
    replace_whole(file, b"password: sesame, still")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_what_fails_leaves_the_file_as_it_was_and_nothing_beside_it(tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    file.write_bytes(b"old")
    with pytest.raises(KeyboardInterrupt), replacing(file) as beside:
        beside.write_bytes(b"half")
        raise KeyboardInterrupt
    assert file.read_bytes() == b"old"
    assert [each.name for each in tmp_path.iterdir()] == ["page.html"]


def test_another_name_of_somebodys_file_is_not_written_to(tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.write_bytes(b"mine")
    os.link(mine, tmp_path / ".page.html.part")
    replace_whole(tmp_path / "page.html", b"page")
    assert mine.read_bytes() == b"mine" and (tmp_path / "page.html").read_bytes() == b"page"


@pytest.mark.parametrize("put", [os.mkfifo, os.mkdir, lambda file: file.symlink_to("/dev/full")])
def test_what_is_no_file_in_the_place_of_the_file_beside_is_left_alone(
    tmp_path: Path, put: Callable[[Path], None]
) -> None:
    put(tmp_path / ".page.html.part")
    replace_whole(tmp_path / "page.html", b"page")
    assert (tmp_path / "page.html").read_bytes() == b"page"
    assert {each.name for each in tmp_path.iterdir()} == {".page.html.part", "page.html"}
