"""Every example of docs/switches.md and docs/receivers.md works as it stands there, but for its addresses."""

import json
import re
import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from io import StringIO
from pathlib import Path
from typing import Any

import gpiod
import pytest
import trustme
from pydantic import BaseModel
from ruamel.yaml import YAML

from sweeper.clock import JumpingClock
from sweeper.daemon.rig.instruments import open_switch
from sweeper.daemon.run.campaign import Campaign, run_passes
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.station import Station, drivers, load
from sweeper.store import Store
from tests.drivers.switches.mosquitto import broker
from tests.drivers.switches.test_gpio import Chip
from tests.drivers.switches.test_line import RemotePort
from tests.drivers.switches.test_person import Somebody

pytestmark = [
    pytest.mark.wires,
    # pyserial's own, of its network ports
    pytest.mark.filterwarnings("ignore:set(Daemon|Name)"),
]

DOCS = Path(__file__).parents[2] / "docs"
PASSWORD = "curlew & dunlin"


def examples(page: str) -> dict[str, dict[str, Any]]:
    """By driver, the first section of each that the page shows."""
    found: dict[str, dict[str, Any]] = {}
    for block in re.findall(r"```yaml\n(.*?)```", (DOCS / page).read_text(encoding="utf-8"), re.DOTALL):
        section = YAML(typ="safe").load(StringIO(block))
        found.setdefault(section["driver"], section)
    return found


SWITCHES, RECEIVERS = examples("switches.md"), examples("receivers.md")
RECEIVER = {"driver": "hamlib", "link": "tcp://127.0.0.1:4532"}
COMMON: dict[str, Any] = {
    "mode": "USB", "bandwidth_hz": 2400, "settle_s": 0.15, "readings": 2, "interval_s": 0.05,
    "meter": {"unit": "dB-over-S9"},
}  # fmt: skip


def station_of(folder: Path, receiver: dict[str, Any], switch: dict[str, Any]) -> Station:
    content = {
        "station": {"name": "Saltmarsh", "latitude": 56.2, "longitude": 8.1, "environment": "rural"},
        "receiver": receiver | COMMON,
        "switch": {"settle_s": 0.03} | switch,
        "bands": [{"name": "40 m", "channels": [{"hz": 7_038_500, "for": "noise"}]}],
    }
    file = folder / "station.yaml"
    file.write_text(json.dumps(content), encoding="utf-8")  # which is YAML as well
    return load(file)


def a_whole_pass(folder: Path, station: Station, served: Served, clock: JumpingClock) -> None:
    with Store(folder / "data", station.station.name, station.station.longitude) as store:
        (record,) = run_passes(Campaign(station, store, clock), [None])
    assert (record.outcome, record.because, record.left_over) == ("done", "", ())
    assert served.forbidden == ()


def every_path(station: Station) -> None:
    switch = open_switch(station)
    try:
        for path in (*station.switch.paths, station.switch.rest):
            switch.select(path)
            assert switch.selected() == path
    finally:
        switch.close()


def models_of(model: type[BaseModel]) -> Iterator[str]:
    for name, field in model.model_fields.items():
        yield field.alias or name
        for inner in (field.annotation, *getattr(field.annotation, "__args__", ())):
            if isinstance(inner, type) and issubclass(inner, BaseModel):
                yield from models_of(inner)


@pytest.mark.parametrize(("kind", "page"), [("switch", "switches.md"), ("receiver", "receivers.md")])
def test_every_driver_has_an_example_and_every_key_is_named(kind: drivers.Kind, page: str) -> None:
    text = (DOCS / page).read_text(encoding="utf-8")
    for name in drivers.names_of(kind):
        assert name in examples(page), f"{page} shows no {name}"
        for key in set(models_of(drivers.driver(name).options)) - {"paths"}:
            assert re.search(rf"\b{key}\b", text), f"{page} does not name {key} of {name}"


BOARDS = {
    "modbus": ("modbus-tcp", {}), "board": ("one-byte", {}), "http": ("http", {}), "mqtt": ("mqtt", {}),
}  # fmt: skip


