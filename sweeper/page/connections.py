"""How many may be connected to the page, and how long a request may take to arrive. What is asked is `guard`'s.

A connection beyond the bounds closes the oldest of those that have not yet asked anything whole, or else the oldest
one: whoever only holds connections loses them first, and somebody new always gets in.
"""

import asyncio
from collections.abc import Sequence
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_AT_ONCE = 200
"""Connections; each open page holds one for as long as it is open."""

MOST_OF_AN_ADDRESS = 100
"""A household behind one address has fewer pages open; a browser whose stream is closed opens it again."""

REQUEST_S = 10.0
"""From its first byte (or the connection's beginning) to its last; none is longer than some kilobytes."""


class Bounded(H11Protocol):
    """One connection. Arguments as the server gives them."""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._deadline: asyncio.TimerHandle | None = None
        self._since = 0.0

    @property
    def address(self) -> str:
        """Who is at the other end."""
        return self.client[0] if self.client else ""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Make room, and expect a request."""
        super().connection_made(transport)
        self._since = self.loop.time()
        others = [each for each in self.connections if isinstance(each, Bounded) and each is not self]
        of_address = [each for each in others if each.address == self.address]
        if len(of_address) >= MOST_OF_AN_ADDRESS:
            _oldest(of_address).hang_up()
        elif len(others) >= MOST_AT_ONCE:
            _oldest(others).hang_up()
        self._expect()

    def data_received(self, data: bytes) -> None:
        """What came, and whether the request is whole by now."""
        super().data_received(data)
        self._expect()

    def on_response_complete(self) -> None:
        """The next request may already have begun."""
        super().on_response_complete()
        if self.conn.trailing_data[0]:
            self._expect()

    def connection_lost(self, exc: Exception | None) -> None:
        """End the wait for a whole request."""
        self._whole()
        super().connection_lost(exc)

    def asking(self) -> bool:
        """Whether a request has not come whole."""
        return self.conn.their_state in (h11.IDLE, h11.SEND_BODY)

    def hang_up(self) -> None:
        """Close the connection at once, with no reply."""
        self._whole()
        self.connections.discard(self)
        if self.transport is not None:
            self.transport.abort()

    def rank(self) -> tuple[bool, float]:
        """Who goes first: those that have asked nothing whole, the oldest of them."""
        return not self.asking(), self._since

    def _expect(self) -> None:
        if not self.asking():
            self._whole()
        elif self._deadline is None:
            self._deadline = self.loop.call_later(REQUEST_S, self.hang_up)

    def _whole(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None


def _oldest(connections: Sequence[Bounded]) -> Bounded:
    return min(connections, key=Bounded.rank)
