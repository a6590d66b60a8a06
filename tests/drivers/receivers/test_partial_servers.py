"""The hamlib driver against programs that speak a part of the protocol, each kind on a real wire."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from drivers.errors import BadReply, LinkTimeout, Refused, Transmitting, Unsupported
from drivers.receivers.hamlib import DRIVER, HamlibReceiver, Options
from sweeper.simulation import Served, saltmarsh, serve
from tests.clocks import evening

pytestmark = pytest.mark.wires

WITHOUT_LISTS = {"squelch", "RF gain", "AGC", "noise blanker", "second noise blanker", "noise reduction"}


@contextmanager
def simulated(kind: str, **keys: object) -> Iterator[tuple[Served, HamlibReceiver]]:
    with serve(saltmarsh(), evening(), receiver=kind) as served:
        options = Options.model_validate({"link": served.receiver_link, "timeout_s": 0.5, **keys})
        receiver = DRIVER.open(options)
        try:
            yield served, receiver
        finally:
            receiver.close()
        assert not served.receiver_log.forbidden


@pytest.mark.parametrize(
    ("kind", "keys"),
    [("net-plain", {"receive_only": True}), ("net-no-state", {}), ("net-silent", {})],
)
def test_a_program_that_speaks_a_part_is_measured_with_and_left_as_it_was(
    kind: str, keys: dict[str, object]
) -> None:
    with simulated(kind, **keys) as (served, receiver):
        assert receiver.identify()
        found = receiver.remember()
        assert "hamlib's memory of the dial" in receiver.prepare()
        receiver.set_mode("USB", 2400)
        receiver.tune(7_038_500)
        tuning = receiver.tuning()
        assert (tuning.hz, tuning.mode, tuning.bandwidth_hz) == (7_038_500, "USB", 2400)
        assert receiver.frequency_hz() == 7_038_500
        assert -140 <= receiver.read_power() <= 60
        assert not receiver.is_transmitting()
        receiver.restore(found)
        assert (served.receiver.hz, served.receiver.mode) == (7_074_000, "LSB")


def test_what_has_no_list_is_asked_for_and_what_is_not_there_is_named() -> None:
    with simulated("net-no-state") as (served, receiver):
        served.instrument.levels["AGC"] = 3.0
        unknown = set(receiver.prepare())
        assert served.instrument.levels["AGC"] == 2.0
        assert unknown >= WITHOUT_LISTS - {"AGC", "RF gain"}
        assert not unknown & {"AGC", "RF gain", "preamplifier", "attenuator"}


def test_without_word_of_a_transmitter_a_person_has_to_vouch_for_it() -> None:
    with simulated("net-plain") as (_, receiver):
        receiver.tuning()
        for ask in (receiver.is_transmitting, receiver.read_power):
            with pytest.raises(Refused, match="receive_only: true"):
                ask()


def test_a_program_without_a_meter_is_told_in_one_sentence() -> None:
    with pytest.raises(Unsupported, match="this server has no meter"), simulated("net-no-level"):
        pass


def test_strength_in_tenths_below_full_scale_comes_as_it_is() -> None:
    with simulated("net-plain", receive_only=True) as (served, receiver):
        served.receiver.frozen = True
        expected = round(served.receiver.level_db() - 60.0, 1)
        assert receiver.read_power() == pytest.approx(expected, abs=1e-9)


def test_a_transmission_on_either_side_of_a_reading_is_seen() -> None:
    with simulated("net-no-state") as (served, receiver):
        served.receiver_log.when("meter", lambda: setattr(served.receiver, "transmitting", True))
        with pytest.raises(Transmitting):
            receiver.read_power()
        served.receiver.transmitting = False


@pytest.mark.parametrize("kind", ["net-plain", "net-no-state"])
@pytest.mark.parametrize("fault", ["drop", "garble", "split", "merge", "noise", "truncate", "close"])
def test_one_fault_on_the_wire_costs_a_repeat_and_no_reading(kind: str, fault: str) -> None:
    with simulated(kind, receive_only=True) as (served, receiver):
        served.receiver.frozen = True
        true = receiver.read_power()
        for ask, answer in ((receiver.read_power, true), (receiver.frequency_hz, 7_074_000)):
            getattr(served.faults.receiver, fault)()
            assert ask() == answer
        getattr(served.faults.receiver, fault)()
        receiver.tune(7_038_500)
        assert served.receiver.hz == 7_038_500
        served.faults.receiver.mend()


@pytest.mark.parametrize("kind", ["rigctl-net", "net-plain", "net-no-state"])
@pytest.mark.parametrize("fault", ["drop", "garble", "split", "noise", "truncate", "close"])
@pytest.mark.parametrize("nth", range(4))
def test_a_fault_while_it_is_found_out_what_there_is_costs_no_more(kind: str, fault: str, nth: int) -> None:
    with serve(saltmarsh(), evening(), receiver=kind) as served:
        count = 0
        original = served.receiver_log.note

        def note(command: bytes) -> None:
            nonlocal count
            if count == nth:
                getattr(served.faults.receiver, fault)()
            count += 1
            original(command)

        served.receiver_log.note = note  # type: ignore[method-assign]
        options = Options(link=served.receiver_link, timeout_s=0.3, receive_only=True)
        receiver = DRIVER.open(options)
        try:
            served.receiver.frozen = True
            assert receiver.read_power() == receiver.read_power()
            assert receiver.frequency_hz() == 7_074_000
        finally:
            receiver.close()


def test_a_server_that_answers_nothing_or_something_else_is_told() -> None:
    with serve(saltmarsh(), evening()) as served:
        served.faults.receiver.hang()
        with pytest.raises(LinkTimeout):
            DRIVER.open(Options(link=served.receiver_link, timeout_s=0.1))
    with (
        serve(saltmarsh(), evening(), switch="http") as served,
        pytest.raises((BadReply, LinkTimeout)),
    ):
        DRIVER.open(Options(link=served.switch_link.replace("http:", "tcp:"), timeout_s=0.1))
