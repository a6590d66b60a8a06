"""`lines`: what was learned between a band's edges, what the station file pins, and learning it again."""

from pathlib import Path

import pytest

from drivers.config_files import station_file
from sweeper.cli.lines import lines
from sweeper.errors import WrongInput
from sweeper.spectra.lines import KEPT_UNDER
from sweeper.store import Store


@pytest.fixture
def station(tmp_path: Path) -> Path:
    file = tmp_path / "shore.yaml"
    text = station_file("saltmarsh-samples").read_text(encoding="utf-8")
    pinned = text.replace(
        "edges_hz: [28030000, 28230000]", "edges_hz: [28030000, 28230000], carriers_hz: [28200000]"
    )
    file.write_text(pinned, encoding="utf-8")
    with Store(tmp_path / "shore.data", "Saltmarsh", 8.1) as store:
        store.remember(KEPT_UNDER, {"20 m": {15_000_000: 12.4, 14_850_000: 1.0}, "10 m": {28_080_000: 9.0}})
    return file


def test_each_band_tells_what_is_read_and_what_stood_too_seldom(
    station: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines(station)
    told = capsys.readouterr().out.splitlines()
    at = told.index("20 m, 14830 to 15020 kHz")
    assert told[at + 1 : at + 4] == [
        "  noise      14830 to 15020 kHz",
        "  not read   14850 kHz, stood in about 1 pass of late",
        "  carrier    15000 kHz, stood in about 12 passes of late",
    ]
    assert told[-1] == "  carrier    28200 kHz, by the station file", "whatever was learned there"
    assert "  no carrier has stood often enough to be read" in told


def test_again_forgets_them(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines(station, again=True)
    lines(station)
    assert "15000 kHz" not in capsys.readouterr().out


def test_a_station_of_channels_has_nothing_to_learn(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="nothing is learned"):
        lines(station_file("saltmarsh"))
