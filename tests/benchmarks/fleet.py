"""A club of stations on one and on two workers, by the process pool and by Dask.

Reference in the same run: the pool with one worker. For each: seconds, speed-up, efficiency, and what the engine costs
over the pool; bytes read from the stations' folders, and bytes of results that come back.

    python -m tests.benchmarks.fleet [--quick] [--stations 200] [--json FILE]
"""

import argparse
import json
import pickle
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from sweeper.fleet import DaskCluster, Fleet, ProcessPool, find_stations, fleet_json, reduce_fleet
from sweeper.fleet.executors import Executor
from tests.sweeper.fleet.test_executors import dask_cluster
from tests.whole.club import send_station


def build(club: Path, stations: int, nights: int) -> None:
    """Every station's folder, each with a sky of its own."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        list(pool.map(send_station, [club] * stations, range(stations), [nights] * stations))


def measured(executor: Executor, urls: tuple[str, ...]) -> tuple[float, Fleet]:
    """Seconds until the last station is in, starting the workers included, and the result."""
    began = time.perf_counter()
    fleet = reduce_fleet(urls, executor)
    return time.perf_counter() - began, fleet


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="few stations, for CI")
    parser.add_argument(
        "--stations", type=int, default=200, metavar="N", help="how many stations in a full run"
    )
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures there, too")
    chosen = parser.parse_args()
    stations, nights = (8, 2) if chosen.quick else (chosen.stations, 30)
    rows: list[dict[str, object]] = []
    texts = set()
    with tempfile.TemporaryDirectory() as name:
        club = Path(name) / "club"
        club.mkdir()
        build(club, stations, nights)
        urls = find_stations([str(club)])
        seconds: dict[tuple[str, int], float] = {}
        for workers in (1, 2):
            seconds["pool", workers], fleet = measured(ProcessPool(workers), urls)
            texts.add(fleet_json(fleet))
            (Path(name) / f"dask-{workers}").mkdir()
            with dask_cluster(Path(name) / f"dask-{workers}", workers) as address:
                seconds["dask", workers], fleet = measured(DaskCluster(address), urls)
            texts.add(fleet_json(fleet))
        read = sum(share.bytes_read for share in fleet.shares)
        back = sum(len(pickle.dumps(share)) for share in fleet.shares)
    for (engine, workers), taken in seconds.items():
        speed_up = seconds[engine, 1] / taken
        rows.append(
            {
                "engine": engine,
                "workers": workers,
                "seconds": taken,
                "speed-up": speed_up,
                "efficiency": speed_up / workers,
                "over the pool": taken / seconds["pool", workers],
            }
        )
    print(
        f"{stations} stations, {nights} nights each; {read / 1e6:.1f} MB read, {back / 1e6:.2f} MB of results"
    )
    for row in rows:
        print(
            "  ".join(
                f"{key}: {value:.2f}" if isinstance(value, float) else f"{key}: {value}"
                for key, value in row.items()
            )
        )
    print("all four say the same, to the last bit" if len(texts) == 1 else "THE RESULTS DIFFER")
    if chosen.json:
        figures = {
            "stations": stations,
            "nights": nights,
            "bytes_read": read,
            "bytes_back": back,
            "rows": rows,
        }
        chosen.json.write_text(json.dumps(figures, indent=1), encoding="utf-8")
    if len(texts) != 1:
        sys.exit(1)


if __name__ == "__main__":
    main()
