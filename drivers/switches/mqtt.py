"""Relay boards behind an MQTT broker: a topic sets each relay, a retained topic tells how it stands.

Retained states are the read-back. After a relay is set, only a state that is told afterwards counts; what the broker
repeats of what it retains is marked as such (MQTT 3.1.1, 3.3.1.3) and may be older than the command. A board that
died leaves its last states behind, so boards that announce themselves (a retained last will) are held to that
through `alive`; without it a dead board shows at the next move, not before. The client is paho-mqtt.
"""

import ssl
import threading
from contextlib import suppress
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from drivers.contracts import Driver
from drivers.errors import BadReply, CalledOff, LinkLost, LinkTimeout, Refused
from drivers.links import sockets
from drivers.protocols.keying import in_names, in_words
from drivers.switches.login import Login, untrusted
from drivers.switches.relays import RelayOptions, Relays, Setting, answering
from drivers.waiting import LOOK_S, Deadline, aside

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage

LONGEST_PACKET = 1024
"""Bytes beside the topic. A relay's state is a word; whoever sends more is hung up on before it is taken in."""

CLOSING_S = 1.0

Topic = Annotated[
    str,
    Field(
        min_length=1,
        pattern=r"^[^#+\x00]+$",
        description="A topic without + and #, such as shack/relay/{relay}/set.",
    ),
]


