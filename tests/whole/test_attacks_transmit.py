"""No file keys a transmitter: stations, dialects and boards made to do it, against hamlib's rigctld and every
simulated receiver.

After each attack the receiver is asked whether it transmits. rigctld's dummies obey every command of its protocol
(``-P RIG``), so one that got through shows; the simulated receivers write down what they heard.
"""

import re
import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from drivers.config_files import dialect_file
from drivers.errors import RigError
from sweeper.clock import JumpingClock
from sweeper.daemon.checkup import check_rig
from sweeper.daemon.run.campaign import Campaign
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.station import StationFileError, load
from sweeper.store import Store
from tests.whole.peers import answers, rigctld

pytestmark = pytest.mark.slow
START = datetime(2026, 11, 1, 18, 0, tzinfo=UTC)
bounded = settings(
    derandomize=True,
    deadline=None,
    database=None,
    max_examples=20,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


class Dummy:
    """A rigctld that keys whenever it is told to. One that an attack has ended is started again."""

    def __init__(self, model: int, vfo: bool) -> None:
        self.model = model
        self._arguments = ("-P", "RIG", *(("--vfo",) if vfo else ()))
        self._running = ExitStack()
        self.vfo = " VFOA" if vfo else ""
        self.port = 0
        self.start()

    def start(self) -> None:
        self.stop()
        self.port = self._running.enter_context(rigctld(self.model, arguments=self._arguments))

    def stop(self) -> None:
        self._running.close()

    @property
    def link(self) -> str:
        return f"tcp://127.0.0.1:{self.port}"

    def asks(self, request: bytes) -> bytes:
        """What it answers; nothing where bytes that no client of its own would send have just ended it."""
        with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), timeout=5.0) as client:
            client.sendall(request)
            return client.recv(200)
        return b""

    @property
    def transmits(self) -> bool:
        """Whether it transmits; if so it is let go, for the next attack."""
        give_up = time.monotonic() + 60.0
        # Behind the digit comes whatever the attack may have made its separator.
        while (answer := self.asks(f"t{self.vfo}\n".encode())[:1]) not in (b"0", b"1", b"2", b"3"):
            # The first client of a fresh rigctld is told that there is no such thing.
            assert time.monotonic() < give_up, answer
            if not answers(self.port):
                self.start()  # and with it, its key has ended
            self.asks(f"f{self.vfo}\n".encode())
        if answer != b"0":
            self.asks(f"T{self.vfo} 0\n".encode())
        return answer != b"0"


@pytest.fixture(scope="module", params=["dummy", "dummy without VFOs", "dummy with a VFO on every command"])
def dummy(request: pytest.FixtureRequest) -> Iterator[Dummy]:
    started = Dummy(6 if request.param == "dummy without VFOs" else 1, "every command" in request.param)
    yield started
    started.stop()


@pytest.fixture(scope="module")
def bench() -> Iterator[Served]:
    """A relay board that works, for attacks by the receiver's section."""
    with serve(saltmarsh(), JumpingClock(START), ours=False) as served:
        yield served


def station(receiver: dict[str, Any], switch: dict[str, Any]) -> dict[str, Any]:
    return {
        "station": {"name": "Saltmarsh", "latitude": 56.2, "longitude": 8.1, "environment": "rural"},
        "receiver": {
            "driver": "hamlib",
            "mode": "USB",
            "bandwidth_hz": 2400,
            "settle_s": 0,
            "readings": 1,
            "interval_s": 0,
            "timeout_s": 0.3,
            "reconnect_s": 0,
            "retries": 0,
            "meter": {"unit": "raw"},
        }
        | receiver,
        "switch": {"driver": "modbus", "settle_s": 0.01} | switch,
        "bands": [{"name": "40 m", "channels": [{"hz": 7_038_500, "for": "noise"}]}],
    }


PATHS = {"antenna-bypass": {"0": False, "1": False}, "antenna-stage": {"0": True, "1": False}}


