"""Files are read up to their bound and no byte further; what is none is told in a few words."""

import os
from pathlib import Path

import pytest

from drivers.ordinary_files import content_of, opened, text_of, why_not


def test_a_file_as_long_as_the_bound_is_read_and_a_longer_one_is_not(tmp_path: Path) -> None:
    file = tmp_path / "a"
    file.write_bytes(b"12345")
    assert content_of(file, 5) == content_of(file, 6) == b"12345"
    with pytest.raises(OSError, match="longer than 4 bytes"):
        content_of(file, 4)
    file.write_bytes(b"")
    assert content_of(file, 0) == b""


def test_text_is_what_its_encoding_says(tmp_path: Path) -> None:
    file = tmp_path / "a"
    file.write_bytes("é".encode("latin-1"))
    assert text_of(file, 5, "latin-1") == "é"
    with pytest.raises(UnicodeDecodeError):
        text_of(file, 5)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("nothing", "No such file or directory"),
        (".", "no ordinary file"),
        ("a\0b", "cannot be one of a file"),
    ],
)
def test_what_is_no_ordinary_file_is_told_in_a_few_words(tmp_path: Path, name: str, words: str) -> None:
    with pytest.raises(OSError) as told:
        opened(tmp_path / name)
    assert words in why_not(told.value) and str(tmp_path) not in why_not(told.value)


@pytest.mark.timeout(5)  # it takes no time, and without the flag for ever
def test_a_pipe_that_nobody_writes_to_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(OSError, match="no ordinary file"):
        opened(tmp_path / "pipe")


@pytest.mark.parametrize("device", ["/dev/null", "/dev/zero"])
def test_a_device_is_told_and_no_handle_to_it_is_left_open(device: str) -> None:
    before = len(list(Path("/proc/self/fd").iterdir()))
    with pytest.raises(OSError, match="no ordinary file"):
        opened(Path(device))
    assert len(list(Path("/proc/self/fd").iterdir())) == before


def test_an_open_file_is_handed_on_at_its_beginning(tmp_path: Path) -> None:
    file = tmp_path / "a"
    file.write_bytes(b"12345")
    with opened(file) as source:
        assert source.read(2) == b"12" and source.read() == b"345"
