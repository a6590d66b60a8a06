"""Which folders are stations, told in words where none is."""

from pathlib import Path

import pytest

from sweeper.errors import WrongInput
from sweeper.fleet import find_stations


def test_a_station_in_its_first_night_is_told_from_no_station(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="no station's folder lies there"):
        find_stations([str(tmp_path)])
    first = tmp_path / "Saltmarsh"
    first.mkdir()
    (first / "today.sqlite").touch()
    for folder in (tmp_path, first):
        with pytest.raises(WrongInput, match="no finished day yet"):
            find_stations([str(folder)])
