"""A SCPI instrument of somebody else's making (pyvisa-sim) behind a socket: our driver and simulation agree with it.

pyvisa-sim lives inside its client's process; a wire carries program messages to it and its responses back, those
of one message joined by semicolons as IEEE 488.2 (8.3.2) has it.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import pyvisa

from drivers.errors import Refused
from drivers.receivers import dialect
from sweeper.clock import JumpingClock
from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.wires.faults import Send, WireFaults
from sweeper.simulation.wires.wire import Feed, TcpWire

pytestmark = pytest.mark.wires

# Error numbers and words: SCPI 1999.0 volume 2, 21.8. The level is any number.
INSTRUMENT = r"""
spec: "1.1"
devices:
  receiver:
    eom:
      TCPIP SOCKET: {q: "\n", r: "\n"}
    error:
      status_register: [{q: "*ESR?", command_error: 32, query_error: 4}]
      error_queue:
        - q: ":SYST:ERR?"
          default: '0,"No error"'
          command_error: '-222,"Data out of range"'
          query_error: '-400,"Query error"'
    dialogues:
      - {q: "*IDN?", r: "SOMEBODY,EB200,1,1.0"}
      - {q: "*CLS"}
      - {q: "*OPC?", r: "1"}
      - {q: 'SENS:DATA? "VOLT:AC"', r: "27.3"}
    properties:
      frequency:
        default: 7100000
        getter: {q: "FREQ?", r: "{:d}"}
        setter: {q: "FREQ {:d}"}
        specs: {min: 10000, max: 30000000, type: int}
      bandwidth:
        default: 2400
        getter: {q: "BAND?", r: "{:d}"}
        setter: {q: "BAND {:d}"}
        specs: {min: 150, max: 120000, type: int}
      demodulation:
        default: AM
        getter: {q: "DEM?", r: "{:s}"}
        setter: {q: "DEM {:s}"}
        specs: {valid: [AM, FM, USB, LSB, CW], type: str}
      gain control:
        default: AUTO
        getter: {q: "GCON:MODE?", r: "{:s}"}
        setter: {q: "GCON:MODE {:s}"}
        specs: {valid: [AUTO, FIX], type: str}
      squelch:
        default: 0
        getter: {q: "OUTP:SQU:STAT?", r: "{:d}"}
        setter: {q: "OUTP:SQU:STAT {:d}"}
        specs: {valid: [0, 1], type: int}
      attenuator:
        default: 0
        getter: {q: "INP:ATT:STAT?", r: "{:d}"}
        setter: {q: "INP:ATT:STAT {:d}"}
        specs: {valid: [0, 1], type: int}
resources:
  TCPIP0::localhost::5555::SOCKET: {device: receiver}
"""


def carried_to(instrument: Any) -> Any:
    """Sessions of a wire that end in `instrument`."""

    def session(send: Send) -> Feed:
        kept = b""

        def feed(data: bytes) -> None:
            nonlocal kept
            *messages, kept = (kept + data).split(b"\n")
            for message in messages:
                instrument.write_raw(message + b"\n")
                replies = [instrument.read() for unit in message.split(b";") if b"?" in unit]
                if replies:
                    send(";".join(replies).encode() + b"\n")

        return feed

    return session


@pytest.fixture
def theirs(tmp_path: Path) -> Iterator[str]:
    """The link of a wire to pyvisa-sim's instrument."""
    description = tmp_path / "instrument.yaml"
    description.write_text(INSTRUMENT)
    manager = pyvisa.ResourceManager(f"{description}@sim")
    instrument = manager.open_resource(
        "TCPIP0::localhost::5555::SOCKET", read_termination="\n", write_termination="\n"
    )
    wire = TcpWire(carried_to(instrument), WireFaults())
    yield wire.link
    wire.close()
    instrument.close()
    manager.close()


@pytest.fixture
def ours() -> Iterator[str]:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock, receiver="scpi") as served:
        clock.sleep(1.0)
        yield served.receiver_link


@pytest.mark.parametrize("whose", ["theirs", "ours"])
def test_our_driver_finds_the_same_manners_in_both(whose: str, request: pytest.FixtureRequest) -> None:
    link = request.getfixturevalue(whose)
    driver = dialect.DRIVER.open(dialect.DRIVER.options.model_validate({"link": link, "dialect": "eb200"}))
    before = driver.tuning()
    remembered = driver.remember()
    driver.prepare()
    driver.set_mode("USB", 2400)
    driver.tune(7_038_500)
    tuning = driver.tuning()
    assert (tuning.hz, tuning.mode, tuning.bandwidth_hz) == (7_038_500, "USB", 2400)
    assert -140.0 < driver.read_power() < 0.0
    with pytest.raises(Refused, match="-222"):
        driver.tune(99_000_000)
    assert driver.frequency_hz() == 7_038_500
    driver.restore(remembered)
    assert driver.tuning() == before
    driver.close()


def test_the_level_that_a_third_party_tells_arrives_in_dbm(theirs: str) -> None:
    driver = dialect.DRIVER.open(dialect.DRIVER.options.model_validate({"link": theirs, "dialect": "eb200"}))
    # One microvolt in 50 ohms is -106.99 dBm: 10 log10((1e-6)^2 / 50 / 1e-3).
    assert driver.read_power() == pytest.approx(27.3 - 106.99, abs=0.01)
    driver.close()
