"""Our drivers and the simulated receivers, with hamlib between or beside them: all must read the same.

Back to back through rigctld: our hamlib driver speaks to it, it speaks a real receiver's commands to the simulated one.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from drivers.contracts import Receiver
from drivers.receivers import dialect, hamlib
from sweeper.clock import JumpingClock
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.simulation.receivers.scpi import S9_DBUV
from tests.whole.peers import rigctld

pytestmark = pytest.mark.wires

MODELS = {"ts480": 2028, "ts590s": 2031, "k3": 2029, "icr75": 3039, "ic7300": 3073, "icr8600": 3079}
DIALECTS = {**{name: name for name in MODELS}, "scpi": "eb200"}
WIDEST_STEP_DB = {
    "ts480": 6.7,
    "ts590s": 4.0,
    "k3": 3.0,
    "icr75": 1.0,
    "ic7300": 0.6,
    "icr8600": 0.5,
    "scpi": 0.1,
}


@contextmanager
def station(receiver: str, *, ours: bool) -> Iterator[tuple[Served, JumpingClock]]:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock, receiver=receiver, ours=ours) as served:
        clock.sleep(1.0)
        yield served, clock


def opened(driver: Any, options: dict[str, Any]) -> Receiver:
    return driver.open(driver.options.model_validate(options))


def over_s9(receiver: str, power: float) -> float:
    """What the driver reads, in dB over S9: the SCPI dialect tells dBm instead."""
    return power + 73.0 if receiver == "scpi" else power


@pytest.mark.parametrize("receiver", list(MODELS))
def test_our_hamlib_driver_measures_any_receiver_that_rigctld_drives(receiver: str) -> None:
    with (
        station(receiver, ours=False) as (served, clock),
        rigctld(MODELS[receiver], served.receiver_link) as port,
    ):
        driver = opened(hamlib.DRIVER, {"link": f"tcp://127.0.0.1:{port}"})
        driver.set_mode("USB", 2400)
        for hz in (1_616_000, 7_038_500, 28_070_000):
            driver.tune(hz)
            assert driver.frequency_hz() == hz == served.receiver.hz
            clock.sleep(1.0)
            power = driver.read_power()
            assert abs(power - served.receiver.level_db()) <= WIDEST_STEP_DB[receiver] / 2 + 0.6
        assert driver.tuning().mode == "USB"
        assert not driver.is_transmitting()
        driver.close()


@pytest.mark.parametrize("receiver", list(DIALECTS))
def test_a_dialect_reads_what_stands_at_the_input(receiver: str) -> None:
    with station(receiver, ours=True) as (served, clock):
        driver = opened(dialect.DRIVER, {"link": served.receiver_link, "dialect": DIALECTS[receiver]})
        remembered = driver.remember()
        driver.prepare()
        driver.set_mode("USB", 2400)
        for hz in (1_616_000, 7_038_500, 28_070_000):
            driver.tune(hz)
            assert driver.frequency_hz() == hz == served.receiver.hz
            clock.sleep(1.0)
            power = over_s9(receiver, driver.read_power())
            assert abs(power - served.receiver.level_db()) <= WIDEST_STEP_DB[receiver] / 2 + 0.06
        assert driver.tuning().mode == "USB"
        assert not driver.is_transmitting()
        driver.restore(remembered)
        assert (served.receiver.hz, served.receiver.mode) == (7_074_000, "LSB")
        driver.close()
        assert served.forbidden == ()


@pytest.mark.parametrize("receiver", ["ts480", "ts590s", "k3", "ic7300"])
def test_a_dialect_sees_the_transmitter_of_a_transceiver(receiver: str) -> None:
    with station(receiver, ours=True) as (served, _):
        driver = opened(dialect.DRIVER, {"link": served.receiver_link, "dialect": DIALECTS[receiver]})
        served.receiver.transmitting = True
        assert driver.is_transmitting()
        driver.close()


@pytest.mark.parametrize("receiver", ["icr75", "ic7300"])
def test_echo_on_a_shared_bus_changes_nothing(receiver: str) -> None:
    with station(receiver, ours=True) as (served, clock):
        served.instrument.echo = True
        driver = opened(dialect.DRIVER, {"link": served.receiver_link, "dialect": receiver})
        driver.tune(9_396_000)
        clock.sleep(1.0)
        power = driver.read_power()
        assert abs(power - served.receiver.level_db()) <= 1.0
        served.instrument.collide = 1
        assert driver.frequency_hz() == 9_396_000
        driver.close()


def test_hamlib_and_our_dialect_agree_about_one_receiver() -> None:
    with station("ic7300", ours=False) as (served, clock):
        served.receiver.turn_dial(9_999_000, "USB")
        clock.sleep(1.0)
        with rigctld(MODELS["ic7300"], served.receiver_link) as port:
            theirs = opened(hamlib.DRIVER, {"link": f"tcp://127.0.0.1:{port}"})
            through_hamlib = theirs.read_power()
            theirs.close()
        ours = opened(dialect.DRIVER, {"link": served.receiver_link, "dialect": "ic7300"})
        assert abs(ours.read_power() - through_hamlib) <= 0.5  # hamlib tells whole decibels
        ours.close()
    assert pytest.approx(34.0, abs=0.05) == S9_DBUV
