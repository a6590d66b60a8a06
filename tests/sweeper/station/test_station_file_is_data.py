"""A station file is data: it constructs nothing, runs nothing, unfolds into nothing large."""

import os
from pathlib import Path

import pytest

from drivers.data_files import DataFileError, mapping_of
from sweeper.station import StationFileError, load
from tests.sweeper.station.files import written


def test_a_tag_runs_nothing(tmp_path: Path) -> None:
    trap = tmp_path / "sprung"
    file = written(
        tmp_path, ("name: Saltmarsh", f'name: !!python/object/apply:pathlib.Path.touch ["{trap}"]')
    )
    with pytest.raises(StationFileError):
        load(file)
    assert not trap.exists()


def test_aliases_that_unfold_into_billions_are_refused(tmp_path: Path) -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 12)]
    file = tmp_path / "bomb.yaml"
    file.write_text("\n".join(lines))
    with pytest.raises(StationFileError, match="unfold without end"):
        load(file)


def test_an_alias_to_itself_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "loop.yaml"
    file.write_text("station: &s\n  name: *s\n")
    with pytest.raises(StationFileError):
        load(file)


def test_merging_without_end_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "merged.yaml"
    file.write_text("a: &a {x: 1}\n" + "".join(f"b{n}: {{<<: *a}}\n" for n in range(9000)))
    with pytest.raises(StationFileError, match="merges more"):
        load(file)


@pytest.mark.parametrize("key", ["{a: {b: 1}}", "[[[]]]", "{[]: 1}", "? {a: 1}\n"])
def test_a_key_that_is_no_word_is_told_wherever_it_stands(tmp_path: Path, key: str) -> None:
    for text in (f"{key}: 1\n", f"station: {{{key.strip()}: 1}}\n"):
        file = tmp_path / "station.yaml"
        file.write_text(text)
        with pytest.raises(StationFileError):
            load(file)
        with pytest.raises(DataFileError):
            mapping_of(text)


@pytest.mark.timeout(60)
def test_a_pipe_or_a_device_is_no_station_file(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.yaml"
    os.mkfifo(pipe)
    for file in (pipe, Path("/dev/zero")):
        with pytest.raises(StationFileError, match="no ordinary file"):
            load(file)


def test_a_huge_file_is_not_even_read(tmp_path: Path) -> None:
    file = tmp_path / "huge.yaml"
    file.write_text("# " + "x" * 200_001)
    with pytest.raises(StationFileError, match="longer than"):
        load(file)


@pytest.mark.parametrize("name", ["../up", "a/b", "..", ".hidden", "a\\b", "/etc", "a\x00b", "", "x" * 81])
def test_a_station_name_cannot_lead_out_of_the_data_folder(tmp_path: Path, name: str) -> None:
    quoted = '"' + name.replace("\\", "\\\\").replace("\x00", "\\0") + '"'
    with pytest.raises(StationFileError, match=r"station\.name"):
        load(written(tmp_path, ("name: Saltmarsh", f"name: {quoted}")))
