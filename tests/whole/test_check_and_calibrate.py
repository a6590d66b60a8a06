"""A person looks at the rig before the first night, and calibrates its meter."""

import json
import re
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from drivers.config_files import station_file as example
from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.serve import Served
from sweeper.station import load
from sweeper.station.rewrite import with_values
from tests.clocks import evening
from tests.sweeper.station.files import written
from tests.whole.test_main_job import sweeper

pytestmark = [pytest.mark.clock, pytest.mark.slow]


@pytest.fixture
def served() -> Iterator[Served]:
    with serve(saltmarsh(seed=1), evening(), receiver="rigctl-net", switch="modbus-tcp") as started:
        yield started


@pytest.fixture
def station_file(tmp_path: Path, served: Served) -> Path:
    quick = {
        ("receiver", "link"): served.receiver_link,
        ("receiver", "settle_s"): 0.01,
        ("receiver", "interval_s"): 0.005,
        ("switch", "link"): served.switch_link,
        ("switch", "settle_s"): 0.01,
    }
    file = tmp_path / "saltmarsh.yaml"
    file.write_text(with_values(example("saltmarsh").read_text(encoding="utf-8"), quick), encoding="utf-8")
    return file


@pytest.mark.quick
def test_a_sound_rig_is_found_sound_and_left_as_found(station_file: Path, served: Served) -> None:
    at = (served.receiver.hz, served.receiver.mode, served.receiver.bandwidth_hz)
    answer = sweeper("check", station_file)
    assert answer.returncode == 0, answer.stdout + answer.stderr
    assert "FAIL" not in answer.stdout
    assert "the reading moves by" in answer.stdout
    assert "licensed" in answer.stdout
    assert (served.receiver.hz, served.receiver.mode, served.receiver.bandwidth_hz) == at
    assert not any(served.board.coils)
    # There and back through every path, counted for life: each relay has moved more than once.
    (kept,) = station_file.parent.glob("*/*/relay-wear.json")
    operations = json.loads(kept.read_text(encoding="utf-8"))["operations"]
    assert len(operations) == 2 and all(count > 1 for count in operations.values())


def test_what_failed_is_said_by_run_plan_and_report_until_a_look_finds_it_mended(
    station_file: Path, served: Served
) -> None:
    served.board.stick(0)
    assert sweeper("check", station_file).returncode == 1
    ran = sweeper("run", station_file, "--passes", 1)
    assert "no later one found it mended: relay" in ran.stderr, ran.stderr
    assert "no later one found it mended: relay" in " ".join(sweeper("plan", station_file).stdout.split())
    served.board.loosen(0)
    assert sweeper("run", station_file, "--passes", 1).returncode == 0
    said = " ".join(sweeper("report", station_file, "--text").stdout.split())
    assert said.count("no later one found it mended") == 1, said
    assert sweeper("report", station_file).returncode == 0
    assert "no later one found it mended" in station_file.with_suffix(".html").read_text(encoding="utf-8")
    assert sweeper("check", station_file).returncode == 0
    for after in (sweeper("plan", station_file), sweeper("report", station_file, "--text")):
        assert "no later one found it mended" not in " ".join(after.stdout.split())


def test_channels_that_the_receiver_cannot_reach_are_told_one_by_one_and_the_rest_is_looked_at(
    station_file: Path, served: Served
) -> None:
    text = station_file.read_text(encoding="utf-8")
    first, second = re.findall(r"\bhz: (\d+)", text)[:2]
    text = text.replace(f"{{hz: {first}", "{hz: 1", 1).replace(f"{{hz: {second}", "{hz: 2", 1)
    station_file.write_text(text, encoding="utf-8")
    answer = sweeper("check", station_file)
    assert answer.returncode == 1
    fails = [line for line in answer.stdout.splitlines() if line.startswith("FAIL")]
    assert len(fails) == 2, answer.stdout + answer.stderr
    assert ", 1 Hz: " in fails[0] and ", 2 Hz: " in fails[1]
    assert "ok    relay and meter" in answer.stdout and "ok    path load-stage" in answer.stdout


