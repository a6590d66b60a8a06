"""A relay board with a web interface: one request sets a relay, another asks it.

``PUT /relays/1`` with ``{"on": true}`` sets relay 1 (coil 0); ``GET /relays/1`` answers ``{"relay": 1, "on": true}``.
Plainer ways are ``GET /relay/1?turn=on`` and ``GET /relay/1/state``, both answered ``on`` or ``off``.
"""

import base64
import json
import re
import ssl
import threading
from functools import partial
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from sweeper.simulation.wires.command_log import CommandLog, Kind
from sweeper.simulation.wires.faults import Send
from sweeper.simulation.wires.forwarding import to_port
from sweeper.simulation.wires.wire import Feed
from sweeper.simulation.world.bench import Bench

_RELAY = re.compile(r"/relays/(\d)")
_TURN = re.compile(r"/relay/(\d)\?turn=(on|off)")
_STATE = re.compile(r"/relay/(\d)/state")


def allowed(request: bytes) -> bool:
    """Whether a request line is one that a switch driver may send."""
    method, _, path = request.decode("latin-1").partition(" ")
    if method == "PUT":
        return _RELAY.fullmatch(path) is not None
    return method == "GET" and any(pattern.fullmatch(path) for pattern in (_RELAY, _TURN, _STATE))


def kind_of(request: bytes) -> Kind:
    """What a request line is about."""
    return "write" if request.startswith(b"PUT") or b"?turn=" in request else "read"


class WebBoard:
    """The board's server. With `certificate` (a file of key and chain) it speaks TLS; with `login` it asks for one."""

    def __init__(
        self,
        bench: Bench,
        *,
        ours: bool = True,
        login: tuple[str, str] | None = None,
        certificate: Path | None = None,
    ) -> None:
        authorization = "Basic " + base64.b64encode(":".join(login).encode()).decode() if login else None
        self.log = CommandLog("web board", allowed, kind_of, ours=ours)
        self._server = ThreadingHTTPServer(
            ("127.0.0.1", 0), partial(_Handler, bench, self.log, authorization)
        )
        self._server.daemon_threads = True
        self.scheme = "https" if certificate else "http"
        if certificate:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(certificate)
            self._server.socket = context.wrap_socket(self._server.socket, server_side=True)
        self._port: int = self._server.server_address[1]
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True)
        self._thread.start()

    def session(self, send: Send) -> Feed:
        """Carry one client's bytes to the server and its replies back."""
        return to_port(self._port, lambda _: None, send)

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(5.0)


class _Handler(BaseHTTPRequestHandler):
    """One client's requests. `authorization`: the header that is asked for, None where no login is."""

    protocol_version = "HTTP/1.1"
    wbufsize = -1  # head and body in one piece, or the kernel holds the second back for 40 ms

    def __init__(self, bench: Bench, log: CommandLog, authorization: str | None, *given: Any) -> None:
        self._bench, self._log, self._authorization = bench, log, authorization
        super().__init__(*given)  # which serves the client, so that what it needs is set before

    def log_message(self, *_: object) -> None:
        pass  # standard error is the user's

    def do_GET(self) -> None:
        self._serve(b"")

    def do_PUT(self) -> None:
        self._serve(self.rfile.read(int(self.headers.get("Content-Length", "0"))))

    def _serve(self, body: bytes) -> None:
        self._log.note(f"{self.command} {self.path}".encode("latin-1"))
        if self._authorization is not None and self.headers.get("Authorization") != self._authorization:
            self._reply(401, "text/plain", "who are you?", ("WWW-Authenticate", 'Basic realm="relays"'))
        elif match := _TURN.fullmatch(self.path):
            self._set(match.group(1), match.group(2) == "on", plain=True)
        elif match := _STATE.fullmatch(self.path):
            self._tell(match.group(1), plain=True)
        elif match := _RELAY.fullmatch(self.path):
            if self.command == "GET":
                self._tell(match.group(1), plain=False)
            else:
                self._set_as_told(match.group(1), body)
        else:
            self._reply(404, "text/plain", "no such page")

    def _set_as_told(self, relay: str, body: bytes) -> None:
        try:
            on = json.loads(body)["on"]
        except (ValueError, KeyError, TypeError):
            self._reply(400, "text/plain", 'send {"on": true} or {"on": false}')
            return
        self._set(relay, bool(on), plain=False)

    def _set(self, relay: str, on: bool, *, plain: bool) -> None:
        if 1 <= int(relay) <= len(self._bench.coils):
            self._bench.set_coil(int(relay) - 1, on)
        self._tell(relay, plain=plain)

    def _tell(self, relay: str, *, plain: bool) -> None:
        if not 1 <= int(relay) <= len(self._bench.coils):
            self._reply(404, "text/plain", "no such relay")
            return
        on = self._bench.coils[int(relay) - 1]
        if plain:
            self._reply(200, "text/plain", "on" if on else "off")
        else:
            self._reply(200, "application/json", json.dumps({"relay": int(relay), "on": on}))

    def _reply(self, code: int, kind: str, text: str, *headers: tuple[str, str]) -> None:
        self.send_response(code)
        for name, value in (("Content-Type", kind), ("Content-Length", str(len(text))), *headers):
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(text.encode())
