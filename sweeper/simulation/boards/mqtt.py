"""A relay board behind an MQTT broker: it obeys ``saltmarsh/relay/N/set`` and retains ``saltmarsh/relay/N/state``.

It announces itself as ``online`` on ``saltmarsh/alive`` and leaves ``offline`` there as its last will. The client is
paho-mqtt; the broker is somebody else's (mosquitto in the tests).
"""

import threading
from typing import Any
from urllib.parse import urlsplit

from sweeper.simulation.wires.command_log import CommandLog, Kind
from sweeper.simulation.world.bench import Bench

ALIVE = "saltmarsh/alive"
SET, STATE = "saltmarsh/relay/{}/set", "saltmarsh/relay/{}/state"


def allowed(message: bytes) -> bool:
    """Whether a topic with its payload is one that a switch driver may send."""
    topic, _, payload = message.partition(b" ")
    return topic.endswith(b"/set") and payload in (b"ON", b"OFF")


def _kind(_: bytes) -> Kind:
    return "write"


class BrokerBoard:
    """The board's client; `link` is ``mqtt://HOST:PORT`` of the broker. `deaf` and `mute` are its faults."""

    def __init__(self, bench: Bench, link: str, *, ours: bool = True, relays: int = 4) -> None:
        from paho.mqtt.client import Client
        from paho.mqtt.enums import CallbackAPIVersion

        self._bench = bench
        self._relays = relays
        self.deaf = False
        self.mute = False
        self._dead = False
        self.log = CommandLog("broker board", allowed, _kind, ours=ours)
        self._ready = threading.Event()
        address = urlsplit(link)
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.will_set(ALIVE, "offline", qos=1, retain=True)
        self._client.on_connect = self._on_connect
        self._client.on_message = self._on_message
        self._client.connect(str(address.hostname), address.port or 1883, keepalive=5)
        self._client.loop_start()
        if not self._ready.wait(10.0):
            raise RuntimeError(f"the broker at {link} did not take the simulated relay board within 10 s")

    def _on_connect(self, client: Any, *_: Any) -> None:
        client.subscribe([(SET.format(number + 1), 1) for number in range(self._relays)])
        client.publish(ALIVE, "online", qos=1, retain=True)
        for number in range(self._relays):
            self._tell(number)
        self._ready.set()

    def _on_message(self, _client: Any, _data: Any, message: Any) -> None:
        self.log.note(message.topic.encode() + b" " + message.payload)
        if self.deaf:
            return
        number = int(message.topic.split("/")[-2]) - 1
        if message.payload in (b"ON", b"OFF"):
            self._bench.set_coil(number, message.payload == b"ON")
        if not self.mute:
            self._tell(number)

    def _tell(self, number: int) -> None:
        self._client.publish(
            STATE.format(number + 1), "ON" if self._bench.coils[number] else "OFF", qos=1, retain=True
        )

    def die(self) -> None:
        """End without DISCONNECT: the broker publishes the last will (MQTT 5.0, 3.1.2.5)."""
        self._dead = True
        sock = self._client.socket()
        self._client.loop_stop()
        if sock is not None:
            sock.close()

    def close(self) -> None:
        if not self._dead:
            self._client.publish(ALIVE, "offline", qos=1, retain=True).wait_for_publish(2.0)
            self._client.disconnect()
        self._client.loop_stop()
