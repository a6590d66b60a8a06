"""Somebody else's dialect and board files: whatever stands in their place is told, and nothing is waited for."""

import os
from pathlib import Path

import pytest

from drivers.data_files import DataFileError, text_of
from drivers.errors import RigError
from drivers.protocols.relay_bytes import load as load_board
from drivers.receivers.dialect import load as load_dialect

BOARD = "source: made up\nnotation: hex\nrelays:\n  1: {'on': '65', 'off': '6F'}\n"


def test_a_pipe_or_device_in_a_files_place_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "mine.yaml")
    for place in (tmp_path / "mine.yaml", tmp_path, Path("/dev/zero"), Path("a\0b")):
        with pytest.raises(DataFileError):
            text_of(place)
    with pytest.raises(RigError, match="ordinary"):
        load_dialect(str(tmp_path / "mine.yaml"))
    with pytest.raises(ValueError, match="ordinary"):
        load_board(tmp_path / "mine.yaml")


def test_a_sound_board_is_read(tmp_path: Path) -> None:
    (tmp_path / "board.yaml").write_text(BOARD)
    assert load_board(tmp_path / "board.yaml").relays["1"].on == "65"


@pytest.mark.parametrize(
    "text",
    [
        "\x00", "[" * 800, "? [a, b]\n: c", "- 1", "", "a: {b: " * 30, "source: 2026-13-01", "x: " + "y" * 300_000,
        BOARD + "? {a: b}\n: 1\n", BOARD.replace("'65'", "'6'"), BOARD.replace("'65'", "'54 20 31 0A'"),
        BOARD.replace("1:", f"{'9' * 400}:").replace("hex", "nothing"), BOARD.replace("'65'", f"'{'65' * 400}'"),
    ],
)  # fmt: skip
def test_a_hostile_board_is_told_and_nothing_else_is_raised(tmp_path: Path, text: str) -> None:
    (tmp_path / "board.yaml").write_text(text)
    with pytest.raises(ValueError, match=r"board\.yaml"):
        load_board(tmp_path / "board.yaml")
