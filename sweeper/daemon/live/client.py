"""Asking a running daemon from another process."""

from pathlib import Path

import zmq

from sweeper.daemon.live import endpoints
from sweeper.daemon.live.messages import Answer, NotUnderstood, Request, read_answer
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


def _ask(address: str, request: Request, timeout_s: float, keys: endpoints.Keys | None) -> Answer:
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context(io_threads=1)
    try:
        socket = context.socket(zmq.REQ)
        socket.linger = 0
        if keys is not None:
            socket.curve_publickey, socket.curve_secretkey = keys.public, keys.secret
            socket.curve_serverkey = keys.server
        socket.connect(address)
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
