"""Serves the live page until stopped: the socket, the token where one is needed, and a quiet log."""

import errno
import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn

from sweeper.errors import WrongInput
from sweeper.page.addresses import links
from sweeper.page.app import live_page
from sweeper.page.connections import Bounded
from sweeper.page.guard import Door, is_loopback, token_in
from sweeper.station import Station

_MENDS = {
    errno.EADDRINUSE: "Another page may be open already; name another port with --port.",
    errno.EADDRNOTAVAIL: "This computer has no such address; leave --host out, or say --host 0.0.0.0 for all it has.",
    errno.EACCES: "Ports below 1024 belong to the system; name a higher one with --port.",
    socket.EAI_NONAME: "Nobody knows that name; leave --host out, or say --host 0.0.0.0 for all addresses.",
}


def serve_page(
    station: Station, data: Path, host: str, port: int, token_file: Path, said: Callable[[str], None]
) -> None:
    """Serve until SIGINT or SIGTERM. `said` gets a line for each of its addresses when it can be opened.

    Anywhere but on the loopback address the page wants the token in `token_file`, which is made when it is not there.
    """
    door = Door(None if is_loopback(host) else token_in(token_file))
    try:
        listening = _listen(host, port)
    except OSError as fault:
        mend = _MENDS.get(fault.errno or 0, "Name another address with --host, or another port with --port.")
        raise WrongInput(
            f"{host} port {port}: cannot listen there ({fault.strerror}), so the page is not served. {mend}"
        ) from fault
    bound = listening.getsockname()[1]
    if door.token is None:
        said(f"http://{f'[{host}]' if ':' in host else host}:{bound}/")
    else:
        for each in links(host, bound) or (f"http://localhost:{bound}/",):
            said(each)
        said(f"It asks once for the token in {token_file}. What goes over the network can be read there.")
    # No access log: who looked when is nobody's business, and nothing secret can slip into it.
    app = live_page(station, data, door)

    class Server(uvicorn.Server):
        """Ends the event streams first: they would never end by themselves."""

        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            await app.state.end()
            await super().shutdown(sockets)

    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        use_colors=False,
        server_header=False,
        timeout_graceful_shutdown=5,
        http=Bounded,
        ws="none",
    )
    Server(config).run(sockets=[listening])


def _listen(host: str, port: int) -> socket.socket:
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    family, kind, protocol, _, address = found[0]
    listening = socket.socket(family, kind, protocol)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(address)
        listening.listen(128)
    except OSError:
        listening.close()
        raise
    return listening