def modbus(link: str, **keys: Any) -> dict[str, Any]:
    return {
        "driver": "modbus",
        "link": link,
        "timeout_s": 0.3,
        "reconnect_s": 0,
        "retries": 1,
        "paths": PATHS,
    } | keys


def attack(folder: Path, content: dict[str, Any], *, measured: bool = False) -> str:
    """What became of a station file: checked as by ``sweeper check``, or one pass run. Nothing may be raised."""
    file = folder / "station.yaml"
    with file.open("w", encoding="utf-8") as out:
        YAML(typ="safe").dump(content, out)
    try:
        loaded = load(file)
    except StationFileError:
        return "refused"
    clock = JumpingClock(START)
    with Store(folder / "data", "Saltmarsh", 8.1) as store:
        if measured:
            return Campaign(loaded, store, clock).attempt().outcome
        return "well" if all(item.well for item in check_rig(loaded, store, clock)) else "not well"


FRAGMENTS = (
    "T 1",
    "USB 0 T 1",
    "USB T 1",
    "\nT 1\n",
    "USB\nT 1",
    "T1",
    "\tT\t1\t",
    "+T 1",
    "\\set_ptt 1",
    "USB\\set_ptt 1",
    "T VFOA 1",
    "fT 1",
    "\x05T 1\n",
    "b CQ",
    "bCQ\n",
    "w TX;",
    "U TUNER 1",
    "G TUNE",
    "\x94 1\n",
    "; T 1",
    "FA;TX;",
    "TX;",
    ";TX;",
    "TX1;",
    "KY CQ;",
    "USB;TX;",
    "1C0001",
    "1C 00 01",
    "FD FE FE 94 E0 1C 00 01",
    "05 0A 54 20 31 0A",
    "05 3B 54 58 3B",
    "54 20 31 0A",
    "05 54 20 31 20 00",
    "FREQ T 1",
    "OUTP ON",
    "DEM T 1",
    "*CLS;OUTP ON",
    "T",
    " 1\n",
    "\r\nT 1\r\n",
    "0",
    "-1 T 1",
    "2 T 1",
    "{mode:word} T 1",
    "{hz:number} T 1",
    "{value:word}",
    "T {value:word}",
    "T {mode:1}",
)
payload = st.one_of(
    st.sampled_from(FRAGMENTS),
    st.tuples(st.sampled_from(FRAGMENTS), st.sampled_from(FRAGMENTS)).map(" ".join),
    st.text(st.sampled_from("T1 \n\t;+X\\ftUSB0\x05"), min_size=1, max_size=12),
)


def test_these_attacks_do_key_a_rigctld_that_hears_them(dummy: Dummy) -> None:
    """Else the rest of this file would prove nothing."""
    for request in (b"+M%s USB 0 T%s 1 2400\n", b"\x05T%s 1\n", b'{"a":T%s 1}\n', b"Content-Type: 1 T%s 1\n"):
        attacked = request.replace(b"%s", dummy.vfo.encode())
        # More than once: what the first clients of a fresh rigctld ask for, it does not know yet.
        assert any(dummy.asks(attacked) and dummy.transmits for _ in range(5)), request
    dummy.start()  # the next tests begin with one that nobody has keyed


def test_a_sound_station_is_checked_and_measured(dummy: Dummy, bench: Served, tmp_path: Path) -> None:
    """Else a refusal of everything would pass for safety."""
    content = station({"link": dummy.link}, modbus(bench.switch_link))
    # The dummy without VFOs stays where it is when it is tuned, and no pass is measured on a dial that does not move.
    assert attack(tmp_path, content, measured=True) == ("failed" if dummy.model == 6 else "done")
    assert attack(tmp_path, content) != "refused"
    assert not dummy.transmits


