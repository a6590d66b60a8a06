"""TCP connections, in the clear or over TLS, on which no step can outlast the deadline of the whole.

For links (`ports`) and for what brings a protocol library of its own (web boards). OSError, with TimeoutError for what
is not there in time, and ssl.SSLError as the system raises them: callers say what they mean for their instrument.
"""

import errno
import ipaddress
import os
import select
import socket
import ssl
from contextlib import suppress

from drivers.waiting import Deadline, aside, ready

CHUNK = 65536


def connect(host: str, port: int, deadline: Deadline) -> socket.socket:
    """A connected socket that never blocks. OSError when nobody is there, TimeoutError when nobody is in time."""
    addresses = _addresses(host, port, deadline)
    fault = OSError(errno.EHOSTUNREACH, "no address")
    for nth, (family, address) in enumerate(addresses):
        share = deadline.sooner(deadline.remaining() / (len(addresses) - nth))
        try:
            return _connected(family, address, share)
        except OSError as refused:
            fault = refused
    raise fault


def _addresses(host: str, port: int, deadline: Deadline) -> list[tuple[int, tuple[object, ...]]]:
    """As the resolver tells them; it is asked aside, since it may wait for a name server for a minute."""

    def ask() -> list[tuple[int, tuple[object, ...]]]:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
        return [(family, address) for family, _, _, _, address in found]

    with suppress(ValueError):
        ipaddress.ip_address(host)
        return ask()
    return aside(ask, deadline, lambda late: None)


def _connected(family: int, address: tuple[object, ...], deadline: Deadline) -> socket.socket:
    connection = socket.socket(family, socket.SOCK_STREAM)
    try:
        connection.setblocking(False)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        refused = connection.connect_ex(address)
        if refused == errno.EINPROGRESS:
            if not ready(connection, deadline, select.POLLOUT):
                raise TimeoutError(errno.ETIMEDOUT, os.strerror(errno.ETIMEDOUT))
            refused = connection.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if refused:
            raise OSError(refused, os.strerror(refused))
    except BaseException:
        connection.close()
        raise
    return connection


def secured(
    connection: socket.socket, context: ssl.SSLContext, host: str, deadline: Deadline
) -> ssl.SSLSocket:
    """The same connection over TLS, the certificate checked for `host`. It is closed when that fails."""
    try:
        tls = context.wrap_socket(connection, server_hostname=host, do_handshake_on_connect=False)
    except BaseException:
        connection.close()
        raise
    try:
        while True:
            try:
                tls.do_handshake()
                return tls
            except (ssl.SSLWantReadError, ssl.SSLWantWriteError) as wants:
                _wait(tls, wants, deadline)
    except BaseException:
        tls.close()
        raise


def receive(connection: socket.socket, deadline: Deadline, most: int = CHUNK) -> bytes:
    """What has come, waiting for the first byte; empty when the other end has hung up."""
    while deadline.remaining() > 0.0:
        try:
            return connection.recv(most)
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError) as wants:
            _wait(connection, wants, deadline)
    raise TimeoutError(errno.ETIMEDOUT, os.strerror(errno.ETIMEDOUT))


def has_come(connection: socket.socket) -> bool:
    """Whether something is there to be received, be it the other end's hanging up."""
    poll = select.poll()
    poll.register(connection, select.POLLIN)
    return bool(poll.poll(0))


def send(connection: socket.socket, data: bytes, deadline: Deadline) -> None:
    """All of `data`."""
    left = memoryview(data)
    while left:
        try:
            left = left[connection.send(left) :]
        except BlockingIOError:
            if not ready(connection, deadline, select.POLLOUT):
                raise TimeoutError(errno.ETIMEDOUT, os.strerror(errno.ETIMEDOUT)) from None
        except (ssl.SSLWantReadError, ssl.SSLWantWriteError) as wants:
            _wait(connection, wants, deadline)


def _wait(connection: socket.socket, wants: OSError, deadline: Deadline) -> None:
    events = select.POLLOUT if isinstance(wants, ssl.SSLWantWriteError) else select.POLLIN
    if not ready(connection, deadline, events):
        raise TimeoutError(errno.ETIMEDOUT, os.strerror(errno.ETIMEDOUT))
