"""A running daemon's sockets: what it tells, what it does when asked, and that nobody outside can slow it."""

import contextlib
import json
import re
import socket
import stat
import subprocess
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from statistics import median

import pytest
import zmq
from prometheus_client.parser import text_string_to_metric_families

from sweeper.daemon.live import endpoints
from sweeper.daemon.live.client import ask_across
from sweeper.daemon.live.messages import PassOver, Request, State, Visited, read_live
from sweeper.errors import UserFacingError
from tests.whole.hostile import hostile
from tests.whole.peers import free_port
from tests.whole.unattended import SWEEPER, Unattended, ended, unattended, until

pytestmark = [pytest.mark.clock, pytest.mark.slow]


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Unattended]:
    with unattended(tmp_path) as served:
        served.served.receiver.turn_dial(6_155_000, "AM")
        yield served


def heard_of(
    address: str, within_s: float, keys: endpoints.Keys | None = None
) -> Iterator[Visited | PassOver | State]:
    """What a daemon publishes, by a plain ZeroMQ subscriber, until nothing comes for so long."""
    with zmq.Context(io_threads=1) as context, context.socket(zmq.SUB) as socket:
        socket.linger = 0
        if keys is not None:
            socket.curve_publickey, socket.curve_secretkey = keys.public, keys.secret
            socket.curve_serverkey = keys.server
        socket.connect(address)
        socket.subscribe(b"")
        while socket.poll(int(within_s * 1000)):
            yield read_live(socket.recv_multipart()[1])


def command(station: Unattended, *words: str) -> "subprocess.CompletedProcess[str]":
    """The installed command, as a person calls it."""
    return subprocess.run(
        [SWEEPER, words[0], station.file, *words[1:], "--data", station.data],
        capture_output=True, text=True, timeout=30, check=False,
    )  # fmt: skip


@pytest.mark.quick
def test_what_is_published_is_what_is_stored(station: Unattended) -> None:
    told: list[Visited | PassOver | State] = []
    with station.running() as process:
        until(station.answers, "the daemon")
        for message in heard_of(endpoints.local(station.folder, "live"), 20):
            told.append(message)
            if sum(isinstance(each, PassOver) for each in told) >= 4:
                break
        assert station.ask("stop").ok
        assert ended(process)[0] == 0
    passes = [each for each in told if isinstance(each, PassOver)]
    whole = passes[1]  # the first may have begun before anybody listened
    visits = [each for each in told if isinstance(each, Visited) and each.pass_number == whole.pass_number]
    with station.store() as store:
        rows = store.readings().collect()
    stored = rows.filter(rows["pass"] == whole.pass_number)
    published = [one.reading for visit in visits for one in visit.readings]
    assert published == stored["reading"].to_list() and len(published) == whole.readings
    assert [visit.nth for visit in visits] == list(range(1, visits[0].visits + 1))


def test_a_person_pauses_resumes_notes_and_stops_it_from_the_command_line(station: Unattended) -> None:
    with station.running() as process:
        until(station.answers, "the daemon")
        assert "measuring" in command(station, "status").stdout
        assert command(station, "pause").returncode == 0
        until(lambda: station.ask("status").state.doing == "paused", "the pause")
        assert station.resting() and station.served.receiver.hz == 6_155_000
        stored = len(station.store().passes())
        asked = station.served.receiver_log.count
        assert "already" in command(station, "pause").stdout
        assert station.served.receiver_log.count == asked and len(station.store().passes()) == stored
        assert command(station, "resume").returncode == 0
        until(lambda: len(station.store().passes()) > stored, "a pass after the pause")
        assert command(station, "note", "ferrites on the router").returncode == 0
        assert command(station, "note", "  ").returncode == 1
        assert command(station, "stop").returncode == 0
        assert ended(process)[0] == 0
    assert [note.text for note in station.store().notes()] == ["ferrites on the router"]
    asked_nobody = command(station, "status")
    assert asked_nobody.returncode == 1 and "no daemon runs here" in asked_nobody.stderr


def test_the_local_sockets_are_their_owners_alone_unless_the_folder_is_shared(station: Unattended) -> None:
    with station.running() as process:
        until(station.answers, "the daemon")
        for name in ("live", "control"):
            assert stat.S_IMODE((station.folder / name).stat().st_mode) == 0o600
        station.ask("stop")
        ended(process)
    station.folder.chmod(0o770)
    with station.running() as process:
        until(station.answers, "the daemon")
        assert stat.S_IMODE((station.folder / "control").stat().st_mode) == 0o660
        station.ask("stop")
        ended(process)


