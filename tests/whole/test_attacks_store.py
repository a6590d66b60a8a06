"""Attacks on the data folder of a running daemon: deleted, replaced, read-only, no descriptors left.

What is told as done is on the disk, in the folder; what cannot be stored fails with its reason, and it goes on.
"""

import contextlib
import hashlib
import json
import os
import resource
import shutil
import signal
import socket
import sqlite3
import subprocess
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sweeper.daemon.rig.relay_life import load
from sweeper.store import Store, StoreError
from sweeper.store.frames import frame_of
from sweeper.store.manifest import FORMAT, MANIFEST
from tests.sweeper.store.nights import EVENING, LONGITUDE, fill, open_store, pass_of
from tests.whole.unattended import Unattended, ended, unattended, until

pytestmark = [pytest.mark.slow, pytest.mark.clock]

SCHEDULE = "[{every: 1 s}]"


def stored(data: Path) -> Counter[int]:
    """Readings by pass, as another process reads them."""
    with Store(data, "Outpost", 8.1, read_only=True) as store:
        return Counter(store.readings().collect()["pass"].to_list())


def told_as_done(said: str) -> set[int]:
    return {
        int(line.split()[1]) for line in said.splitlines() if " done" in line and line.startswith("pass ")
    }


def measuring(station: Unattended, passes: int = 2) -> None:
    until(lambda: len(station.store().passes()) >= passes, f"{passes} passes")


def said_so_far(process: "subprocess.Popen[str]", into: list[str]) -> str:
    assert process.stderr is not None
    os.set_blocking(process.stderr.fileno(), False)
    while line := process.stderr.readline():
        into.append(line)
    return "".join(into)


@pytest.mark.clock
def test_a_deleted_folder_stores_nothing_and_nothing_is_told_as_done(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule=SCHEDULE) as station, station.running() as process:
        measuring(station)
        station.folder.rename(tmp_path / "gone")  # at once: a file that comes and goes would be in the way
        shutil.rmtree(tmp_path / "gone", ignore_errors=True)
        lines: list[str] = []
        before = len(told_as_done(said_so_far(process, lines)))
        until(lambda: said_so_far(process, lines).count("data folder is gone") >= 1, "the trouble to be told")
        assert process.poll() is None
        until(lambda: station.resting(), "relays at rest")
        code, rest = ended(process, signal.SIGTERM)
        # One pass may have been stored and told just before the deletion was seen here.
        said = "".join(lines) + rest
        assert len(told_as_done(said)) <= before + 1
        # Deleted amid a pass, that pass is lost; deleted between two, none is measured and nothing is lost.
        assert code == ("cannot be stored yet and is kept in memory" in said), said
        assert not station.folder.exists()


@pytest.mark.clock
def test_after_a_folder_was_put_back_it_measures_again_and_has_all_that_was_told(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule=SCHEDULE) as station, station.running() as process:
        measuring(station)
        lines: list[str] = []
        away = tmp_path / "away"
        station.folder.rename(away)
        until(lambda: "data folder is gone" in said_so_far(process, lines), "the trouble to be told")
        away.rename(station.folder)
        before = len(station.store().passes())
        until(lambda: len(stored(station.data)) >= before + 2, "passes after it was back")
        code, rest = ended(process, signal.SIGTERM)
        assert code == 0, rest
        assert told_as_done("".join(lines) + rest) == set(stored(station.data))


@pytest.mark.clock
@pytest.mark.parametrize("which", ["today.sqlite", "lock", "today.sqlite-wal"])
def test_what_was_told_as_done_is_there_after_one_file_was_deleted(tmp_path: Path, which: str) -> None:
    with unattended(tmp_path, schedule=SCHEDULE) as station, station.running() as process:
        measuring(station)
        (station.folder / which).unlink()
        lines: list[str] = []
        until(lambda: "replaced meanwhile" in said_so_far(process, lines), "the trouble to be told")
        number = len(told_as_done(said_so_far(process, lines)))
        until(lambda: len(told_as_done(said_so_far(process, lines))) >= number + 2, "passes after it")
        code, rest = ended(process, signal.SIGTERM)
        assert code == 0, rest
        assert told_as_done("".join(lines) + rest) == set(stored(station.data))


