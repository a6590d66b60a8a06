"""The demo makes its folder anew, and takes away nothing that it did not make."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from sweeper.cli.demo_folder import DATA, FILES, cleared, remember
from sweeper.errors import WrongInput
from sweeper.store import Store


@pytest.fixture
def made(tmp_path: Path) -> Path:
    """What a demo leaves."""
    folder = tmp_path / "demo"
    cleared(folder)
    Store(folder / DATA, "Saltmarsh", 8.1).close()
    for name in FILES:
        (folder / name).write_text(name, encoding="utf-8")
    remember(folder)
    return folder


def test_a_demo_makes_its_own_folder_anew(made: Path) -> None:
    cleared(made)
    assert [each.name for each in made.iterdir()] == [DATA]


def test_one_that_was_cut_short_is_made_anew_too(tmp_path: Path) -> None:
    cleared(tmp_path)
    (tmp_path / "saltmarsh.yaml").write_text("station", encoding="utf-8")
    Store(tmp_path / DATA, "Saltmarsh", 8.1).close()
    cleared(tmp_path)
    assert [each.name for each in tmp_path.iterdir()] == [DATA]


@pytest.mark.parametrize("name", FILES)
def test_a_file_of_somebody_elses_stays(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine", encoding="utf-8")
    with pytest.raises(WrongInput, match="a demo did not make this, so it stays"):
        cleared(tmp_path)
    assert (tmp_path / name).read_text(encoding="utf-8") == "mine"


def test_a_data_folder_of_somebody_elses_stays(tmp_path: Path) -> None:
    Store(tmp_path / DATA, "Saltmarsh", 8.1).close()
    with pytest.raises(WrongInput, match="a demo did not make this"):
        cleared(tmp_path)


def edit(made: Path) -> None:
    with (made / "saltmarsh.yaml").open("a", encoding="utf-8") as file:
        file.write("# my own bands\n")


def note(made: Path) -> None:
    with Store(made / DATA, "Saltmarsh", 8.1) as store:
        store.add_note(datetime(2026, 11, 1, tzinfo=UTC), "ferrites on the router")


@pytest.mark.parametrize("change", [edit, note])
def test_what_was_changed_since_stays(made: Path, change: Callable[[Path], None]) -> None:
    change(made)
    with pytest.raises(WrongInput, match="has changed since the demo made it, so it stays"):
        cleared(made)
    assert all((made / name).exists() for name in FILES)


def test_other_files_beside_are_nobodys_business(made: Path) -> None:
    (made / "notes.txt").write_text("mine", encoding="utf-8")
    cleared(made)
    assert (made / "notes.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("place", ["file", "file/below", "/proc/nowhere"])
def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path, place: str) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(WrongInput, match="Name another folder with --out"):
        cleared(tmp_path / place)