def test_no_key_of_the_receivers_section_keys_it(dummy: Dummy, bench: Served, tmp_path: Path) -> None:
    for nth, text in enumerate(FRAGMENTS):
        for key in ("mode", ("level", "agc", "rf_gain", "preamp_db", "attenuator_db", "link")[nth % 6]):
            receiver = {"link": dummy.link} | {key: f"{dummy.link}/{text}" if key == "link" else text}
            content = station(receiver, modbus(bench.switch_link))
            if attack(tmp_path, content) != "refused":  # a word, or a number
                assert re.fullmatch("[A-Za-z0-9]+", text.strip())
                attack(tmp_path, content, measured=True)
            assert not dummy.transmits, (key, text)


@pytest.mark.parametrize("text", ["T 1", "0 T 1", "\nT 1\n", "10", "off"])
def test_no_value_of_the_receivers_own_stage_keys_it(dummy: Dummy, tmp_path: Path, text: str) -> None:
    own = {
        "driver": "own-stage",
        "receiver": "hamlib",
        "link": dummy.link,
        "paths": {"antenna-bypass": {"preamplifier": "off"}, "antenna-stage": {"preamplifier": text}},
    }
    for measured in (False, True):
        attack(tmp_path, station({"link": dummy.link}, own), measured=measured)
        assert not dummy.transmits


def a_board(folder: Path, notation: str, on: str, off: str, **more: Any) -> str:
    file = folder / "board.yaml"
    relay = {"on": on, "off": off} | {key: text for key, text in more.items() if text is not None}
    with file.open("w", encoding="utf-8") as out:
        YAML(typ="safe").dump(
            {"source": "made up", "notation": notation, "relays": {"0": relay, "1": relay}}, out
        )
    return str(file)


@bounded
@given(st.sampled_from(["text", "hex"]), payload, payload, st.one_of(st.none(), payload))
def test_no_board_keys_a_receiver_that_its_link_leads_to(
    dummy: Dummy, bench: Served, tmp_path: Path, notation: str, on: str, off: str, confirm: str | None
) -> None:
    if notation == "hex":
        on, off = (text if re.fullmatch("[0-9A-F ]+", text) else text.encode().hex() for text in (on, off))
    table = a_board(tmp_path, notation, on, off, confirms_on=confirm, confirms_off=confirm and confirm + "0")
    board = {
        "driver": "board",
        "dialect": table,
        "timeout_s": 0.1,
        "reconnect_s": 0,
        "retries": 0,
        "paths": PATHS,
    }
    own = station({"link": dummy.link}, board | {"link": f"tcp://localhost:{dummy.port}"})
    assert attack(tmp_path, own) == "refused"
    attack(tmp_path, station({"link": bench.receiver_link}, board | {"link": dummy.link}))
    assert not dummy.transmits


@bounded
@given(
    st.sampled_from(["tcp", "rtu"]),
    st.one_of(st.sampled_from([0x31, 0x54, 0x20, 1]), st.integers(1, 247)),
    st.lists(
        st.one_of(st.sampled_from([0x5431, 0x5420, 0x2054, 0x0A54]), st.integers(0, 65535)),
        min_size=1,
        max_size=3,
    ),
)
def test_no_coil_keys_a_receiver_that_its_link_leads_to(
    dummy: Dummy, bench: Served, tmp_path: Path, framing: str, unit: int, coils: list[int]
) -> None:
    paths = {
        "antenna-bypass": {str(coil): False for coil in coils},
        "antenna-stage": {str(coil): True for coil in coils},
    }
    switch = modbus(dummy.link, framing=framing, unit=unit, paths=paths, timeout_s=0.05)
    attack(tmp_path, station({"link": bench.receiver_link}, switch))
    assert not dummy.transmits