@pytest.mark.clock
def test_a_second_daemon_in_a_new_folder_is_not_measured_beside(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule=SCHEDULE) as station, station.running() as first:
        measuring(station)
        lines: list[str] = []
        for attempt in range(20):
            station.folder.rename(tmp_path / f"away {attempt}")
            with station.running() as second:
                until(
                    lambda: "already writes" in said_so_far(first, lines) or second.poll() is not None,
                    "one of them to step back",
                )
                if second.poll() is not None:  # the first took the new folder before the second had its lock
                    continue
                measuring(station)
                told = len(told_as_done(said_so_far(first, lines)))
                more = len(station.store().passes()) + 2
                measuring(station, more)
                assert len(told_as_done(said_so_far(first, lines))) == told
                assert ended(second, signal.SIGTERM)[0] == 0
                break
        else:
            pytest.fail("the second never came first")
        before = len(told_as_done(said_so_far(first, lines)))
        until(lambda: len(told_as_done(said_so_far(first, lines))) > before, "the first to go on")
        assert ended(first, signal.SIGTERM)[0] == 0
        numbers = [record.number for record in station.store().passes()]
        assert len(numbers) == len(set(numbers))


@contextmanager
def disk_that_fails(folder: Path) -> Iterator[tuple[Path, Path]]:
    """A file system of its own, and the switch that makes the kernel turn it read-only, as after a bad block."""
    image, place = folder / "image", folder / "disk"
    place.mkdir()
    subprocess.run(["truncate", "-s", "16M", image], check=True)
    subprocess.run(["mkfs.ext4", "-q", "-F", image], check=True)
    mounted = subprocess.run(["mount", "-o", "loop,errors=remount-ro", image, place], check=False)
    if mounted.returncode:
        pytest.skip("no loop device can be mounted here")
    try:
        device = subprocess.run(
            ["findmnt", "-n", "-o", "SOURCE", place], capture_output=True, text=True, check=True
        ).stdout.strip()
        yield place, Path("/sys/fs/ext4") / Path(device).name / "trigger_fs_error"
    finally:
        subprocess.run(["umount", "-l", place], check=True)


@pytest.mark.clock
@pytest.mark.skipif(os.geteuid() != 0, reason="mounting a disk needs root")
def test_a_disk_that_turns_read_only_fails_passes_and_the_daemon_lives(tmp_path: Path) -> None:
    with (
        disk_that_fails(tmp_path) as (disk, switch),
        unattended(tmp_path, schedule=SCHEDULE) as served,
    ):
        station = Unattended(served.served, served.file, disk)
        with station.running() as process:
            measuring(station)
            switch.write_text("the block is bad\n")
            until(lambda: "cannot be stored" in station.ask("status").sentence, "the trouble to be told")
            failed = station.ask("status").state
            assert failed is not None and station.resting() and process.poll() is None
            # Errors of this kind stay until somebody repairs the disk; it still answers and still ends well.
            until(lambda: station.answers(), "an answer")
            code, said = ended(process, signal.SIGTERM)
            assert code == 1 and "Traceback" not in said, said
            assert station.resting()


@pytest.mark.clock
def test_without_a_descriptor_left_passes_fail_and_go_on_once_there_are_some(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule=SCHEDULE) as station, station.running() as process:
        measuring(station)
        _, hard = resource.prlimit(process.pid, resource.RLIMIT_NOFILE)
        in_use = len(list(Path(f"/proc/{process.pid}/fd").iterdir()))
        resource.prlimit(process.pid, resource.RLIMIT_NOFILE, (min(in_use, 12), hard))
        lines: list[str] = []
        until(lambda: said_so_far(process, lines).count(" failed") >= 2, "passes to fail")
        assert process.poll() is None
        resource.prlimit(process.pid, resource.RLIMIT_NOFILE, (1024, hard))
        done = len(told_as_done(said_so_far(process, lines)))
        until(lambda: len(told_as_done(said_so_far(process, lines))) >= done + 2, "passes again")
        code, rest = ended(process, signal.SIGTERM)
        said = "".join(lines) + rest
        assert code == 0 and "Traceback" not in said, said
        assert told_as_done(said) == set(stored(station.data))


