"""paho-mqtt's client for brokers that cannot be trusted.

By itself it gathers a packet of any size, up to 256 MB, and its thread ends with a traceback on a packet that it cannot
take apart, such as one whose topic is no text.
"""

from typing import TYPE_CHECKING

from paho.mqtt.client import Client
from paho.mqtt.enums import MQTTErrorCode

if TYPE_CHECKING:
    from paho.mqtt.enums import CallbackAPIVersion


class _BoundedClient(Client):
    longest = 0

    def _sock_recv(self, bufsize: int) -> bytes:
        """paho asks here for all that is left of a packet. ConnectionError, on which it hangs up, for too much."""
        if bufsize > self.longest:
            raise ConnectionError(f"a packet of {bufsize} bytes")
        return super()._sock_recv(bufsize)

    def _packet_handle(self) -> MQTTErrorCode:
        """paho takes a whole packet apart here. What it cannot, it hangs up on, and connects again."""
        try:
            return super()._packet_handle()
        except Exception:
            return MQTTErrorCode.MQTT_ERR_PROTOCOL


def bounded_client(version: "CallbackAPIVersion", longest: int) -> Client:
    """A client that hangs up on packets longer than `longest` bytes."""
    client = _BoundedClient(version)
    client.longest = longest
    return client