@bounded
@given(payload, payload, payload)
def test_no_web_board_or_broker_keys_a_receiver_that_its_link_leads_to(
    dummy: Dummy, bench: Served, tmp_path: Path, one: str, other: str, third: str
) -> None:
    secret = tmp_path / "password"
    secret.write_text(other)
    paths = {"antenna-bypass": {one: False}, "antenna-stage": {one: True}}
    login = {"user": one, "password_file": str(secret), "timeout_s": 0.1, "paths": paths}
    web = {
        "driver": "http",
        "link": f"http://127.0.0.1:{dummy.port}",
        "set": {"path": f"/{other}?{{relay}}{{state}}", "body": one, "method": "POST"},
        "ask": {"path": f"/{one}", "body": f"{third}\n", "method": "POST", "content_type": other},
    }
    broker = {
        "driver": "mqtt",
        "link": f"mqtt://127.0.0.1:{dummy.port}",
        "set_topic": f"{one}/{{relay}}",
        "state_topic": f"{other}/{{relay}}",
        "on": third,
    }
    for switch in (web, broker):
        for keys in (login, {"timeout_s": 0.1, "paths": paths}):
            attack(tmp_path, station({"link": bench.receiver_link}, switch | keys))
            assert not dummy.transmits


DIALECTS = {"ascii": "ts480", "binary": "ic7300", "scpi": "eb200"}
PLACES = (
    ("frequency", "set"),
    ("frequency", "ask"),
    ("mode", "set"),
    ("mode", "ask"),
    ("meter", "ask"),
    ("identify", "ask"),
    ("transmit", "ask"),
    ("mode", "values", "USB"),
    ("settings", "attenuator", "set"),
    ("settings", "attenuator", "ask"),
    ("settings", "attenuator", "values", "on"),
    ("settings", "attenuator", "values", "off"),
    ("settings", "squelch", "measure"),
)


def a_dialect(folder: Path, family: str, place: tuple[str, ...], text: str, greeting: list[str]) -> str:
    content = YAML(typ="safe").load(dialect_file(DIALECTS[family]))
    content["greeting"] = greeting
    content.pop("identify" if place[0] != "identify" else "", None)
    at = content
    for key in place[:-1]:
        at = at.setdefault(key, {})
    at[place[-1]] = text
    file = folder / "dialect.yaml"
    with file.open("w", encoding="utf-8") as out:
        YAML(typ="safe").dump(content, out)
    return str(file)


@bounded
@given(
    st.sampled_from(sorted(DIALECTS)),
    st.sampled_from(PLACES),
    payload,
    st.lists(payload, max_size=2),
    st.integers(1, 0xDF),
    st.one_of(st.just(20_312_054), st.integers(1, 30_000_000)),  # 54 20 31 20 00 in packed decimal: "T 1"
)
def test_no_dialect_keys_a_receiver_behind_hamlib(
    dummy: Dummy,
    bench: Served,
    tmp_path: Path,
    family: str,
    place: tuple[str, ...],
    text: str,
    greeting: list[str],
    address: int,
    hz: int,
) -> None:
    for greets in (greeting, []):
        file = a_dialect(tmp_path, family, place, text, greets)
        receiver = {
            "driver": "dialect",
            "dialect": file,
            "link": dummy.link,
            "timeout_s": 0.05,
        }
        content = station(receiver | {"address": address}, modbus(bench.switch_link))
        content["bands"][0]["channels"][0]["hz"] = hz
        attack(tmp_path, content)
        assert not dummy.transmits


SPEAKS = {
    "ts480": "ts480",
    "ts590s": "ts590s",
    "k3": "k3",
    "icr75": "icr75",
    "ic7300": "ic7300",
    "icr8600": "icr8600",
}
FAMILY = {"ts480": "ascii", "ts590s": "ascii", "k3": "ascii", "scpi": "scpi"}


@pytest.fixture(scope="module", params=["rigctl-net", *SPEAKS, "scpi"])
def simulated(request: pytest.FixtureRequest) -> Iterator[tuple[str, Served]]:
    with serve(
        saltmarsh(), JumpingClock(START), receiver=request.param, receiver_over="tcp", ours=False
    ) as served:
        yield request.param, served


