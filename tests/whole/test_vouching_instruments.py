"""Other people's clients accept the simulated SCPI receiver and relay boards as what they claim to be."""

import json
import subprocess
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
import pyvisa
import serial
from paho.mqtt import publish, subscribe
from pymodbus.client import ModbusSerialClient, ModbusTcpClient

from sweeper.clock import JumpingClock
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.simulation.receivers.scpi import S9_DBUV
from tests.drivers.switches.mosquitto import broker
from tests.whole.peers import until

pytestmark = pytest.mark.wires


@pytest.fixture(params=["tcp", "serial"])
def scpi(request: pytest.FixtureRequest) -> Iterator[tuple[Served, pyvisa.resources.MessageBasedResource]]:
    """The simulated measuring receiver with pyvisa-py as its client."""
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock, receiver="scpi", receiver_over=request.param, ours=False) as served:
        clock.sleep(1.0)
        manager = pyvisa.ResourceManager("@py")
        if request.param == "tcp":
            host, port = served.receiver_link.removeprefix("tcp://").split(":")
            name = f"TCPIP::{host}::{port}::SOCKET"
        else:
            name = f"ASRL{served.receiver_link}::INSTR"
        resource = manager.open_resource(name, read_termination="\n", write_termination="\n", timeout=5000)
        yield served, resource
        resource.close()
        manager.close()


def test_pyvisa_identifies_tunes_and_reads_a_level(scpi) -> None:
    served, receiver = scpi
    # IEEE 488.2 10.14: *IDN? answers four fields parted by commas.
    assert receiver.query("*IDN?").count(",") == 3
    receiver.write("FREQ 9.396 MHz")
    assert receiver.query("FREQ?") == "9396000"
    receiver.write("SENSe:BANDwidth 2.4kHz;:DEM USB")
    assert receiver.query("BAND?;DEM?") == "2400;USB"
    assert served.receiver.hz == 9_396_000
    level = float(receiver.query("SENS:DATA?"))
    assert level == pytest.approx(served.receiver.level_db() + S9_DBUV, abs=0.05)
    # IEEE 488.2 10.19: *OPC? answers 1 when all before is done.
    assert receiver.query("*OPC?") == "1"
    assert not served.forbidden


def test_errors_queue_up_and_are_read_oldest_first(scpi) -> None:
    _, receiver = scpi
    receiver.write("*CLS")
    # SCPI 1999.0 volume 2, 21.8: 0 no error, -113 undefined header, -222 data out of range, -109 missing parameter.
    assert receiver.query("SYST:ERR?").startswith("0,")
    receiver.write("FREQ 99 GHz")
    receiver.write("FREQ")
    assert [int(receiver.query("SYSTEM:ERROR:NEXT?").split(",")[0]) for _ in range(3)] == [-222, -109, 0]
    # IEEE 488.2 11.5.1: execution error is bit 4, command error bit 5; reading clears.
    assert int(receiver.query("*ESR?")) == 16 + 32
    assert int(receiver.query("*ESR?")) == 0


def test_headers_may_be_short_or_long_but_nothing_between(scpi) -> None:
    _, receiver = scpi
    # SCPI 1999.0 volume 1, 6.2.1: the long form or the exact short form, in any case.
    for header in ("FREQ?", "freq?", "FREQuency?", "SENS:FREQ:CW?", ":sense:frequency?"):
        assert receiver.query(header).isdigit()
    receiver.write("*CLS")
    receiver.write("FREQU?")
    assert receiver.query("SYST:ERR?").startswith("-113,")