def test_a_mode_that_the_receiver_has_not_is_told_once_by_its_name(
    station_file: Path, served: Served
) -> None:
    text = re.sub(r"mode: USB", "mode: NOSUCH", station_file.read_text(encoding="utf-8"), count=1)
    station_file.write_text(text, encoding="utf-8")
    answer = sweeper("check", station_file)
    assert answer.returncode == 1
    (fail,) = [line for line in answer.stdout.splitlines() if line.startswith("FAIL")]
    assert "NOSUCH" in fail and "receiver.mode" in fail and fail.count("receiver: ") == 1
    assert "ok    path load-stage" in answer.stdout


def test_a_stuck_relay_is_named(station_file: Path, served: Served) -> None:
    served.board.stick(0)
    answer = sweeper("check", station_file)
    assert answer.returncode == 1
    assert "FAIL  switch" in answer.stdout or "FAIL  relay" in answer.stdout, answer.stdout


def test_nothing_is_switched_while_a_transmitter_is_on(station_file: Path, served: Served) -> None:
    served.receiver.transmitting = True
    tuned = served.receiver.hz
    answer = sweeper("check", station_file)
    assert answer.returncode == 1
    assert "transmitter is on" in answer.stdout
    assert served.receiver.hz == tuned


def test_a_rig_that_is_not_there_is_said_so_with_a_mend(
    tmp_path: Path, station_file: Path, served: Served
) -> None:
    served.faults.receiver.unplug()
    answer = sweeper("check", station_file)
    assert answer.returncode == 1
    assert "FAIL  receiver" in answer.stdout
    assert "switched on" in answer.stdout


LEVELS = [(-120, -47.0), (-110, -37.2), (-100, -27.0), (-90, -17.1), (-80, -7.0), (-70, 3.0)]


