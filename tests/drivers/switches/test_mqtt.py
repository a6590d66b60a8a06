"""A relay board behind a real broker, mosquitto, with retained states, passwords and certificates."""

import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator

import pytest
import trustme
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from pydantic import ValidationError

from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused, Stuck
from drivers.switches.mqtt import DRIVER, MqttOptions
from tests.drivers.switches.conftest import DEADLINE_S, free_port
from tests.drivers.switches.mosquitto import broker, wait_for

USER, PASSWORD = "saltmarsh", "dunlin"
PATHS = {
    "antenna-bypass": {"k1": "off", "k2": "off"},
    "antenna-stage": {"k1": "on", "k2": "off"},
    "load-bypass": {"k1": "off", "k2": "on"},
}


class Board:
    """Two relays that listen to relays/N/set and retain relays/N/state; relays/alive is their last will."""

    def __init__(self, port: int, user: str | None = None, password: str | None = None, tls=None) -> None:
        self.stands = {"k1": "OFF", "k2": "OFF"}
        self.stuck: set[str] = set()
        self.deaf = False
        self.moves_s = 0.0
        self.heard: list[tuple[str, str]] = []
        self._ready = threading.Event()
        self.client = Client(CallbackAPIVersion.VERSION2)
        if user is not None:
            self.client.username_pw_set(user, password)
        if tls is not None:
            self.client.tls_set(tls)
        self.client.will_set("relays/alive", "offline", qos=1, retain=True)
        self.client.on_connect = lambda client, *_: client.subscribe("relays/+/set", 1)
        self.client.on_subscribe = self._tell_all
        self.client.on_message = self._obey
        self.client.connect("localhost" if tls else "127.0.0.1", port)
        self.client.loop_start()
        assert self._ready.wait(DEADLINE_S)

    def _tell_all(self, *_) -> None:
        self.client.publish("relays/alive", "online", qos=1, retain=True)
        for relay in self.stands:
            self.tell(relay)
        self._ready.set()

    def tell(self, relay: str) -> None:
        self.client.publish(f"relays/{relay}/state", self.stands[relay], qos=1, retain=True)

    def _obey(self, _client, _data, message) -> None:
        relay = message.topic.split("/")[1]
        self.heard.append((relay, message.payload.decode()))
        if self.deaf:
            return
        time.sleep(self.moves_s)
        if relay not in self.stuck:
            self.stands[relay] = message.payload.decode()
        self.tell(relay)

    def stop(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def section(port: int, **more) -> dict:
    return {
        "link": f"mqtt://127.0.0.1:{port}",
        "set_topic": "relays/{relay}/set",
        "state_topic": "relays/{relay}/state",
        "paths": PATHS,
        "timeout_s": 3,
    } | more


def opened(port: int, **more):
    return DRIVER.open(MqttOptions.model_validate(section(port, **more)))


@pytest.fixture
def port(tmp_path) -> Iterator[int]:
    with broker(tmp_path, "allow_anonymous true") as listening:
        yield listening


@pytest.fixture
def board(port: int) -> Iterator[Board]:
    far_end = Board(port)
    yield far_end
    far_end.stop()


@pytest.fixture
def switch(port: int, board: Board):
    near_end = opened(port)
    yield near_end
    near_end.close()


def test_every_path_is_set_and_told_back(switch, board):
    for path in [*PATHS, *reversed(PATHS)]:
        switch.select(path)
        assert switch.selected() == path
    assert switch.select("antenna-stage") == 1
    assert board.stands == {"k1": "ON", "k2": "OFF"}


def test_retained_states_are_known_before_anything_is_set(port, board, switch):
    switch.select("load-bypass")
    board.heard.clear()
    another = opened(port)
    assert another.selected() == "load-bypass"
    assert another.select("load-bypass") == 0
    assert board.heard == []
    another.close()


def test_relays_let_go_before_others_pull_in(switch, board):
    switch.select("load-bypass")
    board.heard.clear()
    switch.select("antenna-stage")
    assert board.heard == [("k2", "OFF"), ("k1", "ON")]


def test_a_relay_that_stays_is_told(switch, board):
    board.stuck.add("k1")
    with pytest.raises(Stuck, match="relay k1 was told to be on and reads off"):
        switch.select("antenna-stage")


@pytest.mark.slow
def test_an_old_retained_state_is_no_answer_to_a_new_command(switch, board):
    switch.select("antenna-stage")
    board.deaf = True
    with pytest.raises(LinkTimeout, match="nobody told that relay k1 moved"):
        switch.select("antenna-bypass")


def test_what_the_broker_repeats_is_no_answer_to_a_command_either(switch, board):
    """MQTT 3.1.1, 3.3.1.3: what is repeated for who subscribes bears the retain flag; what is told anew does not."""
    board.moves_s = 0.3
    switch._board._subscribe(
        switch._board._client
    )  # as after states that were missing; repeated before k1 moves
    assert switch.select("antenna-stage") == 1
    assert switch.selected() == "antenna-stage"


def test_a_hand_at_the_board_shows_in_the_read_back(switch, board):
    switch.select("antenna-stage")
    board.stands["k1"] = "OFF"
    board.tell("k1")
    wait_for(lambda: switch.selected() == "antenna-bypass", "the new state never came")


@pytest.mark.slow
def test_a_dead_board_is_not_believed_where_it_has_a_last_will(port, board):
    switch = opened(port, alive={"topic": "relays/alive", "says": "online"})
    assert switch.selected() == "antenna-bypass"
    board.client.socket().shutdown(socket.SHUT_RDWR)  # dies without a word; the broker tells its last will
    board.client.loop_stop()
    wait_for(lambda: is_dead(switch), "the last will never came")
    switch.close()


def is_dead(switch) -> bool:
    try:
        switch.selected()
    except LinkTimeout:
        return True
    return False


def test_a_board_that_retains_nothing_is_told(port):
    with pytest.raises(LinkTimeout, match="retain its states"):
        opened(port, timeout_s=0.2)


def test_a_state_in_other_words_is_told(switch, board):
    board.stands["k1"] = "jammed"
    board.tell("k1")
    wait_for(lambda: in_other_words(switch), "the word never came")


def in_other_words(switch) -> bool:
    try:
        switch.selected()
    except BadReply as fault:
        return "jammed" in str(fault)
    return False


def test_no_broker_is_told():
    with pytest.raises(LinkLost, match="cannot be reached"):
        opened(free_port())


def test_a_broker_that_goes_away_is_told_and_found_again_when_it_is_back(tmp_path):
    with broker(tmp_path, "allow_anonymous true") as port:
        board = Board(port)
        switch = opened(port, timeout_s=0.3)
    with pytest.raises((LinkLost, LinkTimeout)):
        switch.select("antenna-stage")
    with broker(tmp_path, "allow_anonymous true", port=port):
        wait_for(lambda: moves_to(switch, "antenna-stage"), "the switch never came back")
        assert board.stands["k1"] == "ON"
        switch.close()
        board.stop()


def moves_to(switch, path: str) -> bool:
    try:
        switch.select(path)
    except (LinkLost, LinkTimeout):
        return False
    return True


class TestSecrets:
    @pytest.fixture
    def port(self, tmp_path):
        passwords = tmp_path / "passwords"
        passwords.touch(0o600)
        tool = shutil.which("mosquitto_passwd") or "/usr/bin/mosquitto_passwd"
        subprocess.run([tool, "-b", str(passwords), USER, PASSWORD], check=True, capture_output=True)
        with broker(tmp_path, "allow_anonymous false", f"password_file {passwords}") as listening:
            yield listening

    @pytest.fixture
    def board(self, port):
        far_end = Board(port, USER, PASSWORD)
        yield far_end
        far_end.stop()

    def test_the_right_password_opens(self, port, board, monkeypatch):
        monkeypatch.setenv("BROKER_PASSWORD", PASSWORD)
        switch = opened(port, user=USER, password_env="BROKER_PASSWORD")
        assert switch.select("antenna-stage") == 1
        switch.close()

    def test_the_wrong_one_is_told_and_never_shown(self, port, board, monkeypatch):
        monkeypatch.setenv("BROKER_PASSWORD", "godwit")
        with pytest.raises(Refused, match="the broker refused") as told:
            opened(port, user=USER, password_env="BROKER_PASSWORD")
        assert "godwit" not in str(told.value)


class TestTls:
    @pytest.fixture
    def authority(self, tmp_path):
        authority = trustme.CA()
        authority.cert_pem.write_to_path(str(tmp_path / "authority.pem"))
        return authority

    @pytest.fixture
    def port(self, tmp_path, authority):
        own = authority.issue_cert("localhost")
        own.private_key_pem.write_to_path(str(tmp_path / "key.pem"))
        own.cert_chain_pems[0].write_to_path(str(tmp_path / "cert.pem"))
        keys = (f"certfile {tmp_path / 'cert.pem'}", f"keyfile {tmp_path / 'key.pem'}")
        with broker(tmp_path, "allow_anonymous true", *keys) as listening:
            yield listening

    def test_a_trusted_certificate_opens(self, port, tmp_path):
        ca_file = str(tmp_path / "authority.pem")
        board = Board(port, tls=ca_file)
        switch = opened(port, link=f"mqtts://localhost:{port}", ca_file=ca_file)
        assert switch.select("antenna-stage") == 1
        switch.close()
        board.stop()

    def test_an_unknown_authority_is_never_taken(self, port):
        with pytest.raises(LinkLost, match="certificate is not trusted"):
            opened(port, link=f"mqtts://localhost:{port}")


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"link": "tcp://127.0.0.1:1883"}, "mqtt://HOST"),
        ({"set_topic": "relays/set"}, "{relay}"),
        ({"set_topic": "relays/#"}, "pattern"),
        ({"state_topic": "relays/{relay}/set"}, "same"),
        ({"on": "OFF"}, "same word"),
        ({"link": "mqtt://broker.example", "user": USER, "password_env": "X"}, "clear text"),
    ],
)
def test_a_mistake_in_the_section_is_found_before_anything_is_sent(wrong, says):
    with pytest.raises(ValidationError, match=says):
        MqttOptions.model_validate(section(1883, **wrong))