@pytest.mark.clock
def test_half_open_connections_to_the_metrics_take_no_descriptors_from_the_measuring(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    more = f"live: {{metrics_port: {port}}}\n"
    with unattended(tmp_path, schedule=SCHEDULE, more=more) as station, station.running() as process:
        measuring(station)
        handles = Path(f"/proc/{process.pid}/fd")
        before = len(list(handles.iterdir()))
        with contextlib.ExitStack() as holding:
            for _ in range(250):
                half = holding.enter_context(socket.create_connection(("127.0.0.1", port), timeout=30))
                half.sendall(b"GET /metrics HTTP/1.1\r\n")
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics", timeout=30) as answer:
                assert b"sweeper_passes_total" in answer.read()
            assert len(list(handles.iterdir())) < before + 40
            measuring(station, len(station.store().passes()) + 2)
        assert ended(process, signal.SIGTERM)[0] == 0


# A folder that somebody else wrote


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three finished days and a running one."""
    with open_store(tmp_path) as store:
        fill(store, EVENING, 3, timedelta(days=1))
        store.finish_days(EVENING + timedelta(days=9))
        fill(store, EVENING + timedelta(days=9), 1)
    return tmp_path


def passes_read(folder: Path) -> list[int]:
    with Store(folder, "Saltmarsh", LONGITUDE, read_only=True) as store:
        return sorted(store.readings().collect()["pass"].unique().to_list())


@pytest.mark.parametrize("nth", range(4))
def test_a_changed_byte_with_a_new_time_stamp_is_not_read(folder: Path, nth: int) -> None:
    day = folder / "Saltmarsh" / "days" / "2026-11-02.parquet"
    content = bytearray(day.read_bytes())
    content[4 + nth * (len(content) - 12) // 4] ^= 1
    day.write_bytes(content)
    assert passes_read(folder) == [1, 3, 4]
    with open_store(folder) as store:  # and a writer does not list it as if it were right
        fill(store, EVENING + timedelta(days=10), 1)
        store.finish_days(EVENING + timedelta(days=12))
    assert passes_read(folder) == [1, 3, 4, 5]


def test_a_day_copied_under_another_date_counts_once(folder: Path) -> None:
    days = folder / "Saltmarsh" / "days"
    shutil.copy(days / "2026-11-02.parquet", days / "2026-11-06.parquet")
    with Store(folder, "Saltmarsh", LONGITUDE, read_only=True) as store:
        assert store.readings().collect()["pass"].to_list().count(2) == 32
        assert "2026-11-06" in store.troubles[0]


def test_a_day_written_anew_is_read_wherever_the_power_went(folder: Path) -> None:
    """Between the announcement and the list, the day has its old or its new bytes: both are ours."""
    place = folder / "Saltmarsh"
    day = place / "days" / "2026-11-02.parquet"
    old = day.read_bytes()
    with open_store(folder) as store:
        store.write_pass(*pass_of(9, EVENING + timedelta(days=1, minutes=20)))
        store.finish_days(EVENING + timedelta(days=12))
    new, listed = day.read_bytes(), (place / MANIFEST).read_bytes()
    assert passes_read(folder) == [1, 2, 3, 4, 9]
    entry = json.loads(listed)
    entry["files"]["days/2026-11-02.parquet"] |= {
        "sha256": hashlib.sha256(old).hexdigest(),
        "next": hashlib.sha256(new).hexdigest(),
    }
    (place / MANIFEST).write_text(json.dumps(entry))
    assert passes_read(folder) == [1, 2, 3, 4, 9]
    day.write_bytes(old)
    assert passes_read(folder) == [1, 2, 3, 4]


@pytest.mark.parametrize("opening", ["[", '{"files":', '{"a":['])
@pytest.mark.parametrize(
    "name", ["manifest.json", "summaries.json", "relay-wear.json", "station.yaml", "report.html"]
)
def test_nesting_without_end_is_no_file_of_ours(folder: Path, name: str, opening: str) -> None:
    (folder / "Saltmarsh" / name).write_text(opening * 200_000)
    assert passes_read(folder) == [1, 2, 3, 4]
    assert load(folder / "Saltmarsh", EVENING).operations == {}


@pytest.mark.timeout(60)
@pytest.mark.parametrize(
    "name", ["manifest.json", "summaries.json", "relay-wear.json", "days/2026-11-02.parquet"]
)
def test_a_pipe_in_a_files_place_is_not_waited_for(folder: Path, name: str) -> None:
    file = folder / "Saltmarsh" / name
    file.unlink(missing_ok=True)
    os.mkfifo(file)
    assert {1, 3, 4} <= set(passes_read(folder))
    load(folder / "Saltmarsh", EVENING)


@pytest.mark.timeout(60)
@pytest.mark.parametrize("how", [os.mkfifo, os.mkdir])
@pytest.mark.parametrize("name", ["today.sqlite", "today.sqlite-wal", "today.sqlite-shm"])
def test_what_is_no_file_in_the_databases_place_is_set_aside(
    folder: Path, name: str, how: Callable[[Path], None]
) -> None:
    file = folder / "Saltmarsh" / name
    file.unlink(missing_ok=True)
    how(file)
    assert {1, 2, 3} <= set(passes_read(folder))
    with open_store(folder) as store:
        store.write_pass(*pass_of(9, EVENING + timedelta(days=10)))
    assert {1, 2, 3, 9} <= set(passes_read(folder))


@pytest.mark.parametrize(
    "name",
    ["days", "set-aside", "lock", "today.sqlite", "today.sqlite-wal", "manifest.json", ".manifest.json.part"],
)
def test_nothing_is_written_or_moved_where_a_link_leads(folder: Path, tmp_path: Path, name: str) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "mine.parquet").write_text("mine")
    with sqlite3.connect(elsewhere / "mine.sqlite") as other:
        other.execute("CREATE TABLE mine (word)")
    other.close()
    before = {file.name: file.read_bytes() for file in elsewhere.iterdir()}
    place = folder / "Saltmarsh" / name
    if place.is_dir():
        shutil.rmtree(place)
    place.unlink(missing_ok=True)
    is_folder, is_table = name in ("days", "set-aside"), name.startswith("today")
    place.symlink_to(elsewhere / ("" if is_folder else "mine.sqlite" if is_table else "mine.parquet"))
    with contextlib.suppress(StoreError), open_store(folder) as store:
        (store.folder / "days" / "2026-11-02.parquet").write_text("torn")
        store.write_pass(*pass_of(9, EVENING + timedelta(days=10)))
        store.finish_days(EVENING + timedelta(days=12))
    with contextlib.suppress(StoreError), open_store(folder):
        pass
    assert {file.name: file.read_bytes() for file in elsewhere.iterdir()} == before


SQL = [
    "UPDATE passes SET started_ms = 9223372036854775807",
    "UPDATE passes SET started_ms = 'noon'",
    "UPDATE passes SET day = '2026-13-77'",
    "UPDATE passes SET outcome = 'splendid'",
    "UPDATE passes SET left_over = '" + "[" * 100_000 + "'",
    "UPDATE passes SET left_over = '{}'",
    "UPDATE passes SET because = x'ff00'",
    "UPDATE readings SET reading = 9e999",
    "UPDATE readings SET reading = 'loud'",
    "UPDATE readings SET time_ms = -9223372036854775808",
    "UPDATE readings SET flags = x'80'",
    "UPDATE readings SET source = 'moon'",
    "UPDATE channels SET purpose = 'fun'",
    "UPDATE channels SET hz = -5",
    "UPDATE channels SET band = zeroblob(5000000)",
    "INSERT INTO notes VALUES ('x', 'y')",
    "INSERT INTO notes VALUES (1e300, 'y')",
    "INSERT INTO notes VALUES (1, x'ff')",
    "INSERT INTO memory VALUES ('paused', '" + "[" * 100_000 + "')",
    "INSERT INTO memory VALUES ('receiver-as-found', 'nothing')",
    "INSERT INTO memory VALUES ('highest pass before this database', '\"x\"')",
    "DROP TABLE notes",
    "DROP TABLE passes; CREATE VIEW passes AS WITH RECURSIVE n(number) AS "
    "(SELECT 1 UNION ALL SELECT number + 1 FROM n) SELECT number, '2026-11-01' AS day FROM n",
    "CREATE TRIGGER more AFTER INSERT ON passes BEGIN DELETE FROM readings; END",
]


@pytest.mark.timeout(60)
@pytest.mark.parametrize("statement", SQL, ids=[sql[:50] for sql in SQL])
def test_a_database_that_somebody_else_wrote_is_named_and_no_traceback(folder: Path, statement: str) -> None:
    with sqlite3.connect(folder / "Saltmarsh" / "today.sqlite") as other:
        other.executescript(statement)
    other.close()

    def all_of_it(store: Store) -> None:
        store.passes(), store.notes(), store.days(), store.next_pass_number(), store.recall("paused")
        assert {1, 2, 3} <= set(store.readings().collect()["pass"].to_list())

    with Store(folder, "Saltmarsh", LONGITUDE, read_only=True) as store:
        all_of_it(store)
    with open_store(folder) as store:
        all_of_it(store)
        number = store.next_pass_number()
        store.write_pass(*pass_of(number, EVENING + timedelta(days=10)))
        assert store.readings().collect()["pass"].to_list().count(number) == 32


VALUES = {
    "time": st.datetimes(timezones=st.just(UTC)),
    "pass": st.integers(-(2**63), 2**63 - 1),
    "band": st.text(max_size=2000),
    "hz": st.integers(-(2**63), 2**63 - 1),
    "for": st.sampled_from(["noise", "carrier", "fun"]),
    "source": st.sampled_from(["antenna", "load", "moon"]),
    "route": st.sampled_from(["bypass", "stage", "tunnel"]),
    "reading": st.floats() | st.text(),
    "dbm": st.floats() | st.none(),
    "bandwidth_hz": st.integers(-5, 2**62),
    "flags": st.text(max_size=2000),
}


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data(), st.sampled_from([*VALUES, "none"]), st.booleans())
def test_a_day_with_a_true_footer_and_any_values_is_read_or_named(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject, column: str, listed: bool
) -> None:
    """Its manifest vouches for it, too: whoever sends a folder writes both."""
    place = tmp_path_factory.mktemp("sent") / "Saltmarsh"
    (place / "days").mkdir(parents=True)
    rows = frame_of(pass_of(1, EVENING)[1]).with_columns(pl.col(pl.Enum).cast(pl.String))
    if column != "none":
        values = data.draw(st.lists(VALUES[column] | st.none(), min_size=rows.height, max_size=rows.height))
        with contextlib.suppress(pl.exceptions.PolarsError, OverflowError, UnicodeEncodeError):
            rows = rows.with_columns(pl.Series(column, values, strict=False))
    day = place / "days" / "2026-11-01.parquet"
    try:
        rows.write_parquet(day, metadata={"sweeper": "sweeper-readings-1", "day": "2026-11-01"})
    except pl.exceptions.PolarsError:
        return
    if listed:
        digest = hashlib.sha256(day.read_bytes()).hexdigest()
        files = {"days/2026-11-01.parquet": {"bytes": day.stat().st_size, "sha256": digest}}
        (place / MANIFEST).write_text(json.dumps({"format": FORMAT, "files": files}))
    with Store(place.parent, "Saltmarsh", LONGITUDE, read_only=True) as store:
        found = store.readings().collect()
        assert found.height in (0, rows.height)
        assert found.height or store.troubles
        store.day_identities(), store.day(date(2026, 11, 1))
    shutil.rmtree(place.parent)
