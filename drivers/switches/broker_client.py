"""paho-mqtt's client with a bound on what it takes in: by itself it gathers a packet of any size, up to 256 MB."""

from typing import TYPE_CHECKING

from paho.mqtt.client import Client

if TYPE_CHECKING:
    from paho.mqtt.enums import CallbackAPIVersion


class _BoundedClient(Client):
    longest = 0

    def _sock_recv(self, bufsize: int) -> bytes:
        """paho asks here for all that is left of a packet. ConnectionError, on which it hangs up, for too much."""
        if bufsize > self.longest:
            raise ConnectionError(f"a packet of {bufsize} bytes")
        return super()._sock_recv(bufsize)


def bounded_client(version: "CallbackAPIVersion", longest: int) -> Client:
    """A client that hangs up on packets longer than `longest` bytes."""
    client = _BoundedClient(version)
    client.longest = longest
    return client
