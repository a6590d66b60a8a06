"""The simulated station on its wires: the receiver hears what the relays feed it, and faults are faults."""

import contextlib
import socket
from collections.abc import Iterator
from dataclasses import replace

import pytest
import serial

from sweeper.clock import JumpingClock
from sweeper.simulation import Served, World, saltmarsh, serve
from sweeper.simulation.receivers.meter_tables import IC7300, ICR75, K3_FINE, TS480, dots


@contextlib.contextmanager
def served_on_tcp(clock: JumpingClock | None = None) -> Iterator[tuple[Served, socket.socket]]:
    world = saltmarsh()
    with serve(world, clock or JumpingClock(world.first_evening)) as served:
        host, port = served.receiver_link.removeprefix("tcp://").split(":")
        with socket.create_connection((host, int(port)), timeout=5.0) as client:
            yield served, client


def ask(client: socket.socket, line: bytes) -> bytes:
    client.sendall(line + b"\n")
    return client.recv(4096)


def strength_db(client: socket.socket) -> int:
    return int(ask(client, b"l STRENGTH"))


def test_the_receiver_hears_what_the_relays_feed_it() -> None:
    clock = JumpingClock(saltmarsh().first_evening)
    with served_on_tcp(clock) as (served, client):
        ask(client, b"F 7038500")
        ask(client, b"M USB 2400")
        levels = {}
        for path, coils in {"antenna-bypass": (0, 0), "antenna-stage": (1, 0), "load-stage": (1, 1)}.items():
            for number, on in enumerate(coils):
                served.board.set_coil(number, bool(on))
            assert served.board.path == path
            clock.sleep(0.5)
            levels[path] = strength_db(client)
        assert levels["antenna-stage"] - levels["antenna-bypass"] == pytest.approx(15, abs=2)
        assert levels["load-stage"] < levels["antenna-stage"] - 5


def test_the_needle_stands_still_while_time_does() -> None:
    clock = JumpingClock(saltmarsh().first_evening)
    with served_on_tcp(clock) as (served, _):
        clock.sleep(1.0)
        assert len({served.receiver.level_db() for _ in range(10)}) == 1
        clock.sleep(0.05)
        assert len({served.receiver.level_db(), served.receiver.level_db()}) == 1


def test_the_agc_needs_its_time_after_the_relays_moved() -> None:
    clock = JumpingClock(saltmarsh().first_evening)
    with served_on_tcp(clock) as (served, _):
        served.receiver.turn_dial(7_038_500, "USB")
        clock.sleep(1.0)
        before_db = served.receiver.level_db()
        served.board.set_coil(0, True)
        clock.sleep(0.002)
        moving_db = served.receiver.level_db()
        clock.sleep(0.2)
        assert moving_db < before_db + 3.0  # contacts on their way, the needle with them
        assert served.receiver.level_db() > before_db + 12.0


def test_a_pad_in_the_receiver_lowers_a_strong_signal_by_its_value_and_the_floor_not_at_all() -> None:
    clock = JumpingClock(saltmarsh().first_evening)
    with served_on_tcp(clock) as (served, client):
        levels = {}
        for where, coils in {"carrier": (False, False), "load": (False, True)}.items():
            served.board.set_coil(1, coils[1])
            for loss_db in (0, 12):
                ask(client, b"L ATT %d" % loss_db)
                served.receiver.turn_dial(215_000, "USB")
                clock.sleep(1.0)
                readings = []
                for _ in range(40):
                    clock.sleep(0.1)
                    readings.append(served.receiver.level_db())
                levels[where, loss_db] = sum(readings) / len(readings)
        assert levels["carrier", 0] - levels["carrier", 12] == pytest.approx(12.0, abs=0.5)
        assert levels["load", 0] - levels["load", 12] == pytest.approx(0.0, abs=0.3)


def test_slow_agc_takes_longer_than_a_visit_settles() -> None:
    clock = JumpingClock(saltmarsh().first_evening)
    with served_on_tcp(clock) as (served, client):
        served.receiver.turn_dial(216_000 - 1000, "USB")
        clock.sleep(30.0)
        served.receiver.level_db()
        ask(client, b"L AGC 3")
        served.board.set_coil(1, True)
        clock.sleep(0.15)
        lagging_db = served.receiver.level_db()
        clock.sleep(30.0)
        assert lagging_db > served.receiver.level_db() + 20.0


def test_gain_turned_back_holds_the_needle_up() -> None:
    clock = JumpingClock(saltmarsh().first_evening)
    with served_on_tcp(clock) as (served, client):
        served.receiver.turn_dial(28_070_000, "USB")
        ask(client, b"L RF 0.5")
        clock.sleep(1.0)
        assert strength_db(client) == -10


def with_meter(**changes: float) -> World:
    scenario = saltmarsh().scenario
    return World(replace(scenario, receiver=replace(scenario.receiver, **changes)))


def test_a_meter_in_s_units_steps_by_six_decibels() -> None:
    # IARU Region 1 Technical Recommendation R.1: 6 dB per S-unit, S9 at 50 microvolts, so S0 at -54 dB.
    world = with_meter(step_db=6.0, floor_db=-54.0)
    clock = JumpingClock(world.first_evening)
    with serve(world, clock) as served:
        shown = set()
        for hz in range(1_900_000, 29_000_000, 900_000):
            served.receiver.turn_dial(hz, "USB")
            clock.sleep(1.0)
            shown.add(served.receiver.strength_db())
        assert len(shown) > 2
        assert all(level_db % 6 == 0 and level_db >= -54 for level_db in shown)


