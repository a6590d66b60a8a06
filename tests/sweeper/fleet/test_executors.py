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
from tests.whole.peers import free_port, until

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("executors")]


@contextlib.contextmanager
def dask_cluster(folder: Path, workers: int = 2) -> Iterator[str]:
    """A scheduler and workers as processes of their own, as on machines of their own."""
    port = free_port()
    address = f"tcp://127.0.0.1:{port}"
    scheduler = [
        sys.executable,
        "-m",
        "distributed.cli.dask_scheduler",
        "--host",
        "127.0.0.1",
        "--port",
        str(port),
    ]
    worker = [
        sys.executable,
        "-m",
        "distributed.cli.dask_worker",
        address,
        "--nthreads",
        "1",
        "--host",
        "127.0.0.1",
    ]
    root = str(Path(__file__).parents[3])
    log = (folder / "dask.log").open("wb")
    processes = [subprocess.Popen([*scheduler, "--no-dashboard"], stdout=log, stderr=log, cwd=root)]
    try:
        for number in range(workers):
            local = folder / f"worker-{number}"
            processes.append(
                subprocess.Popen(
                    [*worker, "--no-dashboard", "--local-directory", str(local)],
                    stdout=log,
                    stderr=log,
                    cwd=root,
                )
            )
        until(
            lambda: (folder / "dask.log").read_bytes().count(b"Registered to") >= workers,
            "workers to register",
            60,
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
