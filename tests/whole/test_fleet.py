"""A club's stations reduced together: on one machine, on a cluster, from a disk or from object storage."""

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from sweeper.errors import WrongInput
from sweeper.fleet import DaskCluster, Fleet, ProcessPool, find_stations, fleet_json, reduce_fleet
from sweeper.reduction import facts_of, summaries_of
from sweeper.station import load
from sweeper.store import Store
from sweeper.store.manifest import write_manifest
from tests.sweeper.fleet.test_executors import dask_cluster
from tests.whole.club import LOUD, send_station
from tests.whole.peers import answers, free_port, until
from tests.whole.test_main_job import sweeper

pytestmark = pytest.mark.slow

STATIONS = 6
NIGHTS = 5
"""At fewer the noise of most is not known well enough to be set beside the others."""


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("club")
    for number in range(STATIONS):
        send_station(folder, number, nights=NIGHTS)
    return folder


@pytest.fixture(scope="module")
def on_pool(club: Path) -> str:
    return fleet_json(reduce_fleet(find_stations([str(club)]), ProcessPool(2)))


def test_every_station_is_found_and_compared(on_pool: str) -> None:
    fleet = json.loads(on_pool)
    assert [each["station"] for each in fleet["stations"]] == [f"Marsh {n:03d}" for n in range(STATIONS)]
    assert all(each["days"] == NIGHTS and not each["problems"] for each in fleet["stations"])
    assert {each["stations"] for each in fleet["bands"]} == {STATIONS}


def test_the_station_with_the_noisy_neighbour_stands_out_alone(on_pool: str) -> None:
    odd = {
        cell["station"] for cell in json.loads(on_pool)["cells"] if cell["outlier"] and cell["band"] == "40 m"
    }
    assert odd == {f"Marsh {LOUD:03d}"}


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[DaskCluster]:
    with dask_cluster(tmp_path_factory.mktemp("cluster")) as address:
        yield DaskCluster(address)


def test_a_cluster_says_the_same_to_the_last_bit(club: Path, on_pool: str, cluster: DaskCluster) -> None:
    assert fleet_json(reduce_fleet(find_stations([str(club)]), cluster)) == on_pool


@pytest.fixture(scope="module")
def with_summaries(club: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same folders as the stations would send them after an `analyse` of their own."""
    copy = tmp_path_factory.mktemp("sent") / "club"
    shutil.copytree(club, copy)
    for folder in copy.iterdir():
        keep_summaries(folder)
    return copy


def keep_summaries(folder: Path) -> None:
    with Store(folder.parent, folder.name, 0.0, read_only=True) as store:
        summaries_of(store, facts_of(load(folder / "station.yaml")))


def test_summaries_sent_along_say_the_same_and_spare_the_days(
    club: Path, with_summaries: Path, on_pool: str, cluster: DaskCluster
) -> None:
    sent = find_stations([str(with_summaries)])
    fleet = reduce_fleet(sent, ProcessPool(2))
    on_cluster = fleet_json(reduce_fleet(sent, cluster))
    assert fleet_json(fleet) == on_cluster == on_pool
    without = reduce_fleet(find_stations([str(club)]), ProcessPool(2))
    for share, other in zip(fleet.shares, without.shares, strict=True):
        days = sum(file.stat().st_size for file in (with_summaries / share.name / "days").iterdir())
        kept = sum(file.stat().st_size for file in (with_summaries / share.name).glob("summaries.*"))
        assert share.bytes_read == other.bytes_read - days + kept


@pytest.mark.parametrize(
    "damage", ["torn", "another's", "other code", "other facts", "no book", "a day changed"]
)
def test_summaries_that_do_not_match_are_not_taken(with_summaries: Path, tmp_path: Path, damage: str) -> None:
    folder = tmp_path / "Marsh 000"
    shutil.copytree(with_summaries / "Marsh 000", folder)
    (file,) = folder.glob("summaries.*.parquet")
    book = json.loads((folder / "summaries.json").read_text(encoding="utf-8"))
    (month,) = book.values()
    if damage == "torn":
        file.write_bytes(file.read_bytes()[:-40])
    elif damage == "another's":
        shutil.copy(with_summaries / "Marsh 001" / file.name, file)
    elif damage == "other code":
        month["made_by"] = "0123456789abcdef " + month["made_by"].split()[1]
    elif damage == "other facts":
        month["made_by"] = month["made_by"].split()[0] + " 0123456789abcdef"
    elif damage == "a day changed":
        month["days"] = dict.fromkeys(month["days"], "0" * 64)
    (folder / "summaries.json").write_text("[" if damage == "no book" else json.dumps(book), encoding="utf-8")
    listed = [*(folder / "days").iterdir(), folder / "manifest.json", folder / "station.yaml"]
    share, as_sent = reduce_fleet([str(folder), str(with_summaries / "Marsh 000")], ProcessPool(1)).shares
    assert share.bytes_read > sum(each.stat().st_size for each in listed)
    assert (share.days, share.result, share.problems) == (NIGHTS, as_sent.result, ())


def test_days_newer_than_the_summaries_are_read(club: Path, with_summaries: Path, tmp_path: Path) -> None:
    """The last day is read and nothing else of the days: their files are not even there."""
    folder = tmp_path / "Marsh 000"
    shutil.copytree(club / "Marsh 000", folder)
    *older, last = sorted((folder / "days").iterdir())
    last.rename(tmp_path / last.name)
    keep_summaries(folder)
    (tmp_path / last.name).rename(last)
    for day in older:
        day.unlink()
    share, as_sent = reduce_fleet([str(folder), str(with_summaries / "Marsh 000")], ProcessPool(1)).shares
    assert (share.days, share.result, share.problems) == (NIGHTS, as_sent.result, ())


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
    club: Path, with_summaries: Path, on_pool: str, object_storage: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import s3fs

    monkeypatch.setenv("AWS_ENDPOINT_URL", object_storage)
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "saltmarsh")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "saltmarsh")
    monkeypatch.setenv("AWS_DEFAULT_REGION", "us-east-1")
    storage = s3fs.S3FileSystem(skip_instance_cache=True)
    storage.mkdir("club")
    storage.put(str(club) + "/", "club/stations/", recursive=True)
    from_storage = reduce_fleet(find_stations(["s3://club/stations"]), ProcessPool(2))
    storage.put(str(with_summaries) + "/", "club/with summaries/", recursive=True)
    by_summaries = reduce_fleet(find_stations(["s3://club/with summaries"]), ProcessPool(2))
    assert fleet_json(from_storage) == fleet_json(by_summaries) == on_pool
    from_disk = reduce_fleet(find_stations([str(with_summaries)]), ProcessPool(2))
    assert bytes_read(by_summaries) == bytes_read(from_disk) != bytes_read(from_storage)


def bytes_read(fleet: Fleet) -> int:
    return sum(share.bytes_read for share in fleet.shares)


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
    assert stations["Marsh 000"]["days"] == NIGHTS
    assert stations["Marsh 001"]["days"] == NIGHTS - 1
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
