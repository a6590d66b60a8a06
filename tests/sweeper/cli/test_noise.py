"""`noise` and the part of `compare` that goes by source, from lines that passes have left."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from drivers.config_files import station_file as example
from sweeper.cli import main
from sweeper.noise.seen import Found, Heard
from sweeper.noise.written import line_of
from sweeper.reduction.noise import noise_changes, noise_of
from sweeper.station import load
from sweeper.store import Store, keep_noise

BEGIN = datetime(2026, 11, 2, 1, tzinfo=UTC)


def heard(number: int, at: datetime, level_db: float) -> Heard:
    comb = Found("comb", 7.0e6, 7.2e6, 0.02, 0.002, level_db, 65_000.0, 1.0, 10, 12.0)
    return Heard(at.timestamp(), number, "40 m", 7.0e6, 7.2e6, -40.0, 0.3, 0.01, True, (comb,))


@pytest.fixture
def station(tmp_path: Path) -> Path:
    """Eight days, hour by hour, in which the comb fell by 14 dB on the fifth."""
    file = tmp_path / "home.yaml"
    file.write_text(example("saltmarsh").read_text(encoding="utf-8"), encoding="utf-8")
    with Store(tmp_path / "home.data", "Saltmarsh", 8.1) as store:
        for number in range(8 * 24):
            at = BEGIN + timedelta(hours=number)
            level_db = -60.0 - (14.0 if number >= 96 else 0.0) + 0.1 * (number % 5)
            keep_noise(store.folder, at, line_of([heard(number + 1, at, level_db)]))
    return file


def call(*words: str, monkeypatch: pytest.MonkeyPatch) -> int:
    monkeypatch.setattr("sys.argv", ["sweeper", *words])
    try:
        main()
    except SystemExit as ended:
        return int(ended.code or 0)
    return 0


def test_it_tells_and_draws(
    station: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = station.with_name("noise.png")
    assert call("noise", str(station), "--json", "--picture", str(picture), monkeypatch=monkeypatch) == 0
    written = json.loads(capsys.readouterr().out)
    assert written["station"] == "Saltmarsh" and written["sources"][0]["kind"] == "comb"
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_a_station_whose_passes_tell_nothing_is_told_what_is_needed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "home.yaml"
    file.write_text(example("saltmarsh").read_text(encoding="utf-8"), encoding="utf-8")
    Store(tmp_path / "home.data", "Saltmarsh", 8.1).close()
    assert call("noise", str(file), monkeypatch=monkeypatch) == 1
    assert "receiver.spectrum" in capsys.readouterr().err


def test_a_fix_is_told_by_source(station: Path) -> None:
    with Store(station.parent / "home.data", "Saltmarsh", 8.1, read_only=True) as store:
        (change,) = noise_changes(store, load(station), BEGIN + timedelta(hours=96))
        told = noise_of(store, load(station), fix=BEGIN + timedelta(hours=96))
        assert told.passes == 8 * 24 and told.changed == (change,)
    assert change.verdict == "fell" and "fell by 14.0 dB" in change.sentence


def test_a_source_that_is_not_on_the_list_is_refused_before_anything_is_switched(
    station: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call("find-source", str(station), "--source", "2", monkeypatch=monkeypatch) == 2
    told = capsys.readouterr()
    assert "1  comb every 65 kHz" in told.out and "the list ends at 1" in told.err
