"""A fleet is reduced whole even when workers die."""

import contextlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from sweeper.errors import UserFacingError
from sweeper.fleet.executors import DaskCluster, Executor, ProcessPool, WorkerLost
from tests.sweeper.fleet import work
from tests.whole.peers import ends_with_us, free_port, until

pytestmark = pytest.mark.slow


@contextlib.contextmanager
def dask_cluster(folder: Path, workers: int = 2) -> Iterator[str]:
    """A scheduler and workers as processes of their own, as on machines of their own."""
    port = free_port()
    address = f"tcp://127.0.0.1:{port}"
    local = ("--host", "127.0.0.1")
    scheduler = ends_with_us(
        sys.executable, "-m", "distributed.cli.dask_scheduler", *local, "--port", str(port), "--no-dashboard"
    )
    worker = ends_with_us(
        sys.executable,
        "-m",
        "distributed.cli.dask_worker",
        address,
        *local,
        "--nthreads",
        "1",
        "--no-dashboard",
    )
    root = str(Path(__file__).parents[3])
    log = (folder / "dask.log").open("wb")
    processes = [subprocess.Popen(scheduler, stdout=log, stderr=log, cwd=root)]
    try:
        for number in range(workers):
            command = [*worker, "--local-directory", str(folder / f"worker-{number}")]
            processes.append(subprocess.Popen(command, stdout=log, stderr=log, cwd=root))
        until(
            lambda: (folder / "dask.log").read_bytes().count(b"Registered to") >= workers,
            "workers to register",
            180,
        )
        yield address
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:  # on a busy machine its own goodbye may take longer than that
                process.kill()
                process.wait()
        log.close()


@pytest.fixture(scope="module", params=["pool", "dask"])
def executor(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Executor]:
    if request.param == "pool":
        yield ProcessPool(2)
    else:
        with dask_cluster(tmp_path_factory.mktemp("dask")) as address:
            yield DaskCluster(address)


def test_every_item_comes_back_once(executor: Executor) -> None:
    done = list(executor.each(work.square, range(20)))
    assert sorted(done) == [(number, number * number) for number in range(20)]


def test_what_work_raises_is_that_items_outcome_alone(executor: Executor) -> None:
    done = dict(executor.each(work.refuse_seven, range(10)))
    assert isinstance(done.pop(7), ValueError)
    assert done == {number: number for number in range(10) if number != 7}


def test_an_item_that_kills_workers_is_named_and_the_rest_completes(executor: Executor) -> None:
    done = dict(executor.each(work.die_on_seven, range(10)))
    assert isinstance(done.pop(7), WorkerLost)
    assert done == {number: number for number in range(10) if number != 7}


def test_a_worker_killed_in_the_middle_costs_nothing(executor: Executor, tmp_path: Path) -> None:
    marker = str(tmp_path / "killed")
    assert list(executor.each(work.die_once, [marker])) == [(marker, marker)]


def test_no_scheduler_is_told_in_words() -> None:
    nobody = DaskCluster(f"tcp://127.0.0.1:{free_port()}", patience_s=1.0)
    with pytest.raises(UserFacingError, match="no Dask scheduler answers"):
        list(nobody.each(work.square, [1]))


CLUSTER_HELD = """
import sys, time
from pathlib import Path
from tests.sweeper.fleet.test_executors import dask_cluster
with dask_cluster(Path(sys.argv[1])):
    print("there", flush=True)
    time.sleep(600)
"""


def programs_with(word: str) -> list[str]:
    """The command lines of this machine's processes in which `word` stands."""
    found = []
    for file in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            if word in (text := file.read_text(errors="replace")):
                found.append(text)
    return found


def test_a_cluster_ends_when_the_test_run_that_started_it_is_killed(tmp_path: Path) -> None:
    run = [sys.executable, "-c", CLUSTER_HELD, str(tmp_path)]
    with subprocess.Popen(run, stdout=subprocess.PIPE, cwd=Path(__file__).parents[3]) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"there\n"
        assert len(programs_with(str(tmp_path))) > 2  # the run itself and two workers
        holder.kill()
    until(lambda: not programs_with(str(tmp_path)), "scheduler and workers to end", 30)
