"""The dialect driver on the simulated receivers' real wires: what it sets, reads back, refuses and puts back."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from pydantic import ValidationError

from drivers.config_files import dialect_file
from drivers.errors import BadReply, LinkTimeout, Refused, Stuck, Transmitting
from drivers.receivers.dialect import DRIVER, DialectReceiver, Options
from sweeper.simulation import Served, saltmarsh, serve
from tests.clocks import evening

pytestmark = pytest.mark.wires

DIALECTS = {name: name for name in ("ts480", "ts590s", "k3", "icr75", "ic7300", "icr8600")} | {
    "scpi": "eb200"
}
TRANSCEIVERS = ("ts480", "ts590s", "k3", "ic7300")


@contextmanager
def station(kind: str, **keys: object) -> Iterator[tuple[Served, DialectReceiver]]:
    with serve(saltmarsh(), evening(), receiver=kind) as served:
        options = {"link": served.receiver_link, "dialect": DIALECTS[kind], "timeout_s": 1.0, **keys}
        receiver = DRIVER.open(Options.model_validate(options))
        try:
            yield served, receiver
        finally:
            receiver.close()
        assert not served.receiver_log.forbidden


@pytest.mark.parametrize("kind", DIALECTS)
def test_a_receiver_is_left_as_it_was_found(kind: str) -> None:
    with station(kind) as (_, receiver):
        found = receiver.remember()
        unknown = receiver.prepare()
        assert unknown == (("pass band",) if kind in ("ts480", "ts590s") else ())
        receiver.set_mode("CW", 500)
        receiver.tune(10_120_000)
        receiver.restore(found)
        assert receiver.remember() == found


@pytest.mark.parametrize("kind", DIALECTS)
def test_the_meter_is_put_into_a_known_state_and_back(kind: str) -> None:
    key, other = {
        "ts480": ("agc", "slow"),
        "ts590s": ("agc", "slow"),
        "k3": ("agc", "slow"),
        "icr75": ("agc", "slow"),
        "ic7300": ("noise-blanker", "on"),
        "icr8600": ("squelch", "0100"),
        "scpi": ("gain-control", "fixed"),
    }[kind]
    with station(kind) as (_, receiver):
        receiver.control(key).bring_to(other)
        found = receiver.remember()
        assert found[key] == other
        receiver.prepare()
        assert receiver.remember()[key] != other
        receiver.restore(found)
        assert receiver.remember()[key] == other


@pytest.mark.parametrize("kind", TRANSCEIVERS)
def test_no_reading_is_taken_while_the_receiver_transmits(kind: str) -> None:
    with station(kind) as (served, receiver):
        receiver.read_power()
        served.receiver.transmitting = True
        with pytest.raises(Transmitting):
            receiver.read_power()
        assert receiver.is_transmitting()


@pytest.mark.parametrize("kind", DIALECTS)
def test_a_frequency_beyond_its_range_never_reaches_the_receiver(kind: str) -> None:
    with station(kind) as (served, receiver):
        before = served.receiver.hz
        with pytest.raises(Refused, match="outside its range"):
            receiver.tune(9_000_000_000)
        assert served.receiver.hz == before


@pytest.mark.parametrize("kind", DIALECTS)
def test_a_frequency_that_the_receiver_refuses_is_told(kind: str) -> None:
    with station(kind) as (served, receiver):
        served.receiver.refused_hz.add(7_038_500)
        with pytest.raises(Refused):
            receiver.tune(7_038_500)


def test_a_mode_may_be_written_in_small_letters() -> None:
    with station("k3") as (_, receiver):
        receiver.set_mode("usb", 2400)
        assert receiver.tuning().mode == "USB"


@pytest.mark.parametrize("kind", DIALECTS)
def test_a_mode_it_does_not_have_is_told_with_those_it_has(kind: str) -> None:
    with station(kind) as (_, receiver), pytest.raises(Refused, match="USB"):
        receiver.set_mode("SSTV", 2400)


@pytest.mark.parametrize(
    ("kind", "fault"),
    [(kind, fault) for kind in DIALECTS for fault in ("garble", "split", "noise")]
    + [(kind, fault) for kind in ("ts480", "ic7300", "scpi") for fault in ("drop", "truncate")],
)
def test_one_fault_on_the_wire_costs_a_repeat_and_no_reading(kind: str, fault: str) -> None:
    with station(kind) as (served, receiver):
        receiver.tune(7_038_500)
        getattr(served.faults.receiver, fault)()
        assert receiver.frequency_hz() == 7_038_500
        receiver.read_power()


@pytest.mark.parametrize("kind", ["ts480", "ic7300", "scpi"])
def test_a_receiver_that_says_nothing_is_told_after_its_deadline(kind: str) -> None:
    with station(kind, timeout_s=0.4) as (served, receiver):
        served.faults.receiver.hang()
        with pytest.raises(LinkTimeout, match="nothing came back"):
            receiver.frequency_hz()
        served.faults.receiver.mend()
        receiver.frequency_hz()


def test_another_receiver_than_the_dialects_is_not_measured() -> None:
    with serve(saltmarsh(), evening(), receiver="ts480") as served:
        with pytest.raises(BadReply, match="dialect"):
            DRIVER.open(Options(link=served.receiver_link, dialect="k3"))
        assert not served.receiver_log.forbidden


def test_a_setting_of_the_station_file_is_what_it_is_measured_with() -> None:
    with station("ic7300", settings={"preamplifier": "first", "attenuator": False}) as (_, receiver):
        assert receiver.prepare() == ()
        assert receiver.control("preamplifier").value() == "first"
        assert receiver.control("attenuator").value() == "off"


def test_what_cannot_be_put_back_is_told_by_its_name() -> None:
    with station("ic7300") as (served, receiver):
        found = receiver.remember()
        served.instrument.settings.pop(b"\x16\x22")
        with pytest.raises(Stuck, match="noise blanker"):
            receiver.restore(found)


def test_what_cannot_be_known_is_named_before_measuring() -> None:
    with station("ic7300") as (served, receiver):
        served.instrument.settings.pop(b"\x16\x12")
        assert receiver.prepare() == ("AGC",)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"dialect": "ts4800"}, "At hand: .*ts480"),
        ({"dialect": "ts480", "settings": {"preamp": "on"}}, "preamplifier"),
        ({"dialect": "ts480", "settings": {"agc": "medium"}}, "fast"),
        ({"dialect": "ts480", "settings": {"agc": "fast"}, "colour": "red"}, "colour"),
    ],
)
def test_mistakes_in_the_station_file_are_told_with_what_would_be_right(
    keys: dict[str, object], told: str
) -> None:
    with pytest.raises(ValidationError, match=told):
        Options.model_validate({"link": "/dev/ttyUSB0", **keys})


def test_ones_own_dialect_is_a_path_to_a_file(tmp_path) -> None:
    mine = tmp_path / "mine.yaml"
    mine.write_text(dialect_file("k3").read_text().replace('"017"', '"020"'))
    with serve(saltmarsh(), evening(), receiver="ts480") as served:
        receiver = DRIVER.open(Options(link=served.receiver_link, dialect=str(mine)))
        receiver.tune(7_038_500)
        assert served.receiver.hz == 7_038_500
        receiver.close()


def test_a_mode_that_the_dialect_has_no_name_for_is_put_back_all_the_same(tmp_path) -> None:
    mine = tmp_path / "mine.yaml"
    mine.write_text(dialect_file("ic7300").read_text().replace('CW: "03", ', ""))
    with serve(saltmarsh(), evening(), receiver="ic7300") as served:
        served.receiver.turn_dial(7_010_000, "CW")
        receiver = DRIVER.open(Options(link=served.receiver_link, dialect=str(mine)))
        found = receiver.remember()
        receiver.set_mode("USB", 2400)
        receiver.tune(7_038_500)
        receiver.restore(found)
        receiver.close()
        assert (served.receiver.hz, served.receiver.mode) == (7_010_000, "CW")


def test_the_filter_is_put_back_by_its_number() -> None:
    with station("ic7300") as (_, receiver):
        receiver.set_mode("USB", 3000)
        found = receiver.remember()
        assert found["tuning"]["width"] == "01"
        receiver.set_mode("USB", 1800)
        receiver.restore(found)
        assert receiver.tuning().bandwidth_hz == 3000


def test_a_transceiver_whose_transmit_state_nobody_wrote_down_is_named(tmp_path) -> None:
    mine = tmp_path / "mine.yaml"
    lines = dialect_file("ic7300").read_text().splitlines(keepends=True)
    mine.write_text("".join(line for line in lines if not line.startswith("transmit:")))
    with serve(saltmarsh(), evening(), receiver="ic7300") as served:
        receiver = DRIVER.open(Options(link=served.receiver_link, dialect=str(mine)))
        assert receiver.prepare() == ("transmit state",)
        receiver.close()
