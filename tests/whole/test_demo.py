"""The demo night says nothing that the simulated truth denies."""

import json
import re
import signal
import socket
import subprocess
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from scipy.stats import binom

from drivers.config_files import station_file
from sweeper.simulation import saltmarsh
from sweeper.store import Store
from tests.whole.browser import SWEEPER
from tests.whole.test_main_job import sweeper

pytestmark = pytest.mark.slow

NIGHT = date(2026, 3, 1)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("demo")
    answer = sweeper("demo", "--seed", "1", "--out", out)
    assert answer.returncode == 0, answer.stderr
    (out / "printed").write_text(answer.stdout, encoding="utf-8")
    return out


def cells(demo: Path) -> list[tuple[str, dict]]:
    findings = json.loads((demo / "findings.json").read_text(encoding="utf-8"))
    return [(band["band"], period) for band in findings["bands"] for period in band["periods"]]


def test_every_verdict_agrees_with_the_truth(demo: Path) -> None:
    world = saltmarsh(seed=1)
    called = 0
    for band, period in cells(demo):
        true_db = world.truth(band, hour_utc=period["hour_utc"], nights=[NIGHT]).snr_change_db
        so = {"stage": true_db > 1, "bypass": true_db < -1, "either": abs(true_db) < 1}
        if period["verdict"] != "undecided":
            called += 1
            assert so[period["verdict"]], (
                f"{band} at {period['hour_utc']}: {period['verdict']}, truth {true_db:.2f} dB"
            )
    assert called >= 60


def test_as_many_intervals_hold_the_truth_as_95_percent_promise(demo: Path) -> None:
    """The binomial law: of intervals that hold with 95 %, fewer than this hold in one demo of twenty.

    Intervals that share a gain and a night miss together, so a sky could be found that breaks this; the demo has one.
    """
    world = saltmarsh(seed=1)
    held = []
    for band, period in cells(demo):
        if period["snr_change_db"] is not None:
            true_db = world.truth(band, hour_utc=period["hour_utc"], nights=[NIGHT]).snr_change_db
            held.append(period["snr_change_db"]["low"] <= true_db <= period["snr_change_db"]["high"])
    assert len(held) >= 160
    assert sum(held) >= binom.ppf(0.05, len(held), 0.95)


def test_the_scenario_has_something_of_everything(demo: Path) -> None:
    findings = json.loads((demo / "findings.json").read_text(encoding="utf-8"))
    assert len(findings["bands"]) >= 8
    by_band = {band["band"]: {period["verdict"] for period in band["periods"]} for band in findings["bands"]}
    assert any("stage" in verdicts for verdicts in by_band.values())
    assert any(verdicts == {"either"} for verdicts in by_band.values())
    assert any(verdicts == {"undecided"} for verdicts in by_band.values())
    overloaded = {band for band, period in cells(demo) if "overload" in period["flags"]}
    world = saltmarsh(seed=1)
    assert overloaded == {
        band
        for band in world.bands
        if any(world.truth(band, hour_utc=h, nights=[NIGHT]).overload for h in (18, 19, 20))
    }


def test_no_good_news_under_overload(demo: Path) -> None:
    for _, period in cells(demo):
        if "overload" in period["flags"]:
            assert period["verdict"] not in ("stage", "either")


@pytest.mark.clock
def test_the_plan_waits_for_no_hour_that_overloads(demo: Path) -> None:
    answer = sweeper("plan", demo / "saltmarsh.yaml")
    told = " ".join(answer.stdout.split())
    assert "6 hours are withheld until what is wrong there is mended; noise was" in told, answer.stderr


def test_every_pass_is_stored_and_exported(demo: Path) -> None:
    readings = pl.read_parquet(demo / "readings.parquet")
    assert readings.columns[:4] == ["time", "pass", "band", "hz"]
    with Store(demo / "saltmarsh.data", "Saltmarsh", 8.1, read_only=True) as store:
        passes = store.passes()
    assert {record.outcome for record in passes} == {"done"}
    assert readings["pass"].unique().sort().to_list() == [record.number for record in passes]
    assert readings["dbm"].null_count() == readings.height, "an uncalibrated station states differences only"


def test_the_report_needs_nothing_from_outside(demo: Path) -> None:
    page = (demo / "report.html").read_text(encoding="utf-8")
    assert not re.findall(r"""(?:src|href)=["'](?!#|data:)[^"']+""", page)
    assert len(page.encode()) < 2_000_000
    assert page.index("What to do") < page.index("<svg")


def test_it_ends_with_the_recommendation_and_says_that_it_is_invented(demo: Path) -> None:
    printed = (demo / "printed").read_text(encoding="utf-8")
    assert "stage in" in printed.lower()
    assert "invented" in printed
    assert max(map(len, printed.splitlines()[:-1])) <= 80


def test_hours_are_told_in_local_time_and_utc_beside_it(demo: Path) -> None:
    printed = " ".join((demo / "printed").read_text(encoding="utf-8").split())
    # In March an hour apart (IANA time-zone database).
    assert re.search(r"18:00–(\d\d):00 \(17:00–\d\d:00 UTC\)", printed)
    assert "Hours are local time (Europe/Copenhagen)" in (demo / "report.html").read_text(encoding="utf-8")


def test_the_station_file_left_behind_names_no_socket_that_is_gone(demo: Path) -> None:
    for file in (demo / "saltmarsh.yaml", demo / "saltmarsh.data" / "Saltmarsh" / "station.yaml"):
        assert file.read_bytes() == station_file("saltmarsh").read_bytes()


def test_a_demo_that_has_nowhere_to_write_says_so(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    answer = sweeper("demo", "--out", tmp_path / "file" / "demo")
    assert answer.returncode == 2
    assert "--out" in answer.stderr
    assert "Traceback" not in answer.stderr


def test_a_station_on_a_serial_line_is_not_simulated_somewhere_else(tmp_path: Path) -> None:
    text = station_file("saltmarsh").read_text(encoding="utf-8")
    file = tmp_path / "saltmarsh.yaml"
    file.write_text(text.replace("tcp://127.0.0.1:5020", "/dev/ttyUSB0"), encoding="utf-8")
    answer = sweeper("simulate", file)
    assert answer.returncode == 2
    assert "tcp://" in answer.stderr


@pytest.mark.clock
def test_a_transmit_command_to_the_simulated_station_does_not_pass_unnoticed(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    with socket.create_server(("127.0.0.1", 0)) as one, socket.create_server(("127.0.0.1", 0)) as two:
        ports = [each.getsockname()[1] for each in (one, two)]
    text = station_file("saltmarsh").read_text(encoding="utf-8")
    file.write_text(text.replace("4532", str(ports[0])).replace("5020", str(ports[1])), encoding="utf-8")
    served = subprocess.Popen(
        [SWEEPER, "simulate", str(file)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert served.stdout is not None
    assert "receiver at" in served.stdout.readline()
    with socket.create_connection(("127.0.0.1", ports[0]), timeout=10) as hand:
        hand.sendall(b"T 1\n")
        assert hand.recv(100) == b"RPRT -11\n"
    served.send_signal(signal.SIGINT)
    _, told = served.communicate(timeout=30)
    assert served.returncode == 1
    assert "key a transmitter" in told