@pytest.mark.parametrize("driver", BOARDS)
def test_a_pass_is_whole_with_each_board_as_it_is_shown(driver: str, tmp_path: Path) -> None:
    world, section = saltmarsh(), dict(SWITCHES[driver])
    clock = JumpingClock(world.first_evening)
    serving: dict[str, Any] = {}
    with ExitStack() as cleanup:
        if driver == "http":
            authority, certificate = trustme.CA(), tmp_path / "board.pem"
            authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
            authority.issue_cert("127.0.0.1").private_key_and_cert_chain_pem.write_to_path(str(certificate))
            (tmp_path / "password").write_text(PASSWORD, encoding="utf-8")
            section |= {"ca_file": str(tmp_path / "ca.pem"), "password_file": str(tmp_path / "password")}
            serving = {"login": (section["user"], PASSWORD), "certificate": certificate}
        if driver == "mqtt":
            port = cleanup.enter_context(broker(tmp_path, "allow_anonymous true"))
            serving = {"broker": f"mqtt://127.0.0.1:{port}"}
        served = cleanup.enter_context(serve(world, clock, switch=BOARDS[driver][0], **serving))
        section["link"] = served.switch_link
        station = station_of(tmp_path, RECEIVER | {"link": served.receiver_link}, section)
        every_path(station)
        a_whole_pass(tmp_path, station, served, clock)
        assert served.board.path == "antenna-bypass"


def test_gpio_lines_move_as_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    chip = Chip()
    monkeypatch.setattr(gpiod, "Chip", lambda link: chip)
    monkeypatch.setattr(
        gpiod, "request_lines", lambda link, consumer, config: chip.request_lines(config, consumer)
    )
    every_path(station_of(tmp_path, RECEIVER, SWITCHES["gpio"]))
    assert {17, 27} == {line for line, _ in chip.driven}


def test_control_lines_move_as_shown(tmp_path: Path) -> None:
    port = RemotePort()
    try:
        every_path(station_of(tmp_path, RECEIVER, SWITCHES["line"] | {"link": port.link}))
    finally:
        port.close()
    assert ("rts", True) in port.levels and ("dtr", True) in port.levels


def test_several_switches_move_as_shown(tmp_path: Path) -> None:
    section, port = SWITCHES["joint"], RemotePort()
    world = saltmarsh()
    try:
        with serve(world, JumpingClock(world.first_evening), switch="modbus-tcp") as served:
            links = {"mast": served.switch_link, "shack": port.link}
            parts = {name: part | {"link": links[name]} for name, part in section["parts"].items()}
            every_path(station_of(tmp_path, RECEIVER, section | {"parts": parts}))
    finally:
        port.close()


def test_a_person_is_asked_as_shown(tmp_path: Path) -> None:
    somebody = Somebody()
    section = SWITCHES["person"] | {"link": somebody.terminal, "timeout_s": 60}

    def confirms() -> None:
        for path, words in section["paths"].items():
            somebody.read_until(f"{path}: {words}. Press Enter".encode())
            somebody.types(b"\n")
        somebody.shown = b""
        somebody.read_until(b"antenna-bypass: ")
        somebody.types(b"\n")

    hand = threading.Thread(target=confirms)
    hand.start()
    try:
        every_path(station_of(tmp_path, RECEIVER, section))
    finally:
        hand.join(60)
        somebody.leave()


RECEIVERS_SERVED = {"hamlib": "rigctl-net", "dialect": "ic7300"}


@pytest.mark.parametrize("driver", RECEIVERS_SERVED)
def test_a_pass_is_whole_with_each_receiver_as_it_is_shown(driver: str, tmp_path: Path) -> None:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock, receiver=RECEIVERS_SERVED[driver], switch="modbus-tcp") as served:
        receiver = RECEIVERS[driver] | {"link": served.receiver_link}
        switch = SWITCHES["modbus"] | {"link": served.switch_link}
        a_whole_pass(tmp_path, station_of(tmp_path, receiver, switch), served, clock)


def test_the_receivers_own_stage_works_as_shown(tmp_path: Path) -> None:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    section = SWITCHES["own-stage"]
    with serve(world, clock, receiver=section["dialect"], switch="modbus-tcp") as served:
        receiver = {"driver": "dialect", "dialect": section["dialect"], "link": served.receiver_link}
        station = station_of(tmp_path, receiver, section | {"link": served.receiver_link})
        a_whole_pass(tmp_path, station, served, clock)
        assert not served.receiver.preamplifier


def test_a_software_defined_receiver_is_described_as_shown(tmp_path: Path) -> None:
    station = station_of(tmp_path, RECEIVERS["soapy"], SWITCHES["modbus"])
    assert station.receiver.options is not None and station.receiver.driver == "soapy"


def test_no_example_names_this_computer() -> None:
    shown = json.dumps(SWITCHES) + json.dumps(RECEIVERS)
    assert socket.gethostname() not in shown or socket.gethostname() in ("localhost", "relays")