def test_a_folder_whose_name_is_too_long_for_a_socket_will_do(tmp_path: Path) -> None:
    deep = tmp_path / ("a-long-name-" * 8) / "and-more"
    deep.mkdir(parents=True)
    with unattended(deep) as station, station.running() as process:
        until(station.answers, "the daemon")
        assert station.ask("stop").ok
        assert ended(process)[0] == 0


@pytest.mark.timeout(120)
def test_floods_noise_and_deaf_listeners_lose_no_pass_and_the_daemon_still_answers(
    station: Unattended,
) -> None:
    with station.running() as process:
        until(lambda: len(station.store().passes()) >= 3, "three passes in peace")
        with hostile(station):
            began = len(station.store().passes())
            until(lambda: len(station.store().passes()) >= began + 6, "six passes in the flood", 60)
        until(station.answers, "an answer after the flood", 30)
        assert station.ask("stop").ok
        code, said = ended(process)
    assert code == 0 and "Traceback" not in said, said
    assert all(record.outcome == "done" for record in station.store().passes()[:-1])
    waits = [
        b.started - a.ended
        for a, b in zip(station.store().passes(), station.store().passes()[1:], strict=False)
    ]
    assert median(waits).total_seconds() < 1.0


def test_one_peer_that_sends_too_much_is_hung_up_on_and_the_next_is_served(station: Unattended) -> None:
    with station.running() as process:
        until(station.answers, "the daemon")
        context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
        big = context.socket(zmq.REQ)
        big.linger = 0
        big.connect(endpoints.local(station.folder, "control"))
        big.send(b"x" * 200_000)
        assert big.poll(500) == 0
        context.destroy(linger=0)
        assert station.answers()
        station.ask("stop")
        assert ended(process)[0] == 0


@pytest.mark.parametrize("door", ["control", "live"])
def test_a_message_without_end_takes_no_memory(station: Unattended, door: str) -> None:
    """96 MB in parts of 16 kB, each within its bound."""
    with station.running() as process:
        until(station.answers, "the daemon")
        before = resident_mb(process.pid)
        with socket.socket(socket.AF_UNIX) as peer:
            peer.connect(str(station.folder / door))
            peer.sendall(b"\xff" + bytes(8) + b"\x7f\x03\x00NULL" + bytes(48))
            peer.sendall(
                b"\x04\x19\x05READY\x0bSocket-Type\x00\x00\x00\x03"
                + {"control": b"REQ", "live": b"SUB"}[door]
            )
            part = b"\x03" + (16_384).to_bytes(8, "big") + bytes(16_384)
            with contextlib.suppress(ConnectionError):
                for _ in range(6000):
                    peer.sendall(part)
            grown = resident_mb(process.pid) - before
            assert grown < 10, f"{grown:.0f} MB"
        until(station.answers, "an answer after it")
        station.ask("stop")
        assert ended(process)[0] == 0


