"""Talking to a running daemon from another process: ask it something, or watch what it publishes."""

from collections.abc import Iterator
from pathlib import Path

import zmq

from sweeper.daemon.live import endpoints
from sweeper.daemon.live.messages import (
    Answer,
    NotUnderstood,
    PassOver,
    Request,
    State,
    Visited,
    read_answer,
    read_live,
)
from sweeper.errors import UserFacingError


def ask(folder: Path, request: Request, timeout_s: float = 5.0) -> Answer:
    """The answer of the daemon whose station's data lie in `folder`. `UserFacingError` when none answers."""
    if not (folder / "control").exists():
        raise UserFacingError(
            f"{folder}: no daemon runs here. Start one with `sweeper run`, or name its folder with --data."
        )
    return _ask(endpoints.local(folder, "control"), request, timeout_s, None)


def ask_across(address: str, keys: endpoints.Keys, request: Request, timeout_s: float = 10.0) -> Answer:
    """The answer of a daemon across a network, such as ``tcp://shack:5751``. `UserFacingError` when none answers."""
    return _ask(address, request, timeout_s, keys)


def watch(folder: Path, timeout_s: float | None = None) -> Iterator[Visited | PassOver | State]:
    """What the daemon publishes, until the caller stops listening or nothing comes for `timeout_s`."""
    return _watch(endpoints.local(folder, "live"), timeout_s, None)


def watch_across(
    address: str, keys: endpoints.Keys, timeout_s: float | None = None
) -> Iterator[Visited | PassOver | State]:
    """What a daemon publishes across a network."""
    return _watch(address, timeout_s, keys)


def _ask(address: str, request: Request, timeout_s: float, keys: endpoints.Keys | None) -> Answer:
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context(io_threads=1)
    try:
        socket = _connected(context, zmq.REQ, address, keys)
        socket.send(request.model_dump_json().encode())
        if not socket.poll(int(timeout_s * 1000)):
            raise UserFacingError(
                f"The daemon did not answer within {timeout_s:g} s. It may have ended, or these keys are not allowed "
                f"there; its log says which."
            )
        return read_answer(socket.recv())
    except NotUnderstood as problem:
        raise UserFacingError(f"What answered is no daemon of this version: {problem}") from problem
    finally:
        context.destroy(linger=0)


def _watch(
    address: str, timeout_s: float | None, keys: endpoints.Keys | None
) -> Iterator[Visited | PassOver | State]:
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context(io_threads=1)
    try:
        socket = _connected(context, zmq.SUB, address, keys)
        socket.subscribe(b"")
        while socket.poll(None if timeout_s is None else int(timeout_s * 1000)):
            _, body = socket.recv_multipart()
            yield read_live(body)
    finally:
        context.destroy(linger=0)


def _connected(
    context: "zmq.Context[zmq.Socket[bytes]]", kind: int, address: str, keys: endpoints.Keys | None
) -> "zmq.Socket[bytes]":
    socket = context.socket(kind)
    socket.linger = 0
    if keys is not None:
        socket.curve_publickey, socket.curve_secretkey = keys.public, keys.secret
        socket.curve_serverkey = keys.server
    socket.connect(address)
    return socket