@settings(bounded, max_examples=10)
@given(st.sampled_from(PLACES), payload, st.lists(payload, max_size=2))
def test_no_dialect_tells_a_receiver_of_its_own_family_anything_but_what_is_on_the_list(
    simulated: tuple[str, Served], tmp_path: Path, place: tuple[str, ...], text: str, greeting: list[str]
) -> None:
    kind, served = simulated
    family = FAMILY.get(kind, "binary")
    for greets in (greeting, []):
        if kind == "rigctl-net":
            receiver = {"link": served.receiver_link, "mode": text}
        else:
            file = a_dialect(tmp_path, family, place, text, greets)
            address = {"address": served.instrument.model.address} if family == "binary" else {}  # type: ignore[union-attr]
            receiver = {"driver": "dialect", "dialect": file, "link": served.receiver_link, **address}
        attack(tmp_path, station(receiver, modbus(served.switch_link)))
    assert served.receiver_log.forbidden == []


@settings(bounded, max_examples=10)
@given(st.sampled_from(["text", "hex"]), payload, payload)
def test_no_board_keys_a_simulated_receiver(
    simulated: tuple[str, Served], bench: Served, tmp_path: Path, notation: str, on: str, off: str
) -> None:
    kind, served = simulated
    if notation == "hex":
        on, off = (text if re.fullmatch("[0-9A-F ]+", text) else text.encode().hex() for text in (on, off))
    board = {"driver": "board", "dialect": a_board(tmp_path, notation, on, off), "link": served.receiver_link}
    board |= {"timeout_s": 0.05, "reconnect_s": 0, "retries": 0, "paths": PATHS}
    attack(tmp_path, station({"link": bench.receiver_link}, board))
    heard = list(served.receiver_log.forbidden)
    served.receiver_log.forbidden.clear()
    assert not [each for each in heard if keys(kind, each)]


def keys(kind: str, command: bytes) -> bool:
    """Whether a command that a simulated receiver heard would have keyed the real one."""
    if kind == "rigctl-net":
        return re.search(rb"(^|\s)\+?(T\s*[+-]?[0-9]|\\set_ptt)", command) is not None
    if FAMILY.get(kind) == "ascii":
        return re.match(rb"\W*(TX|KY|TQ1|VX1|AC|PB|SW)", command) is not None
    return (
        kind != "scpi"
        and re.match(rb"(\x1c[\x00\x01]|\x17|\x28)", command[4:-1]) is not None
        and len(command) > 7
    )


def test_a_saved_state_that_was_tampered_with_keys_nothing(
    dummy: Dummy, bench: Served, tmp_path: Path
) -> None:
    receiver = {"link": dummy.link}
    file = tmp_path / "station.yaml"
    with file.open("w", encoding="utf-8") as out:
        YAML(typ="safe").dump(station(receiver, modbus(bench.switch_link)), out)
    loaded, clock = load(file), JumpingClock(START)
    for value in (*FRAGMENTS[::4], "7038500 T 1", ["T 1"], {"T": 1}, 1e300, -1, None, True):
        for saved in (
            {"tuning": {"hz": value, "mode": "USB", "bandwidth_hz": 2400}},
            {"tuning": {"hz": 7_038_500, "mode": value, "bandwidth_hz": 2400}},
            {"tuning": {"hz": 7_038_500, "mode": "USB", "bandwidth_hz": value}},
            {"tuning": value, "AGC": value, "RF": value, "NB": value, "CACHE": value, "PREAMP": value},
            {"tuning": {}},
        ):
            with Store(tmp_path / "data", "Saltmarsh", 8.1) as store, suppress(RigError):
                store.remember_all({"receiver-as-found": saved, "in-hand": {"pass": value, "started": value}})
                Campaign(loaded, store, clock).settle()
    assert not dummy.transmits


def test_the_attacks_end() -> None:
    """Neighbouring words in a dialect once cost eleven times as much each."""
    from drivers.protocols.template import parse

    with pytest.raises(ValueError, match="blank, a comma or a semicolon"):
        parse("".join(f"{{{name}:word}}" for name in "abcdefgh"), binary=False)
    sound = parse(" ".join(f"{{{name}:word}}" for name in "abcdefgh"), binary=False)
    began = time.process_time()
    for _ in range(100):
        sound.decode(b"x" * 4000)
        sound.decode(b"x " * 2000)
    assert time.process_time() - began < 1.0