def test_a_receiver_that_keeps_its_reading_for_a_while_repeats_it() -> None:
    world = with_meter(refresh_s=0.5)
    clock = JumpingClock(world.first_evening)
    with serve(world, clock) as served:
        readings = []
        for _ in range(20):
            clock.sleep(0.1)
            readings.append(served.receiver.level_db())
        assert len(set(readings)) <= 5


def test_the_meter_stops_at_its_top() -> None:
    world = with_meter(top_db=-30.0)
    clock = JumpingClock(world.first_evening)
    with serve(world, clock) as served:
        served.receiver.turn_dial(215_000, "USB")
        clock.sleep(1.0)
        assert served.receiver.level_db() > -25.0
        assert served.receiver.strength_db() == -30.0


def test_a_relay_that_sticks_stays_where_it_lies() -> None:
    with served_on_tcp() as (served, _):
        served.board.stick(1)
        served.board.set_coil(1, True)
        assert served.board.path == "antenna-bypass"
        served.board.loosen(1)
        served.board.set_coil(1, True)
        assert served.board.path == "load-bypass"


def test_a_meter_that_froze_shows_one_value() -> None:
    clock = JumpingClock(saltmarsh().first_evening)
    with served_on_tcp(clock) as (served, client):
        clock.sleep(1.0)
        strength_db(client)
        served.receiver.frozen = True
        shown = set()
        for hz in (215_000, 7_204_000, 28_070_000):
            served.receiver.turn_dial(hz, "USB")
            clock.sleep(1.0)
            shown.add(strength_db(client))
        assert len(shown) == 1


def test_a_refused_frequency_leaves_the_dial_alone() -> None:
    with served_on_tcp() as (served, client):
        served.receiver.refused_hz.add(9_396_000)
        before = served.receiver.hz
        assert ask(client, b"F 9396000") == b"RPRT -9\n"
        assert ask(client, b"F 99000000") == b"RPRT -9\n"
        assert served.receiver.hz == before


def test_faults_spend_themselves() -> None:
    with served_on_tcp() as (served, client):
        faults = served.faults.receiver
        faults.garble()
        assert ask(client, b"f") != b"7074000\n"
        assert ask(client, b"f") == b"7074000\n"
        faults.drop()
        client.settimeout(0.2)
        with pytest.raises(TimeoutError):
            ask(client, b"f")
        client.settimeout(5.0)
        assert ask(client, b"f") == b"7074000\n"
        faults.merge()
        client.sendall(b"f\n")
        client.sendall(b"t\n")
        merged = b""
        while merged.count(b"\n") < 2:
            merged += client.recv(4096)
        assert merged == b"7074000\n0\n"
        faults.split()
        assert ask(client, b"f") + client.recv(100) == b"7074000\n"
        faults.close()
        client.sendall(b"f\n")
        assert client.recv(100) == b""
        assert faults.spent


def test_a_fault_comes_at_its_moment() -> None:
    with served_on_tcp() as (served, client):
        served.receiver_log.when("meter", served.faults.receiver.garble, nth=2)
        served.receiver_log.when("tune", lambda: served.receiver.turn_dial(1_000_000))
        good = ask(client, b"l STRENGTH")
        assert ask(client, b"f") == b"7074000\n"
        assert ask(client, b"l STRENGTH") != good
        assert ask(client, b"F 5000000") == b"RPRT 0\n"
        assert served.receiver_log.waiting == 0


def test_an_unplugged_adapter_comes_back_under_its_name() -> None:
    world = saltmarsh()
    with serve(world, JumpingClock(world.first_evening), receiver="ts480") as served:
        with serial.Serial(served.receiver_link, timeout=5.0) as port:
            port.write(b"FA;")
            assert port.read_until(b";") == b"FA00007074000;"
            served.faults.receiver.unplug()
            with pytest.raises((OSError, serial.SerialException)):
                while True:
                    port.write(b"FA;")
                    port.read(1)
        with pytest.raises((OSError, serial.SerialException)):
            serial.Serial(served.receiver_link)
        served.faults.receiver.plug()
        with serial.Serial(served.receiver_link, timeout=5.0) as port:
            port.write(b"ID;")
            assert port.read_until(b";") == b"ID020;"


def test_what_keys_a_transmitter_is_refused_and_written_down() -> None:
    world = saltmarsh()
    for receiver, command in {
        "rigctl-net": b"T 1\n",
        "ts480": b"TX;",
        "k3": b"KYhello;",
        "ic7300": bytes.fromhex("fefe94e01c0001fd"),
    }.items():
        with serve(world, JumpingClock(world.first_evening), receiver=receiver, ours=False) as served:
            feed = served.instrument.session(lambda reply: None)
            feed(command)
            assert not served.receiver.transmitting
            assert len(served.forbidden) == 1, receiver


def test_the_log_keeps_bounded_memory() -> None:
    with served_on_tcp() as (served, _):
        for n in range(30_000):
            served.receiver_log.note(b"F %d" % (7_000_000 + n))
        assert served.receiver_log.count >= 30_000
        assert len(served.receiver_log.last(100_000)) == 10_000


def test_nothing_is_served_under_a_name_that_nobody_knows() -> None:
    world = saltmarsh()
    with (
        pytest.raises(ValueError, match="rigctl-net"),
        serve(world, JumpingClock(world.first_evening), receiver="x"),
    ):
        pass


@pytest.mark.parametrize("table", [TS480, ICR75, IC7300, K3_FINE])
def test_a_meter_shows_its_tables_points_and_never_falls_while_the_level_rises(table) -> None:
    assert all(dots(table, level_db) == count for count, level_db in table)
    shown = [dots(table, tenth / 10) for tenth in range(-800, 800)]
    assert shown == sorted(shown)
