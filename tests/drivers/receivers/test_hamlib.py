"""The hamlib driver against hamlib's own rigctld, and against faults on the wire."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from drivers.errors import LinkLost, Refused, Stuck
from drivers.receivers.hamlib import DRIVER, HamlibReceiver, Options
from sweeper.clock import JumpingClock, SystemClock
from sweeper.simulation import Served, saltmarsh, serve
from tests.clocks import evening
from tests.whole.peers import rigctld

pytestmark = pytest.mark.wires


@contextmanager
def opened(link: str, **keys: object) -> Iterator[HamlibReceiver]:
    receiver = DRIVER.open(Options.model_validate({"link": link, "timeout_s": 3.0, **keys}))
    try:
        yield receiver
    finally:
        receiver.close()


@contextmanager
def simulated(**keys: object) -> Iterator[tuple[Served, HamlibReceiver]]:
    with serve(saltmarsh(), evening()) as served, opened(served.receiver_link, **keys) as receiver:
        yield served, receiver
        assert not served.receiver_log.forbidden


def test_hamlibs_own_dummy_is_measured_and_left_as_it_was() -> None:
    with rigctld(1) as port, opened(f"tcp://127.0.0.1:{port}", receive_only=True) as receiver:
        assert receiver.identify()
        assert receiver.frequency_range_hz() == (150_000, 1_500_000_000)
        found = receiver.remember()
        assert receiver.prepare() == ()
        receiver.set_mode("USB", 2400)
        receiver.tune(7_038_500)
        tuning = receiver.tuning()
        assert (tuning.hz, tuning.mode, tuning.bandwidth_hz) == (7_038_500, "USB", 2400)
        assert -60 <= receiver.read_power() <= 60
        receiver.restore(found)
        assert receiver.remember() == found


def test_rigctld_started_with_a_vfo_on_every_command_is_spoken_to_that_way() -> None:
    with (
        rigctld(1, arguments=("--vfo",)) as port,
        opened(f"tcp://127.0.0.1:{port}", receive_only=True) as receiver,
    ):
        receiver.prepare()
        receiver.set_mode("CW", 500)
        receiver.tune(10_120_000)
        assert receiver.frequency_hz() == 10_120_000
        receiver.read_power()


def test_a_hand_at_the_dial_is_seen_at_once_although_hamlib_keeps_the_dial_in_memory() -> None:
    world = saltmarsh()
    with (
        serve(world, JumpingClock(world.first_evening), receiver="ic7300", ours=False) as served,
        rigctld(3073, served.receiver_link) as port,
        opened(f"tcp://127.0.0.1:{port}") as receiver,
    ):
        found = receiver.remember()
        receiver.prepare()
        receiver.tune(7_038_500)
        assert receiver.frequency_hz() == 7_038_500
        served.receiver.turn_dial(7_100_000)
        assert receiver.frequency_hz() == 7_100_000
        served.receiver.transmitting = True
        assert receiver.is_transmitting()
        served.receiver.transmitting = False
        assert not receiver.is_transmitting()
        receiver.restore(found)
        assert receiver.remember()["CACHE"] == found["CACHE"] == 500


@pytest.mark.parametrize(
    ("kind", "model", "called"),
    [
        ("ts480", 2028, "TS-480"),
        ("ts590s", 2031, "TS-590S"),
        ("k3", 2029, "K3"),
        ("icr75", 3039, "IC-R75"),
        ("ic7300", 3073, "IC-7300"),
        ("icr8600", 3079, "IC-R8600"),
    ],
)
def test_any_receiver_behind_rigctld_is_prepared_and_left_as_it_was(
    kind: str, model: int, called: str
) -> None:
    with (
        serve(saltmarsh(), evening(), receiver=kind, ours=False) as served,
        rigctld(model, served.receiver_link) as port,
        opened(f"tcp://127.0.0.1:{port}") as receiver,
    ):
        assert called in receiver.identify()
        served.receiver.slow_agc = True
        found = receiver.remember()
        # what hamlib of this version cannot set on a model, it is honest about
        assert set(receiver.prepare()) <= {"squelch", "manual notch"}
        assert receiver.remember()["AGC"] == 2
        receiver.restore(found)
        assert receiver.remember() == found


def test_what_moves_the_meter_is_set_for_the_pass_and_put_back_after() -> None:
    with simulated(preamp_db=0) as (served, receiver):
        instrument = served.instrument
        instrument.levels.update({"AGC": 3.0, "RF": 0.4, "SQL": 0.3, "PREAMP": 10.0})
        instrument.functions.update({"NB": 1, "NR": 1})
        found = receiver.remember()
        assert receiver.prepare() == ()
        assert instrument.levels["AGC"] == 2.0
        assert instrument.levels["RF"] == 1.0
        assert instrument.levels["SQL"] == 0.0
        assert instrument.levels["PREAMP"] == 0.0
        assert instrument.functions["NB"] == instrument.functions["NR"] == 0
        receiver.restore(found)
        assert instrument.levels["AGC"] == 3.0
        assert instrument.levels["RF"] == pytest.approx(0.4)
        assert instrument.levels["PREAMP"] == 10.0
        assert instrument.functions["NB"] == instrument.functions["NR"] == 1


def test_the_dial_stays_where_a_person_turned_it_when_the_tuning_is_left_out() -> None:
    with simulated() as (served, receiver):
        found = dict(receiver.remember())
        receiver.prepare()
        receiver.tune(7_038_500)
        served.receiver.turn_dial(14_200_000, "USB")
        del found["tuning"]
        receiver.restore(found)
        assert served.receiver.hz == 14_200_000


def test_what_cannot_be_put_back_is_told() -> None:
    with simulated() as (_, receiver):
        found = receiver.remember()
        receiver.prepare()
        with pytest.raises(Stuck, match="noise blanker"):
            receiver.restore({**found, "NB": 7})


def test_a_frequency_that_the_receiver_refuses_is_told() -> None:
    with simulated() as (served, receiver):
        served.receiver.refused_hz.add(7_038_500)
        with pytest.raises(Refused, match="set_freq"):
            receiver.tune(7_038_500)


@pytest.mark.parametrize("fault", ["drop", "garble", "split", "merge", "noise", "truncate", "close"])
def test_one_fault_on_the_wire_costs_a_repeat_and_no_reading(fault: str) -> None:
    with simulated(timeout_s=0.5) as (served, receiver):
        receiver.prepare()
        receiver.tune(7_038_500)
        getattr(served.faults.receiver, fault)()
        assert receiver.frequency_hz() == 7_038_500
        getattr(served.faults.receiver, fault)()
        assert -60 <= receiver.read_power() <= 60
        assert not receiver.is_transmitting()


def test_a_receiver_that_was_switched_off_and_on_is_set_up_again() -> None:
    with simulated() as (served, receiver):
        receiver.prepare()
        served.instrument.levels["RF"] = 0.2
        served.faults.receiver.close()
        receiver.frequency_hz()
        assert served.instrument.levels["RF"] == 1.0


def test_nobody_at_the_link_is_told() -> None:
    with serve(saltmarsh(), evening()) as served:
        link = served.receiver_link
    with pytest.raises(LinkLost), opened(link):
        pass


@pytest.mark.parametrize(
    ("model", "arguments"), [(1, ()), (1, ("--vfo",)), (1, ("-P", "RIG")), (6, ()), (6, ("-P", "RIG"))]
)
def test_whether_a_fresh_server_tells_of_a_transmitter_does_not_change_while_it_is_asked(
    model: int, arguments: tuple[str, ...]
) -> None:
    """hamlib 4.5 without a line to ask refuses get_ptt first, then answers from memory for half a second."""
    with rigctld(model, arguments=arguments) as port:
        link = f"tcp://127.0.0.1:{port}"
        tells = set()
        with opened(link) as receiver:  # as the first look of `check`, which sets nothing
            receiver.tuning()
        for _ in range(2):
            with opened(link) as receiver:
                receiver.prepare()
                tells.add(receiver.tells_transmit())
        assert len(tells) == 1
        if model == 1:  # the other dummy has no range to transmit in
            assert tells == {"RIG" in arguments}
        if tells == {False} and model == 1:
            with opened(link) as receiver, pytest.raises(Refused, match="receive_only: true"):
                receiver.is_transmitting()
        with opened(link, receive_only=True) as receiver:
            began = SystemClock().monotonic()
            while SystemClock().monotonic() - began < 0.7:  # longer than hamlib remembers
                receiver.read_power()
                assert not receiver.is_transmitting()