def known_levels(levels: list[tuple[int, float]], file: Path) -> Path:
    lines = [f"{dbm},{reading},{reading + 0.2},{reading - 0.2}" for dbm, reading in levels]
    file.write_text("dbm,reading\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return file


def test_a_curve_goes_into_the_station_file_and_comments_stay(station_file: Path, tmp_path: Path) -> None:
    comments = [
        line.split("#")[1] for line in station_file.read_text(encoding="utf-8").splitlines() if "#" in line
    ]
    levels = known_levels(LEVELS, tmp_path / "levels.csv")
    answer = sweeper("calibrate", station_file, "--levels", levels, "--temperature", 18)
    assert answer.returncode == 0, answer.stderr
    text = station_file.read_text(encoding="utf-8")
    assert all(comment.strip() in text for comment in comments)
    assert "at 18 °C" in text
    assert "old curve" not in answer.stdout, "there was none"
    assert "flatness from band to band: 1.15 dB" in answer.stdout, (
        "nine bands, and nobody said where it was calibrated"
    )
    curve = load(station_file).receiver.meter.curve
    assert [dbm for _, dbm in curve] == [dbm for dbm, _ in LEVELS]
    assert [reading for reading, _ in curve] == pytest.approx([reading for _, reading in LEVELS], abs=0.2)


def test_a_curve_that_folds_back_is_refused_and_nothing_changes(station_file: Path, tmp_path: Path) -> None:
    before = station_file.read_bytes()
    folded = [*LEVELS[:3], (-90, -40.0), *LEVELS[4:]]
    answer = sweeper("calibrate", station_file, "--levels", known_levels(folded, tmp_path / "levels.csv"))
    assert answer.returncode == 1
    assert "no curve was written" in answer.stderr
    assert station_file.read_bytes() == before


def test_a_line_that_is_no_level_is_named(station_file: Path, tmp_path: Path) -> None:
    levels = tmp_path / "levels.csv"
    levels.write_text("dbm,reading\n-100,-30\nloud,-20\n", encoding="utf-8")
    answer = sweeper("calibrate", station_file, "--levels", levels)
    assert answer.returncode == 2
    assert "line 3" in answer.stderr


def test_levels_that_are_no_text_are_refused_and_their_line_is_named(
    station_file: Path, tmp_path: Path
) -> None:
    levels = tmp_path / "levels.csv"
    levels.write_bytes(b"dbm,reading\n-100,-30\n\xff\xfe,\n")
    answer = sweeper("calibrate", station_file, "--levels", levels)
    assert answer.returncode == 2
    assert "levels.csv, line 3: this is not UTF-8" in answer.stderr
    assert "Traceback" not in answer.stderr


def test_without_a_noise_source_no_bandwidth_is_measured_and_nothing_changes(station_file: Path) -> None:
    before = station_file.read_bytes()
    levels = known_levels(LEVELS, station_file.with_name("levels.csv"))
    answer = sweeper("calibrate", station_file, "--levels", levels, "--measure-bandwidth")
    assert answer.returncode == 2
    assert "noise_source" in answer.stderr
    assert station_file.read_bytes() == before


def test_the_noise_bandwidth_is_measured_with_source_and_load(
    station_file: Path, tmp_path: Path, served: Served
) -> None:
    """The simulated source stands 15 dB over 290 K, its pass band is 2400 Hz wide, its meter shows dB over −73 dBm."""
    off: dict[int, str] = {0: "off", 1: "off", 2: "off"}
    paths = {
        "antenna-bypass": off,
        "antenna-stage": off | {0: "on"},
        "load-bypass": off | {1: "on"},
        "load-stage": off | {0: "on", 1: "on"},
        "noise-bypass": off | {2: "on"},
        "noise-stage": off | {0: "on", 2: "on"},
    }
    text = with_values(station_file.read_text(encoding="utf-8"), {("switch", "paths"): paths})
    station_file.write_text(text + "noise_source:\n  enr_db: 15\n", encoding="utf-8")
    levels = known_levels([(dbm, dbm + 73.0) for dbm in range(-130, -60, 10)], tmp_path / "levels.csv")
    answer = sweeper("calibrate", station_file, "--levels", levels, "--measure-bandwidth")
    assert answer.returncode == 0, answer.stderr
    assert load(station_file).receiver.noise_bandwidth_hz == pytest.approx(2400, rel=0.25)
    assert re.search(r"known to \d\.\d\d dB \(standard uncertainty\), \d+ to \d+ Hz", answer.stdout)
    assert not any(served.board.coils)


def test_what_is_known_of_the_meter_is_written_beside_the_curve(station_file: Path, tmp_path: Path) -> None:
    levels = known_levels(LEVELS, tmp_path / "levels.csv")
    answer = sweeper(
        "calibrate", station_file, "--levels", levels, "--detector", "log-average", "--noise-bandwidth", 2100
    )
    assert answer.returncode == 0, answer.stderr
    receiver = load(station_file).receiver
    assert receiver.meter.detector == "log-average"
    assert receiver.noise_bandwidth_hz == 2100


def test_a_detector_of_no_known_kind_is_refused_and_nothing_changes(
    station_file: Path, tmp_path: Path
) -> None:
    before = station_file.read_bytes()
    levels = known_levels(LEVELS, tmp_path / "levels.csv")
    answer = sweeper("calibrate", station_file, "--levels", levels, "--detector", "crystal")
    assert answer.returncode == 2
    assert f"{station_file}: nothing was written" in answer.stderr
    assert "detector" in answer.stderr
    assert ".part" not in answer.stderr, "the file beside it is nobody's business"
    assert station_file.read_bytes() == before


def test_a_noise_bandwidth_that_is_no_number_is_refused_in_words(station_file: Path, tmp_path: Path) -> None:
    levels = known_levels(LEVELS, tmp_path / "levels.csv")
    answer = sweeper("calibrate", station_file, "--levels", levels, "--noise-bandwidth", "nan")
    assert answer.returncode == 2
    assert "nan does not fit: input should be a finite number" in answer.stderr


def test_a_server_that_does_not_run_is_told_with_how_to_start_it(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    station = written(tmp_path, ("tcp://127.0.0.1:4532", f"tcp://127.0.0.1:{port}"))
    answer = sweeper("check", station)
    assert answer.returncode == 1
    assert "Nothing listens there" in answer.stdout and "rigctld -m" in answer.stdout
