"""How httpx reaches a web board here: every step of a request within one deadline, whatever the board sends.

httpx's own time-outs are for one step each, so that a board which drips bytes, or sends interim answers without end,
would never reach any. Here the sockets know the deadline of the whole request; httpcore speaks HTTP over them.
"""

import socket
import ssl
from collections.abc import Generator, Iterable, Iterator
from typing import Any

import httpcore
import httpx

from drivers.links import sockets
from drivers.waiting import Deadline

_MEANING: dict[type[Exception], type[httpx.TransportError]] = {
    httpcore.TimeoutException: httpx.ReadTimeout,
    httpcore.ConnectError: httpx.ConnectError,
    httpcore.NetworkError: httpx.NetworkError,
    httpcore.ProtocolError: httpx.RemoteProtocolError,
    httpcore.UnsupportedProtocol: httpx.UnsupportedProtocol,
}


class Basic(httpx.BasicAuth):
    """RFC 7617, but nothing of a login goes out before the board has asked for it: what listens may be no board."""

    _asked = False

    def auth_flow(self, request: httpx.Request) -> Generator[httpx.Request, httpx.Response, None]:
        if not self._asked:
            answer = yield request
            if answer.status_code != 401:
                return
            self._asked = True
        yield from super().auth_flow(request)


class Digest(httpx.DigestAuth):
    """RFC 7616 as httpx has it; a challenge that it cannot answer is the board's fault and no defect of ours."""

    def auth_flow(self, request: httpx.Request) -> Generator[httpx.Request, httpx.Response, None]:
        try:
            yield from super().auth_flow(request)
        except httpx.HTTPError:
            raise
        except Exception as fault:
            # ValueError, KeyError, NotImplementedError and others, as the challenge's parts happen to be wrong
            raise httpx.RemoteProtocolError(
                f"its login challenge cannot be answered ({fault!s:.60})"
            ) from None


class Within(httpx.BaseTransport):
    """One connection at a time, kept while the board keeps it. Set `deadline` before each request."""

    def __init__(self, context: ssl.SSLContext) -> None:
        self.deadline = Deadline(0.0, "relay board")
        self._pool = httpcore.ConnectionPool(
            ssl_context=context, max_connections=1, network_backend=_Backend(self)
        )

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        try:
            answer = self._pool.handle_request(
                httpcore.Request(
                    request.method,
                    httpcore.URL(
                        scheme=request.url.raw_scheme,
                        host=request.url.raw_host,
                        port=request.url.port,
                        target=request.url.raw_path,
                    ),
                    headers=request.headers.raw,
                    content=request.stream,
                    extensions={"timeout": {"pool": self.deadline.remaining()}},
                )
            )
        except Exception as fault:
            raise _meant(fault) from fault
        return httpx.Response(answer.status, headers=answer.headers, stream=_Content(answer))

    def close(self) -> None:
        self._pool.close()


class _Content(httpx.SyncByteStream):
    def __init__(self, answer: httpcore.Response) -> None:
        self._answer = answer

    def __iter__(self) -> Iterator[bytes]:
        try:
            yield from self._answer.iter_stream()
        except Exception as fault:
            raise _meant(fault) from fault

    def close(self) -> None:
        self._answer.close()


def _meant(fault: Exception) -> Exception:
    """The same fault in httpx's words; anything else (a stop order) stays what it is."""
    for kind, meaning in _MEANING.items():
        if isinstance(fault, kind):
            return meaning(str(fault))
    return fault


class _Backend(httpcore.NetworkBackend):
    def __init__(self, transport: Within) -> None:
        self._transport = transport

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore.NetworkStream:
        try:
            return _Stream(self._transport, sockets.connect(host, port, self._transport.deadline))
        except TimeoutError as fault:
            raise httpcore.ConnectTimeout(str(fault)) from fault
        except OSError as fault:
            raise httpcore.ConnectError(str(fault)) from fault


class _Stream(httpcore.NetworkStream):
    def __init__(self, transport: Within, connection: socket.socket) -> None:
        self._transport = transport
        self._connection = connection

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        try:
            return sockets.receive(self._connection, self._transport.deadline, max_bytes)
        except TimeoutError as fault:
            raise httpcore.ReadTimeout(str(fault)) from fault
        except OSError as fault:
            raise httpcore.ReadError(str(fault)) from fault

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        try:
            sockets.send(self._connection, buffer, self._transport.deadline)
        except TimeoutError as fault:
            raise httpcore.WriteTimeout(str(fault)) from fault
        except OSError as fault:
            raise httpcore.WriteError(str(fault)) from fault

    def close(self) -> None:
        self._connection.close()

    def start_tls(
        self, ssl_context: ssl.SSLContext, server_hostname: str | None = None, timeout: float | None = None
    ) -> httpcore.NetworkStream:
        try:
            tls = sockets.secured(
                self._connection, ssl_context, server_hostname or "", self._transport.deadline
            )
        except TimeoutError as fault:
            raise httpcore.ConnectTimeout(str(fault)) from fault
        except OSError as fault:
            raise httpcore.ConnectError(str(fault)) from fault
        return _Stream(self._transport, tls)

    def get_extra_info(self, info: str) -> Any:
        """What httpcore asks before it uses a connection again: whether anything came in meanwhile, such as its end."""
        if info == "is_readable":
            return sockets.has_come(self._connection)
        return None
