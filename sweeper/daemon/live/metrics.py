"""The daemon's state as Prometheus metrics on a loopback port, where the station file asks for one."""

import asyncio
import contextlib
import socket
import threading
from collections import deque
from collections.abc import Callable, Iterator

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from sweeper.daemon.live.messages import State
from sweeper.daemon.run.states import Doing

DOINGS: tuple[Doing, ...] = ("starting", "waiting", "measuring", "paused", "yielding", "stopping")


class _OfState(Collector):
    """Reads the state at the moment of each scrape, so that nothing has to be kept in step."""

    def __init__(self, state: Callable[[], State]) -> None:
        self._state = state

    def collect(self) -> Iterator[Metric]:
        state = self._state()
        passes = CounterMetricFamily(
            "sweeper_passes", "Passes since the daemon started.", labels=["station", "outcome"]
        )
        for outcome, count in (("done", state.done), ("skipped", state.skipped), ("failed", state.failed)):
            passes.add_metric([state.station, outcome], count)
        yield passes
        doing = GaugeMetricFamily(
            "sweeper_doing", "1 for what the daemon does now.", labels=["station", "doing"]
        )
        for name in DOINGS:
            doing.add_metric([state.station, name], float(state.doing == name))
        yield doing
        if state.last_pass is not None:
            last = GaugeMetricFamily(
                "sweeper_last_pass_timestamp_seconds",
                "When the last pass ended.",
                labels=["station", "outcome"],
            )
            last.add_metric([state.station, state.last_pass.outcome], state.last_pass.ended.timestamp())
            yield last
        if state.next_pass is not None:
            upcoming = GaugeMetricFamily(
                "sweeper_next_pass_timestamp_seconds", "When the next pass is due.", labels=["station"]
            )
            upcoming.add_metric([state.station], state.next_pass.timestamp())
            yield upcoming
        if state.wear is not None:
            operations = CounterMetricFamily(
                "sweeper_relay_operations", "Operations for life of the busiest relay.", labels=["station"]
            )
            operations.add_metric([state.station], state.wear.operations)
            yield operations
            share = GaugeMetricFamily(
                "sweeper_relay_life_share",
                "Operations of the busiest relay over its rated life.",
                labels=["station"],
            )
            share.add_metric([state.station], state.wear.share)
            yield share


MOST_AT_ONCE = 16
"""Connections; one more closes the oldest, so that a scraper always gets in and no descriptors run out."""

REQUEST_S = 5.0
"""A request has to arrive, and its answer to leave, within this time."""

LONGEST_REQUEST = 8 * 1024


def serve_metrics(port: int, state: Callable[[], State]) -> tuple[int, Callable[[], None]]:
    """Serve on the loopback address; the port in use, and a function that ends it. OSError when it is taken."""
    registry = CollectorRegistry()
    registry.register(_OfState(state))
    listening = socket.create_server(("127.0.0.1", port))
    loop = asyncio.new_event_loop()
    served = _Served(registry)

    def serve() -> None:
        with contextlib.suppress(asyncio.CancelledError):
            loop.run_until_complete(ending)
        loop.run_until_complete(loop.shutdown_asyncgens())
        loop.close()

    ending = loop.create_task(served.until_cancelled(listening))
    thread = threading.Thread(target=serve, name="metrics", daemon=True)
    thread.start()

    def close() -> None:
        loop.call_soon_threadsafe(ending.cancel)
        thread.join(timeout=5)

    return int(listening.getsockname()[1]), close


class _Served:
    """A few connections at a time on one thread, each with a deadline."""

    def __init__(self, registry: CollectorRegistry) -> None:
        self._registry = registry
        self._open: deque[asyncio.StreamWriter] = deque()

    async def until_cancelled(self, listening: socket.socket) -> None:
        async with await asyncio.start_server(self._connected, sock=listening, limit=LONGEST_REQUEST):
            try:
                await asyncio.Event().wait()
            finally:
                while self._open:
                    self._open.popleft().transport.abort()

    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._open.append(writer)
        if len(self._open) > MOST_AT_ONCE:
            self._open.popleft().transport.abort()
        try:
            await self._answer(reader, writer)
        finally:
            writer.transport.abort()
            with contextlib.suppress(ValueError):
                self._open.remove(writer)

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError, EOFError, TimeoutError, asyncio.LimitOverrunError):
            async with asyncio.timeout(REQUEST_S):
                request = await reader.readuntil(b"\r\n\r\n")
                writer.write(self._response(request))
                await writer.drain()
                writer.close()
                await writer.wait_closed()

    def _response(self, request: bytes) -> bytes:
        if not request.startswith((b"GET ", b"HEAD ")):
            return b"HTTP/1.1 405 Method Not Allowed\r\nAllow: GET\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
        body = generate_latest(self._registry)
        head = (
            f"HTTP/1.1 200 OK\r\nContent-Type: {CONTENT_TYPE_LATEST}\r\nContent-Length: {len(body)}\r\n"
            "Connection: close\r\n\r\n"
        )
        return head.encode() + (b"" if request.startswith(b"HEAD ") else body)