@pytest.mark.parametrize("framing", ["modbus-tcp", "modbus-rtu"])
def test_pymodbus_clients_of_both_framings_move_and_read_relays(framing: str) -> None:
    world = saltmarsh()
    with serve(world, JumpingClock(world.first_evening), switch=framing) as served:
        client: ModbusTcpClient | ModbusSerialClient
        if framing == "modbus-tcp":
            host, port = served.switch_link.removeprefix("tcp://").split(":")
            client = ModbusTcpClient(host, port=int(port))
        else:
            client = ModbusSerialClient(served.switch_link, baudrate=19200)
        assert client.connect()
        assert not client.write_coil(0, True, device_id=1).isError()
        assert served.board.path == "antenna-stage"
        assert not client.write_coils(0, [False, True], device_id=1).isError()
        assert served.board.path == "load-bypass"
        assert client.read_coils(0, count=3, device_id=1).bits[:3] == [False, True, False]
        served.board.stick(1)
        client.write_coil(1, False, device_id=1)
        assert client.read_coils(1, count=1, device_id=1).bits[0] is True
        assert client.read_coils(4000, count=1, device_id=1).isError()
        assert served.switch_log.count == 6
        client.close()


def test_boards_of_bytes_answer_as_their_tables_say() -> None:
    world = saltmarsh()
    with serve(world, JumpingClock(world.first_evening), switch="one-byte") as served:
        with serial.Serial(served.switch_link, 9600, timeout=5.0) as port:
            port.write(b"\x65\x67\x5b")
            assert port.read(1) == b"\x05"
            port.write(b"\x6f\x5b")
            assert port.read(1) == b"\x04"
        assert served.board.coils[:3] == (False, False, True)
    with serve(world, JumpingClock(world.first_evening), switch="three-byte") as served:
        with serial.Serial(served.switch_link, 9600, timeout=5.0) as port:
            port.write(b"\xff\x02\x01\xff\x02\x03")
            assert port.read(3) == b"\xff\x02\x01"
        assert served.board.path == "load-bypass"
    with serve(world, JumpingClock(world.first_evening), switch="text-line") as served:
        with serial.Serial(served.switch_link, 115200, timeout=5.0) as port:
            port.write(b"RELAY-SET-255,1,1")
            assert port.read(20) == b"RELAY-SET-255,1,1,OK"
        assert served.board.path == "antenna-stage"
        assert not served.forbidden


def test_curl_sets_and_reads_a_web_boards_relays() -> None:
    world = saltmarsh()
    with serve(world, JumpingClock(world.first_evening), switch="http", login=("me", "secret")) as served:
        url = f"{served.switch_link}/relays/1"
        put = ["curl", "-s", "-u", "me:secret", "-X", "PUT", "-d", '{"on": true}', url]
        answer = subprocess.run(put, capture_output=True, timeout=20, check=True).stdout
        assert json.loads(answer) == {"relay": 1, "on": True}
        assert served.board.path == "antenna-stage"
        unknown = ["curl", "-s", "-o", "/dev/null", "-w", "%{http_code}", url]
        # RFC 9110 15.5.2: 401 without valid credentials.
        assert subprocess.run(unknown, capture_output=True, timeout=20, check=True).stdout == b"401"
        plain = ["curl", "-s", "-u", "me:secret", f"{served.switch_link}/relay/1?turn=off"]
        assert subprocess.run(plain, capture_output=True, timeout=20, check=True).stdout == b"off"
        with pytest.raises(urllib.error.HTTPError), urllib.request.urlopen(url, timeout=5.0):
            pass


def retained(port: int, topic: str) -> str:
    """What the broker tells a newcomer who asks for a topic."""
    message = subscribe.simple(topic, hostname="127.0.0.1", port=port)
    return message.payload.decode()


def test_a_broker_and_paho_clients_drive_a_board_behind_it(tmp_path: Path) -> None:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    state = "saltmarsh/relay/1/state"
    with (
        broker(tmp_path, "allow_anonymous true", "persistence false") as port,
        serve(world, clock, switch="mqtt", broker=f"mqtt://127.0.0.1:{port}") as served,
    ):
        assert retained(port, state) == "OFF"
        publish.single("saltmarsh/relay/1/set", "ON", qos=1, hostname="127.0.0.1", port=port)
        until(lambda: served.board.path == "antenna-stage", "the relay to move")
        until(lambda: retained(port, state) == "ON", "the state to be retained")
        assert retained(port, "saltmarsh/alive") == "online"
        served.relay_board.die()
        until(lambda: retained(port, "saltmarsh/alive") == "offline", "the last will")
