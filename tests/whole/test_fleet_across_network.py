"""A club's data and scheduler on one host, the workers on another, and only a cable between them."""

import contextlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from sweeper.fleet import ProcessPool, find_stations, fleet_json, reduce_fleet
from tests.whole.club import send_station
from tests.whole.peers import ends_with_us, until
from tests.whole.two_hosts import Host, two_hosts

pytestmark = pytest.mark.system

STORAGE_PORT, SCHEDULER_PORT = 5000, 8786  # nobody else listens in these namespaces


def environment(storage: Host) -> dict[str, str]:
    return {
        **os.environ,
        "AWS_ENDPOINT_URL": f"http://{storage.address}:{STORAGE_PORT}",
        "AWS_ACCESS_KEY_ID": "saltmarsh",
        "AWS_SECRET_ACCESS_KEY": "saltmarsh",
        "AWS_DEFAULT_REGION": "us-east-1",
    }


SEND = """
import sys, s3fs
storage = s3fs.S3FileSystem()
storage.mkdir("club")
storage.put(sys.argv[1] + "/", "club/stations/", recursive=True)
"""


def test_workers_behind_a_cable_say_the_same_and_fetch_each_byte_once(tmp_path: Path) -> None:
    club = tmp_path / "club"
    for number in range(4):
        send_station(club, number, nights=2)
    here = fleet_json(reduce_fleet(find_stations([str(club)]), ProcessPool(1)))
    stored = sum(
        file.stat().st_size for file in club.rglob("*") if file.is_file() and "lock" not in file.name
    )
    python, bin_folder, root = sys.executable, Path(sys.executable).parent, str(Path(__file__).parents[2])
    log = tmp_path / "log"
    with two_hosts() as (shack, office), contextlib.ExitStack() as stack, log.open("wb") as sink:

        def start(host: Host, *arguments: str) -> None:
            process = subprocess.Popen(
                ends_with_us(*host.command(*arguments)),
                stdout=sink,
                stderr=sink,
                env=environment(shack),
                cwd=root,
            )
            stack.callback(process.wait, 20)
            stack.callback(process.terminate)

        start(shack, str(bin_folder / "moto_server"), "-H", shack.address, "-p", str(STORAGE_PORT))
        scheduler = (
            "-m",
            "distributed.cli.dask_scheduler",
            "--host",
            shack.address,
            "--port",
            str(SCHEDULER_PORT),
        )
        start(shack, python, *scheduler, "--no-dashboard")
        send = shack.command(python, "-c", SEND, str(club))

        def sent() -> bool:
            return (
                subprocess.run(send, env=environment(shack), capture_output=True, check=False).returncode == 0
            )

        until(sent, "the stations' folders to be sent", 90)
        address = f"tcp://{shack.address}:{SCHEDULER_PORT}"
        worker = ("-m", "distributed.cli.dask_worker", address, "--nthreads", "1", "--host", office.address)
        for number in range(2):
            start(
                office,
                python,
                *worker,
                "--no-dashboard",
                "--local-directory",
                str(tmp_path / f"worker-{number}"),
            )
        until(lambda: log.read_bytes().count(b"Registered to") >= 2, "the workers to register", 60)
        before = office.bytes_received()
        answer = subprocess.run(
            shack.command(
                str(bin_folder / "sweeper"), "fleet", "s3://club/stations", "--scheduler", address, "--json"
            ),
            env=environment(shack),
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        moved = office.bytes_received() - before
    assert answer.returncode == 0, answer.stderr
    assert json.loads(answer.stdout) == json.loads(here)
    assert answer.stdout.strip() == here.strip()
    # Each file once, with the overhead of HTTP and of the scheduler's messages beside it.
    assert stored <= moved <= 1.5 * stored + 500_000, (stored, moved)
