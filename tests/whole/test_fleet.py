"""A club's stations reduced together: on one machine, on a cluster, from a disk or from object storage."""

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from sweeper.errors import WrongInput
from sweeper.fleet import DaskCluster, ProcessPool, find_stations, fleet_json, reduce_fleet
from sweeper.store.manifest import write_manifest
from tests.sweeper.fleet.test_executors import dask_cluster
from tests.whole.club import LOUD, send_station
from tests.whole.peers import answers, free_port, until
from tests.whole.test_main_job import sweeper

STATIONS = 6


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("club")
    for number in range(STATIONS):
        send_station(folder, number, nights=3)
    return folder


@pytest.fixture(scope="module")
def on_pool(club: Path) -> str:
    return fleet_json(reduce_fleet(find_stations([str(club)]), ProcessPool(2)))


def test_every_station_is_found_and_compared(on_pool: str) -> None:
    fleet = json.loads(on_pool)
    assert [each["station"] for each in fleet["stations"]] == [f"Marsh {n:03d}" for n in range(STATIONS)]
    assert all(each["days"] == 3 and not each["problems"] for each in fleet["stations"])
    assert {each["stations"] for each in fleet["bands"]} == {STATIONS}


def test_the_station_with_the_noisy_neighbour_stands_out_alone(on_pool: str) -> None:
    odd = {
        cell["station"] for cell in json.loads(on_pool)["cells"] if cell["outlier"] and cell["band"] == "40 m"
    }
    assert odd == {f"Marsh {LOUD:03d}"}


def test_a_cluster_says_the_same_to_the_last_bit(club: Path, on_pool: str, tmp_path: Path) -> None:
    with dask_cluster(tmp_path) as address:
        on_cluster = fleet_json(reduce_fleet(find_stations([str(club)]), DaskCluster(address)))
    assert on_cluster == on_pool


@pytest.fixture
def object_storage() -> Iterator[str]:
    """A server that speaks S3 over HTTP; its address."""
    port = free_port()
    command = [str(Path(sys.executable).with_name("moto_server")), "-H", "127.0.0.1", "-p", str(port)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as server:
        try:
            until(lambda: answers(port), "the S3 server to listen", 60)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.wait(20)


def test_object_storage_says_the_same(
    club: Path, on_pool: str, object_storage: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import s3fs

    monkeypatch.setenv("AWS_ENDPOINT_URL", object_storage)
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "saltmarsh")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "saltmarsh")
    monkeypatch.setenv("AWS_DEFAULT_REGION", "us-east-1")
    storage = s3fs.S3FileSystem(skip_instance_cache=True)
    storage.mkdir("club")
    storage.put(str(club) + "/", "club/stations/", recursive=True)
    from_storage = fleet_json(reduce_fleet(find_stations(["s3://club/stations"]), ProcessPool(2)))
    assert from_storage == on_pool


def test_broken_files_are_named_and_the_rest_completes(club: Path, tmp_path: Path) -> None:
    copy = tmp_path / "club"
    shutil.copytree(club, copy)
    torn = sorted((copy / "Marsh 001" / "days").glob("*.parquet"))[1]
    torn.write_bytes(torn.read_bytes()[:-100])
    (copy / "Marsh 003" / "station.yaml").write_text("station: {name: nobody}", encoding="utf-8")
    (copy / "Marsh 004" / "manifest.json").write_text("[]", encoding="utf-8")
    answer = sweeper("fleet", copy, "--json", "--workers", 2)
    assert answer.returncode == 1
    stations = {each["station"]: each for each in json.loads(answer.stdout)["stations"]}
    assert stations["Marsh 000"]["days"] == 3
    assert stations["Marsh 001"]["days"] == 2
    assert str(torn.name) in stations["Marsh 001"]["problems"][0]
    assert "station.yaml" in stations["Marsh 003"]["problems"][0]
    assert "manifest.json" in stations["Marsh 004"]["problems"][0]
    assert "Traceback" not in answer.stderr


def test_a_folder_sent_again_while_it_grows_is_the_same_folder(club: Path, tmp_path: Path) -> None:
    """Finished days do not change: sending them twice, or a later manifest first, harms nothing."""
    folder = tmp_path / "Marsh 000"
    shutil.copytree(club / "Marsh 000", folder)
    before = (folder / "manifest.json").read_bytes()
    write_manifest(folder)
    assert (folder / "manifest.json").read_text(encoding="utf-8").count("sha256") == before.decode().count(
        "sha256"
    )
    shutil.copytree(club / "Marsh 000", folder, dirs_exist_ok=True)
    assert reduce_fleet([str(folder)], ProcessPool(1)).shares[0].problems == ()


def test_a_manifest_cannot_reach_outside_its_folder(club: Path, tmp_path: Path) -> None:
    folder = tmp_path / "Marsh 000"
    shutil.copytree(club / "Marsh 000", folder)
    book = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    book["files"]["days/../../2026-01-01.parquet"] = {"bytes": 1, "sha256": "0"}
    (folder / "manifest.json").write_text(json.dumps(book), encoding="utf-8")
    (share,) = reduce_fleet([str(folder)], ProcessPool(1)).shares
    assert "outside" in share.problems[0]
    assert share.result is None


def test_no_station_there_is_said_in_words(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="no station's folder lies there"):
        find_stations([str(tmp_path)])