class Alive(BaseModel):
    """The topic on which the board says that it lives, and what it says then."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    topic: Topic
    says: str = "online"


class MqttOptions(RelayOptions, Login):
    """The switch section of a station file with ``driver: mqtt``. ``{relay}`` in a topic stands for its name."""

    link: str
    set_topic: Topic
    state_topic: Topic
    on: str = "ON"
    off: str = "OFF"
    alive: Alive | None = None
    timeout_s: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)] = 3.0

    @field_validator("on", "off", mode="before")
    @classmethod
    def _as_text(cls, word: object) -> object:
        return str(word) if isinstance(word, int) and not isinstance(word, bool) else word

    @model_validator(mode="after")
    def _reachable_and_discreet(self) -> "MqttOptions":
        parts = urlsplit(self.link)
        if (
            parts.scheme not in ("mqtt", "mqtts")
            or not parts.hostname
            or parts.path.strip("/")
            or parts.username
        ):
            raise ValueError(
                f"{self.link} is no broker; write mqtt://HOST:PORT or mqtts://HOST:PORT, login apart"
            )
        self.refuse_clear_text(self.link, "mqtt", "mqtts")
        for key, topic in (("set_topic", self.set_topic), ("state_topic", self.state_topic)):
            if "{relay}" not in topic and len(next(iter(self.paths.values()))) > 1:
                raise ValueError(f"{key} names no {{relay}}, so it cannot tell several relays apart")
        if word := in_names(self.set_topic, *next(iter(self.paths.values()))):
            raise ValueError(
                f"a topic or relay with {word!r} in its name belongs to a transmitter, not to a relay"
            )
        if self.on == self.off:
            raise ValueError("on and off are the same word")
        if self.set_topic == self.state_topic:
            raise ValueError(
                "set_topic and state_topic are the same, so reading back would only hear our own command"
            )
        return self


class BrokerBoard:
    """A board behind a broker. paho-mqtt's own thread receives; `_news` guards what it has heard."""

    def __init__(self, options: MqttOptions, part: str) -> None:
        self._options = options
        self._part = part
        self._relay_of = {
            options.state_topic.replace("{relay}", relay): relay
            for relay in next(iter(options.paths.values()))
        }
        self._news = threading.Condition()
        self._heard: dict[str, bytes] = {}
        self._set: set[str] = set()  # topics of relays that were set and have not told of it yet
        self._subscribed = False
        self._refused: str | None = None
        self._client = self._connect()

    def identify(self) -> str:
        return f"MQTT board behind {self._options.link}"

    def read(self) -> Setting:
        with self._news:
            missing = self._subscribed and not self._told(*self._relay_of)
            if missing:
                self._set.clear()  # what was lost is not told anew, but repeated to who subscribes (3.8.4)
        if missing:
            self._subscribe(self._client)
        self._wait(lambda: self._subscribed and self._told(*self._relay_of), "told how its relays stand")
        with self._news:
            return {relay: self._state(relay, self._heard[topic]) for topic, relay in self._relay_of.items()}

    def write(self, relay: str, on: bool) -> None:
        options = self._options
        self._wait(lambda: self._subscribed, "let anyone subscribe")
        topic = next(topic for topic, own in self._relay_of.items() if own == relay)
        with self._news:
            self._heard.pop(topic, None)
            self._set.add(topic)
        sent = self._client.publish(
            options.set_topic.replace("{relay}", relay),
            options.on if on else options.off,
            qos=1,
            retain=False,
        )
        if sent.rc != 0:
            raise LinkLost(self._part, "the broker is not there.", "Does it run, and is the network up?")
        self._wait(lambda: self._told(topic), f"told that relay {relay} moved")

    def close(self) -> None:
        def hang_up() -> None:
            self._client.disconnect()
            self._client.loop_stop()

        # paho's thread may be in the middle of connecting again, and ends when that does
        with suppress(TimeoutError, CalledOff):
            aside(hang_up, Deadline(CLOSING_S, self._part), lambda late: None)

    def _connect(self) -> "Client":
        from paho.mqtt.enums import CallbackAPIVersion

        from drivers.switches.broker_client import bounded_client

        options = self._options
        deadline = Deadline(options.timeout_s, self._part)
        address = urlsplit(options.link)
        secure = address.scheme == "mqtts"
        host, port = str(address.hostname), address.port or (8883 if secure else 1883)
        context = self._reached(host, port, secure, deadline)
        client = bounded_client(CallbackAPIVersion.VERSION2, LONGEST_PACKET + self._longest_topic())
        if context is not None:
            client.tls_set_context(context)
        if options.user is not None:
            password = options.password(self._part)
            if told := in_words(_greeting(options.user, password)):
                raise Refused(
                    self._part,
                    f"with this user and password a receiver that listened there in its place would read {told}.",
                    "Take another password.",
                )
            client.username_pw_set(options.user, password)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.connect_timeout = options.timeout_s
        client.connect_async(host, port, keepalive=30)
        client.loop_start()  # it connects on its own thread, so that nobody waits for it beyond a deadline
        return client

    def _longest_topic(self) -> int:
        options = self._options
        topics = [*self._relay_of, *([options.alive.topic] if options.alive else [])]
        return max(len(topic.encode()) for topic in topics)

    def _reached(self, host: str, port: int, secure: bool, deadline: Deadline) -> ssl.SSLContext | None:
        """The context to connect with (None without TLS), after somebody answered there with a certificate to trust.

        paho tells neither who is not there nor whose certificate fails, and leaves its socket open then.
        """
        context = self._options.trusted(self._part) if secure else None
        try:
            connection = sockets.connect(host, port, deadline)
            if context is not None:
                connection = sockets.secured(connection, context, host, deadline)
            connection.close()
            return context
        except ssl.SSLError as fault:
            raise untrusted(self._part, fault) from None
        except OSError as fault:
            raise LinkLost(self._part, f"the broker cannot be reached: {fault}.", "Does it run?") from None

    def _on_connect(self, client: "Client", _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        with self._news:
            self._heard.clear()  # the broker repeats what it retains
            self._set.clear()  # and what was told while it was away is known no other way
            self._refused = str(reason) if reason.is_failure else None
            self._news.notify_all()
        if not reason.is_failure:
            self._subscribe(client)

    def _subscribe(self, client: "Client") -> None:
        topics = [*self._relay_of, *([self._options.alive.topic] if self._options.alive else [])]
        client.subscribe([(topic, 1) for topic in topics])

    def _on_disconnect(self, *_: Any) -> None:
        with self._news:
            self._subscribed = False

    def _on_subscribe(self, _client: "Client", _data: Any, _mid: int, reasons: Any, _properties: Any) -> None:
        with self._news:
            refused = next((str(reason) for reason in reasons if reason.is_failure), None)
            self._refused, self._subscribed = refused, refused is None
            self._news.notify_all()

    def _on_message(self, _client: "Client", _data: Any, message: "MQTTMessage") -> None:
        alive = self._options.alive
        if message.topic not in self._relay_of and (alive is None or message.topic != alive.topic):
            return  # nobody asked for it
        with self._news:
            if message.retain and message.topic in self._set:
                return
            self._set.discard(message.topic)
            self._heard[message.topic] = bytes(message.payload)
            self._news.notify_all()

    def _told(self, *topics: str) -> bool:
        alive = self._options.alive
        if alive is not None and self._heard.get(alive.topic, b"").decode("utf-8", "replace") != alive.says:
            return False
        return all(topic in self._heard for topic in topics)

    def _wait(self, until: Any, what: str) -> None:
        deadline = Deadline(self._options.timeout_s, self._part)
        with self._news:
            came, look_s = False, LOOK_S
            while not came and look_s > 0.0:
                look_s = deadline.look_s()
                came = self._news.wait_for(lambda: self._refused is not None or until(), look_s)
            if self._refused is not None:
                raise Refused(
                    self._part, f"the broker refused: {self._refused}.", "Check user, password and topics."
                )
            if came:
                return
            if not self._subscribed:
                raise LinkLost(self._part, "the broker is gone.", "It is tried again by itself.")
            raise LinkTimeout(
                self._part,
                f"nobody {what} within {self._options.timeout_s:g} s.",
                "Is the board on, does it retain its states, and are the topics spelt as the board has them?",
            )

    def _state(self, relay: str, payload: bytes) -> bool:
        words = {self._options.on: True, self._options.off: False}
        word = payload.decode("utf-8", "replace").strip()
        if word not in words:
            raise BadReply(
                self._part, f"relay {relay} stands at {word[:60]!r}, neither of the words on and off."
            )
        return words[word]


def _greeting(user: str, password: str) -> bytes:
    """The first message to a broker as it goes on the wire, as far as a station file decides what is in it.

    MQTT 3.1.1, section 3.1: it goes out before anybody has answered.
    """
    told = (len(text.encode()).to_bytes(2, "big") + text.encode() for text in (user, password))
    return b"\x00\x04MQTT\x04\xc2\x00\x1e\x00\x00" + b"".join(told)


def open_switch(options: MqttOptions) -> Relays:
    """A board that has told its states; `RigError` when it does not."""
    part = f"relay board behind {options.link}"
    return answering(part, BrokerBoard(options, part), options)


DRIVER = Driver(kind="switch", name="mqtt", options=MqttOptions, open=open_switch)
