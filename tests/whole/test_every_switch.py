"""Whole passes through the boards that the fault matrix leaves out: passwords, certificates, brokers, tables."""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
import trustme

from tests.drivers.switches.mosquitto import broker
from tests.whole.faulty_station import DIAL_BEFORE, OTHER_SWITCHES, WHOLE, FaultyStation, faulty_station

pytestmark = pytest.mark.wires

LOGIN = ("saltmarsh", "curlew & dunlin")


@pytest.fixture(params=OTHER_SWITCHES)
def station(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[FaultyStation]:
    switch, section = request.param, OTHER_SWITCHES[request.param]
    serving: dict[str, Any] = {}
    with ExitStack() as cleanup:
        if switch == "http":
            authority, ca_file, certificate = trustme.CA(), tmp_path / "ca.pem", tmp_path / "board.pem"
            authority.cert_pem.write_to_path(str(ca_file))
            authority.issue_cert("127.0.0.1").private_key_and_cert_chain_pem.write_to_path(str(certificate))
            monkeypatch.setenv("RELAY_PASSWORD", LOGIN[1])
            section = section.replace("CA_FILE", str(ca_file))
            serving = {"login": LOGIN, "certificate": certificate}
        if switch == "mqtt":
            port = cleanup.enter_context(broker(tmp_path, "allow_anonymous true"))
            serving = {"broker": f"mqtt://127.0.0.1:{port}"}
        yield cleanup.enter_context(
            faulty_station(tmp_path, "rigctl-net", switch, switch_section=section, **serving)
        )


def test_passes_are_whole_and_leave_the_station_as_found(station: FaultyStation) -> None:
    for _ in range(2):
        record = station.one_pass()
        assert (record.outcome, record.because, record.left_over) == ("done", "", ())
        assert len(station.stored(record)) == WHOLE
        assert station.at_rest
        assert station.dial == DIAL_BEFORE
    assert station.served.forbidden == ()


def test_relays_that_stick_are_told(station: FaultyStation) -> None:
    """All but one of these boards can be asked; the one that cannot confirms what it did not do."""
    station.served.board.stick(0)
    record = station.one_pass()
    if "no read-back" in station.identity_of_switch():
        assert record.outcome == "done"
    else:
        assert record.outcome == "failed"
        assert "was told to be on and reads off" in record.because
        assert station.stored(record) == []
    assert station.at_rest