def resident_mb(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    return int(status.split("VmRSS:")[1].split()[0]) / 1024


def test_metrics_are_read_by_the_reference_parser(tmp_path: Path) -> None:
    port = free_port()
    with (
        unattended(tmp_path, more=f"live: {{metrics_port: {port}}}\n") as station,
        station.running() as process,
    ):
        until(lambda: station.answers() and station.ask("status").state.done >= 2, "two passes")
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics", timeout=10) as page:
            families = {
                family.name: family for family in text_string_to_metric_families(page.read().decode())
            }
        passes = {sample.labels["outcome"]: sample.value for sample in families["sweeper_passes"].samples}
        assert passes["done"] >= 2 and passes["failed"] == 0
        assert sum(sample.value for sample in families["sweeper_doing"].samples) == 1
        assert families["sweeper_relay_operations"].samples[0].value > 0
        listening = subprocess.run(["ss", "-ltnH"], capture_output=True, text=True, check=True).stdout
        assert f"127.0.0.1:{port}" in listening and f"0.0.0.0:{port}" not in listening
        station.ask("stop")
        assert ended(process)[0] == 0


def across(tmp_path: Path, ports: tuple[int, int]) -> str:
    return f"live: {{publish: 'tcp://127.0.0.1:{ports[0]}', control: 'tcp://127.0.0.1:{ports[1]}', keys: keys}}\n"


def test_across_a_network_only_holders_of_an_allowed_key_are_heard(tmp_path: Path) -> None:
    ports = (free_port(), free_port())
    with unattended(tmp_path, more=across(tmp_path, ports)) as station:
        assert command(station, "keys", "--client", "laptop").returncode == 0
        keys_folder = station.folder / "keys"
        assert stat.S_IMODE((keys_folder / "server.key_secret").stat().st_mode) == 0o600
        laptop = endpoints.client_keys(keys_folder, "laptop")
        stranger_public, stranger_secret = zmq.curve_keypair()
        stranger = endpoints.Keys(stranger_public, stranger_secret, laptop.server)
        address = f"tcp://127.0.0.1:{ports[1]}"
        with station.running() as process:
            until(station.answers, "the daemon")
            assert ask_across(address, laptop, Request(command="status")).ok
            with pytest.raises(UserFacingError, match="did not answer"):
                ask_across(address, stranger, Request(command="stop"), timeout_s=1.0)
            assert not asked_without_keys(address)
            assert process.poll() is None
            first = next(heard_of(f"tcp://127.0.0.1:{ports[0]}", 20, laptop))
            assert first.station == "Outpost"
            assert list(heard_of(f"tcp://127.0.0.1:{ports[0]}", 1.0, stranger)) == []
            station.ask("stop")
            assert ended(process)[0] == 0


def test_a_message_of_ninety_megabytes_from_who_has_a_key_is_not_taken_in(tmp_path: Path) -> None:
    ports = (free_port(), free_port())
    with unattended(tmp_path, more=across(tmp_path, ports)) as station:
        assert command(station, "keys", "--client", "laptop").returncode == 0
        laptop = endpoints.client_keys(station.folder / "keys", "laptop")
        address = f"tcp://127.0.0.1:{ports[1]}"
        context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
        with station.running() as process:
            until(station.answers, "the daemon")
            assert ask_across(address, laptop, Request(command="status")).ok
            before_mb = memory_mb(process.pid)
            flooding = context.socket(zmq.DEALER)
            flooding.curve_publickey, flooding.curve_secretkey = laptop.public, laptop.secret
            flooding.curve_serverkey = laptop.server
            hung_up = flooding.get_monitor_socket(zmq.EVENT_DISCONNECTED)
            flooding.connect(address)
            flooding.send_multipart([b"", *[b"x" * 16_000] * 6_000])
            assert hung_up.poll(30_000)
            assert ask_across(address, laptop, Request(command="status")).ok
            assert memory_mb(process.pid) - before_mb < 20
            flooding.disable_monitor()
            context.destroy(linger=0)
            station.ask("stop")
            assert ended(process)[0] == 0


def memory_mb(pid: int) -> float:
    """The most that a process ever held."""
    found = re.search(r"VmHWM:\s*(\d+) kB", Path(f"/proc/{pid}/status").read_text())
    assert found
    return int(found[1]) / 1000


def asked_without_keys(address: str) -> bool:
    """Whether a request over a socket that has no keys is answered within a second."""
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
    try:
        asking = context.socket(zmq.REQ)
        asking.connect(address)
        asking.send(Request(command="stop").model_dump_json().encode())
        return bool(asking.poll(1000))
    finally:
        context.destroy(linger=0)


def test_across_a_network_without_keys_is_refused(tmp_path: Path) -> None:
    with unattended(tmp_path, more="live: {control: 'tcp://127.0.0.1:5751'}\n") as station:
        with station.running("--passes", 1) as process:
            code, said = ended(process)
        assert code == 2 and "keys" in said


def test_keys_that_were_never_made_leave_the_daemon_measuring_and_saying_so(tmp_path: Path) -> None:
    ports = (free_port(), free_port())
    with unattended(tmp_path, more=across(tmp_path, ports)) as station:
        with station.running("--passes", 1) as process:
            code, said = ended(process)
        assert code == 0 and "pass 1 done" in said and "sweeper keys" in said
        with socket.socket() as probe:
            assert probe.connect_ex(("127.0.0.1", ports[1])) != 0


def test_the_messages_on_the_wire_are_plain_json(station: Unattended) -> None:
    with station.running() as process:
        until(station.answers, "the daemon")
        context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
        listening = context.socket(zmq.SUB)
        listening.subscribe(b"pass")
        listening.connect(endpoints.local(station.folder, "live"))
        assert listening.poll(20_000)
        topic, body = listening.recv_multipart()
        context.destroy(linger=0)
        told = json.loads(body)
        assert topic == b"pass" and told["format"] == "sweeper-live-1" and told["outcome"] == "done"
        station.ask("stop")
        assert ended(process)[0] == 0
