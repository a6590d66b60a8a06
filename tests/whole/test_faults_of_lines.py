"""A relay on a control line of a port across a network (RFC 2217): what its server can do to a pass.

As in the fault matrix: nothing is stored of a pass that is not whole, the line falls, and the next pass is whole once
the server is well again.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.drivers.switches.test_line import RemotePort
from tests.whole.faulty_station import WHOLE, faulty_station
from tests.whole.unattended import until

pytestmark = [
    pytest.mark.wires,
    # pyserial 3.5 still calls Thread.setDaemon and setName, and drops a socket that the other end has closed
    pytest.mark.filterwarnings("ignore:set(Daemon|Name)"),
    pytest.mark.filterwarnings("ignore:unclosed <socket"),
    pytest.mark.filterwarnings("ignore:Exception ignored in. <socket"),
]

SECTION = "driver: line, paths: {antenna-bypass: {rts: off}, antenna-stage: {rts: on}}"


@pytest.fixture
def remote() -> Iterator[RemotePort]:
    port = RemotePort()
    yield port
    port.close()


def hang(remote: RemotePort) -> None:
    remote.mute = True


def go(remote: RemotePort) -> None:
    remote.gone = True
    remote.hang_up()


FAULTS: dict[str, Callable[[RemotePort], None]] = {
    "hangs": hang,
    "hangs up": RemotePort.hang_up,
    "is gone": go,
}
MOMENTS = ("before the pass", "pulling in", "reading with the stage in", "letting go")


@pytest.mark.parametrize("moment", MOMENTS)
@pytest.mark.parametrize("fault", FAULTS)
def test_a_server_of_a_relays_port_that_fails_costs_the_pass_and_bends_nothing(
    tmp_path: Path, remote: RemotePort, fault: str, moment: str
) -> None:
    with faulty_station(
        tmp_path,
        "rigctl-net",
        "modbus-tcp",
        switch_timeout_s=None,
        switch_section=SECTION,
        switch_link=remote.link,
    ) as station:
        failed = False

        def fail() -> None:
            nonlocal failed
            failed = True
            FAULTS[fault](remote)

        def raised(line: str, level: bool, note: Callable[[str, bool], None] = remote.note) -> None:
            note(line, level)
            if not failed and (line, level) == ("rts", True):
                if moment == "pulling in":
                    fail()
                elif moment == "reading with the stage in":
                    station.served.receiver_log.when("meter", fail)
            if not failed and moment == "letting go" and level is False and ("rts", True) in remote.levels:
                fail()

        remote.note = raised  # type: ignore[method-assign]
        if moment == "before the pass":
            remote.mute, remote.gone = fault == "hangs", fault != "hangs"
            failed = True
        record = station.one_pass()
        assert failed
        if record.outcome != "done":
            assert station.stored(record) == [] and "relay on" in record.because
        remote.mute = remote.gone = False
        until(lambda: not remote.is_high("rts"), "the line to fall")
        record = station.one_pass()
        assert (record.outcome, len(station.stored(record))) == ("done", WHOLE), record.because
        until(lambda: not remote.is_high("rts"), "the line to fall")
