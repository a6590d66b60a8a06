"""How long a visit takes: tune, read back, 8 readings of two requests each, and its share of the commit.

References in the same run, on the same simulated receiver in a process of its own, with the same requests on the
wire: a bare socket loop that checks and stores nothing; the same loop with the requests in as few writes as ours;
bluesky's run engine writing its documents to a file; and
pymeasure's worker writing its results to a file. Rounds alternate, and each one's best round counts, since what else
the machine does only adds to it. Ours is the engine with its hamlib driver, its checks and its store, over whole
passes of 120 visits; relays are left out, since none of the others has any.

    python -m tests.benchmarks.visit [--quick] [--json FILE]

Exits 1 when ours takes more than 1.5 times the bare loop.
"""

import argparse
import json
import logging
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Event
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from drivers.receivers import hamlib
from sweeper.clock import SystemClock
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.recording import Recording
from sweeper.engine import MeasurementSettings, Meter, measure_pass
from sweeper.simulation import saltmarsh, serve
from sweeper.store import Store
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, Visit
from tests.clocks import evening

AT_MOST = 1.5
BARE, OURS, BLUESKY = "bare socket loop", "ours, with checks and store", "bluesky run engine"
READINGS = 8
PLACES_HZ = tuple(range(3_500_000, 3_500_000 + 30 * 10_000, 10_000))
PATHS = (ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS)
VISITS = len(PLACES_HZ) * len(PATHS)


class Line:
    """A bare connection to the receiver: one request, one reply."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port))
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def ask(self, request: bytes) -> bytes:
        self._socket.sendall(request)
        reply = b""
        while not reply.endswith(b"RPRT 0\n"):
            reply += self._socket.recv(4096)
        return reply

    def ask_both(self, requests: bytes) -> bytes:
        self._socket.sendall(requests)
        reply = b""
        while reply.count(b"RPRT 0\n") < 2:
            reply += self._socket.recv(4096)
        return reply

    def tune(self, hz: int) -> None:
        self.ask(b"+F %d\n" % hz)
        self.ask(b"+m\n")
        self.ask(b"+f\n")

    def strength(self) -> float:
        self.ask(b"+t\n")
        return float(self.ask(b"+l STRENGTH\n").split(b"\n")[1])

    def close(self) -> None:
        self._socket.close()


class NoRelays:
    """A switch without a wire: it stands where it was told to."""

    def __init__(self) -> None:
        self._path = "antenna-bypass"

    def identify(self) -> str:
        return "no relays"

    def select(self, path: str) -> int:
        moved, self._path = int(path != self._path), path
        return moved

    def selected(self) -> str | None:
        return self._path

    def close(self) -> None:
        pass


def bare_loop(port: int, folder: Path) -> Callable[[], int]:
    """The same requests, and nothing else."""
    line = Line(port)

    def once() -> int:
        for _ in PATHS:
            for hz in PLACES_HZ:
                line.tune(hz)
                for _ in range(READINGS):
                    line.strength()
                line.ask(b"+f\n")
        return VISITS

    return once


def bare_loop_few_writes(port: int, folder: Path) -> Callable[[], int]:
    """The same requests, those that belong together in one write."""
    line = Line(port)

    def once() -> int:
        for _ in PATHS:
            for hz in PLACES_HZ:
                line.ask(b"+F %d\n" % hz)
                line.ask_both(b"+m\n+f\n")
                for _ in range(READINGS):
                    float(line.ask_both(b"+t\n+l STRENGTH\n").split(b"\n")[-3])
                line.ask(b"+f\n")
        return VISITS

    return once


def ours(port: int, folder: Path) -> Callable[[], int]:
    """A pass of the engine with its driver, checks and store."""
    options = hamlib.DRIVER.options.model_validate({"link": f"tcp://127.0.0.1:{port}"})
    receiver = hamlib.DRIVER.open(options)
    store = Store(folder / "ours", "Benchmark", 0.0)
    settings = MeasurementSettings("USB", 0.0, 0.0, READINGS, 0.0, ANTENNA_BYPASS, Meter(in_dbm=False))
    visits = [Visit(Channel("80 m", hz, "noise", 2400), path) for path in PATHS for hz in PLACES_HZ]

    def once() -> int:
        sink = Recording(store, Observer())
        number = store.next_pass_number()
        record = measure_pass(number, visits, receiver, NoRelays(), SystemClock(), settings, sink, Event())
        if record.outcome != "done":
            raise RuntimeError(f"the pass did not end well: {record.because}")
        return VISITS

    return once


def bluesky_engine(port: int, folder: Path) -> Callable[[], int]:
    """bluesky's run engine with a dial that is set and a detector that is triggered and read."""
    import bluesky.plan_stubs as bps
    from bluesky import RunEngine

    line = Line(port)

    class Done:
        """A status that is over when it is made."""

        done, success = True, True

        def add_callback(self, callback: Callable[[Any], None]) -> None:
            callback(self)

        def exception(self, timeout: float | None = 0.0) -> None:
            return None

    class Device:
        parent = None

        def __init__(self, name: str) -> None:
            self.name = name
            self.value = 0.0

        def read(self) -> dict[str, Any]:
            return {self.name: {"value": self.value, "timestamp": time.time()}}

        def describe(self) -> dict[str, Any]:
            return {self.name: {"source": "receiver", "dtype": "number", "shape": []}}

        def read_configuration(self) -> dict[str, Any]:
            return {}

        def describe_configuration(self) -> dict[str, Any]:
            return {}

    class Dial(Device):
        def set(self, hz: int) -> Done:
            line.tune(hz)
            self.value = hz
            return Done()

    class Strength(Device):
        def trigger(self) -> Done:
            self.value = line.strength()
            return Done()

    dial, strength = Dial("dial"), Strength("strength")
    engine = RunEngine({})
    documents = (folder / "bluesky.jsonl").open("w")
    engine.subscribe(lambda name, document: print(json.dumps([name, document], default=str), file=documents))

    def plan() -> Iterator[Any]:
        yield from bps.open_run()
        for hz in PLACES_HZ:
            yield from bps.abs_set(dial, hz, wait=True)
            for _ in range(READINGS):
                yield from bps.trigger_and_read([strength, dial])
            line.ask(b"+f\n")
        yield from bps.close_run()

    def once() -> int:
        engine(plan())
        documents.flush()
        return len(PLACES_HZ)

    return once


