"""The receiver's own preamplifier as the stage, on the simulated receivers' real wires."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from pydantic import ValidationError

from drivers.errors import Stuck, Unsupported
from drivers.receivers import dialect, hamlib
from drivers.switches.own_stage import DRIVER, Options
from sweeper.simulation import Served, saltmarsh, serve
from tests.clocks import evening

ON_OFF = {"antenna-bypass": {"preamplifier": "off"}, "antenna-stage": {"preamplifier": "on"}}
KINDS: dict[str, dict[str, Any]] = {
    "ts480": {"receiver": "dialect", "dialect": "ts480", "paths": ON_OFF},
    "k3": {"receiver": "dialect", "dialect": "k3", "paths": ON_OFF},
    "ic7300": {
        "receiver": "dialect",
        "dialect": "ic7300",
        "paths": {"antenna-bypass": {"preamplifier": "off"}, "antenna-stage": {"preamplifier": "first"}},
    },
    "rigctl-net": {
        "receiver": "hamlib",
        "paths": {"antenna-bypass": {"preamplifier": "off"}, "antenna-stage": {"preamplifier": 10}},
    },
}


@contextmanager
def station(kind: str) -> Iterator[tuple[Served, Any, Any]]:
    """The bench, the own stage, and the receiver's driver beside it on the same link."""
    with serve(saltmarsh(), evening(), receiver=kind) as served:
        link = {"link": served.receiver_link}
        receiver: Any
        if kind == "rigctl-net":
            receiver = hamlib.DRIVER.open(hamlib.Options(**link))
        else:
            receiver = dialect.DRIVER.open(dialect.Options(dialect=kind, **link))
        stage = DRIVER.open(Options.model_validate({**KINDS[kind], **link}))
        yield served, stage, receiver
        stage.close()
        receiver.close()
        assert not served.receiver_log.forbidden


@pytest.mark.parametrize("kind", KINDS)
def test_a_path_is_a_setting_of_the_receiver_and_reads_back(kind: str) -> None:
    with station(kind) as (_, stage, receiver):
        assert stage.select("antenna-bypass") == 0
        assert stage.select("antenna-stage") == 1
        assert stage.selected() == "antenna-stage"
        receiver.tune(7_038_500)
        assert receiver.frequency_hz() == 7_038_500
        assert stage.select("antenna-stage") == 0
        assert stage.select("antenna-bypass") == 1
        assert stage.selected() == "antenna-bypass"


def test_a_pass_prepares_and_restores_the_receiver_without_moving_its_stage() -> None:
    with station("ic7300") as (_, stage, receiver):
        remembered = receiver.remember()
        stage.select("antenna-stage")
        assert receiver.prepare() == ()
        assert stage.selected() == "antenna-stage"
        stage.select("antenna-bypass")
        receiver.restore(remembered)
        assert stage.selected() == "antenna-bypass"


def test_a_setting_that_does_not_move_is_a_stuck_stage() -> None:
    with station("ic7300") as (served, stage, _):
        served.instrument.settings[b"\x16\x02"] = b"\x02"
        assert stage.selected() is None
        served.instrument.settings.pop(b"\x16\x02")
        with pytest.raises(Stuck, match="preamplifier"):
            stage.select("antenna-stage")


def test_a_path_that_is_not_in_the_file_is_told() -> None:
    with station("k3") as (_, stage, _), pytest.raises(Unsupported, match="load-stage"):
        stage.select("load-stage")


@pytest.mark.parametrize(
    "mistake",
    [
        {"paths": {"antenna-bypass": {"preamplifier": "off"}, "antenna-stage": {"preamplifier": "loud"}}},
        {"paths": {"antenna-bypass": {"preamp": "off"}, "antenna-stage": {"preamp": "on"}}},
        {"paths": {"antenna-bypass": {"preamplifier": "off"}, "antenna-stage": {"attenuator": "on"}}},
        {"dialect": ""},
        {"receiver": "hamlib"},
    ],
)
def test_mistakes_are_found_before_the_night(mistake: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        Options.model_validate({"link": "/dev/ttyUSB0", **KINDS["ts480"], **mistake})