def pymeasure_worker(port: int, folder: Path) -> Callable[[], int]:
    """pymeasure's worker running a procedure that emits one result a reading."""
    from pymeasure.experiment import Procedure, Results
    from pymeasure.experiment.workers import Worker

    logging.getLogger("pymeasure").setLevel(logging.ERROR)
    line = Line(port)

    class Passing(Procedure):
        DATA_COLUMNS = ["hz", "strength"]  # noqa: RUF012 - the library's own way to declare them

        def execute(self) -> None:
            for _ in PATHS:
                for hz in PLACES_HZ:
                    line.tune(hz)
                    for _ in range(READINGS):
                        self.emit("results", {"hz": hz, "strength": line.strength()})
                    line.ask(b"+f\n")

    count = iter(range(1_000_000))

    def once() -> int:
        procedure = Passing()
        results = Results(procedure, str(folder / f"pymeasure{next(count)}.csv"))
        worker = Worker(results)
        worker.start()
        worker.join(600.0)
        return VISITS

    return once


CONTENDERS: dict[str, Callable[[int, Path], Callable[[], int]]] = {
    BARE: bare_loop,
    "bare loop, fewer writes": bare_loop_few_writes,
    OURS: ours,
    BLUESKY: bluesky_engine,
    "pymeasure worker": pymeasure_worker,
}


def measured(rounds: int) -> dict[str, list[float]]:
    """Milliseconds a visit, by contender and round; bluesky's engine, the slowest, takes part in the first three."""
    times: dict[str, list[float]] = {name: [] for name in CONTENDERS}
    with (
        tempfile.TemporaryDirectory() as folder,
        subprocess.Popen([sys.executable, __file__, "--serve"], stdout=subprocess.PIPE, text=True) as server,
    ):
        try:
            port = int(server.stdout.readline() if server.stdout else "")
            runs = {name: prepare(port, Path(folder)) for name, prepare in CONTENDERS.items()}
            for nth in range(rounds):
                for name, once in runs.items():
                    if nth >= 3 and name == BLUESKY:
                        continue
                    began = time.perf_counter()
                    visits = once()
                    times[name].append((time.perf_counter() - began) / visits * 1e3)
        finally:
            server.terminate()
    return times


def serve_until_stopped() -> None:
    """A simulated receiver that tells its port and stays."""
    with serve(saltmarsh(), evening()) as served:
        print(served.receiver_link.rpartition(":")[2], flush=True)
        Event().wait()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--quick", action="store_true", help="fewer rounds, for CI")
    parser.add_argument("--json", type=Path, metavar="FILE")
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.serve:
        serve_until_stopped()
    times = measured(40 if chosen.quick else 60)
    best = {name: min(each) for name, each in times.items()}
    ratios = {name: each_ms / best[BARE] for name, each_ms in best.items()}
    for name in times:
        print(f"{name:28} {best[name]:8.3f} ms a visit   {ratios[name]:6.2f} x the bare loop")
    ratio = ratios[OURS]
    if chosen.json:
        chosen.json.write_text(
            json.dumps({"ms_a_visit": times, "ratios": ratios, "at_most": AT_MOST}, indent=1)
        )
    print(f"ours: {ratio:.2f} x the bare loop, at most {AT_MOST}: {'met' if ratio <= AT_MOST else 'MISSED'}")
    # A short run on a busy machine shows that it runs; only the full one judges.
    return 0 if chosen.quick or ratio <= AT_MOST else 1


if __name__ == "__main__":
    sys.exit(main())
