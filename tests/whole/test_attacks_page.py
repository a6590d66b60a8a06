"""Attacks on the live page: whatever is sent, nobody gets an answer of 500, and somebody new always gets in."""

import asyncio
import contextlib
import json
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from starlette.types import Message, Scope

from drivers.config_files import station_file
from sweeper.page.app import live_page
from sweeper.page.guard import WORD_HEADER, Door
from sweeper.station import load
from tests.whole.unattended import SWEEPER, until

pytestmark = [pytest.mark.slow, pytest.mark.clock]

HERE = "127.0.0.1:8473"


def answered(folder: Path, method: str, path: str, headers: list[tuple[bytes, bytes]], body: bytes) -> int:
    """The status that one request gets, handed in as the server would, without a client that tidies it up."""
    app = live_page(load(station_file("saltmarsh")), folder, DOOR)
    scope: Scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
        "path": path, "raw_path": path.encode("utf-8", "replace"), "query_string": b"", "root_path": "",
        "headers": headers, "client": ("127.0.0.1", 40_000), "server": ("127.0.0.1", 8473),
    }  # fmt: skip
    statuses: list[int] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: Message) -> None:
        if message["type"] == "http.response.start":
            statuses.append(message["status"])

    asyncio.run(app(scope, receive, send))
    return statuses[0]


DOOR = Door(None)
OWN = {
    b"host": HERE.encode(),
    b"origin": f"http://{HERE}".encode(),
    b"sec-fetch-site": b"same-origin",
    WORD_HEADER.encode(): DOOR.word.encode(),
}
NAMES = [*OWN, b"cookie", b"content-length", b"content-type"]


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.sampled_from(["GET", "POST", "HEAD", "PUT"]),
    st.sampled_from(
        [
            "/",
            "/now",
            "/note",
            "/pause",
            "/enter",
            "/report",
            "/page.css",
            "/nowhere",
            "/ab",
            "/ab/press",
            "/ab/now",
        ]
    )
    | st.text(),
    st.dictionaries(st.sampled_from(NAMES), st.binary(max_size=60), max_size=3),
    st.binary(max_size=300) | st.text().map(lambda text: json.dumps({"text": text}).encode()),
)
@example("POST", "/note", {b"origin": b"http://["}, b"{}")
@example("POST", "/note", {b"host": b"["}, b"{}")
@example("POST", "/note", {}, b"[" * 16_000)
@example("POST", "/note", {}, b'{"text": ' * 1700)
@example("POST", "/note", {}, b'{"text": "\\ud800"}')
@example("POST", "/note", {}, b'{"text": "a\\u0000b"}')
@example("POST", "/note", {b"content-length": "²".encode("latin-1")}, b"{}")
@example("POST", "/ab/begin", {}, b'{"hz": 1' + b"0" * 400 + b"}")
@example("POST", "/ab/begin", {}, b'{"minutes": 1' + b"0" * 4000 + b"}")
@example("POST", "/ab/begin", {}, b'{"sound": "\\u0000"}')
@example("POST", "/ab/begin", {}, b'{"sound": "\\ud800"}')
@example("POST", "/ab/begin", {}, b"[" * 16_000)
@example("POST", "/ab/press", {}, b'{"key": {"a": []}}')
@example("POST", "/ab/press", {}, b'"key"')
@example("POST", "/enter", {b"cookie": b"sweeper-token=\xff"}, b"token=%ff%00")
def test_whatever_is_sent_is_no_fault_of_the_server(
    tmp_path: Path, method: str, path: str, changes: dict[bytes, bytes], body: bytes
) -> None:
    headers = {**OWN, b"content-length": str(len(body)).encode(), **changes}
    status = answered(tmp_path, method, path, list(headers.items()), body)
    assert status < 500 or status == 503  # no daemon runs behind it


@pytest.mark.parametrize(
    "host", ["evil@localhost", "evil:8473@localhost", "localhost:evil", "[::1", "::1", "a b"]
)
def test_a_host_that_is_no_plain_name_is_refused(tmp_path: Path, host: str) -> None:
    assert answered(tmp_path, "GET", "/now", [(b"host", host.encode())], b"") == 403


@contextlib.contextmanager
def served(folder: Path) -> Iterator[tuple[str, int]]:
    """The page as a process of its own: host and port."""
    file = folder / "saltmarsh.yaml"
    file.write_text(station_file("saltmarsh").read_text(encoding="utf-8"), encoding="utf-8")
    process = subprocess.Popen(
        [SWEEPER, "serve", str(file), "--port", "0"], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    try:
        port = int(process.stdout.readline().rsplit(":", 1)[1].strip("/\n"))
        yield "127.0.0.1", port
    finally:
        process.terminate()
        process.wait(30)
        process.stdout.close()


@pytest.mark.parametrize(
    "opening",
    [
        b"",
        b"GET /now HTTP/1.1\r\nHost: localhost\r\n",
        b"POST /note HTTP/1.1\r\nHost: localhost\r\nContent-Length: 9\r\n\r\n",
    ],
    ids=["silent", "half a header", "no body"],
)  # fmt: skip
def test_half_open_requests_shut_nobody_out_and_are_hung_up_on(tmp_path: Path, opening: bytes) -> None:
    with served(tmp_path) as (host, port), contextlib.ExitStack() as holding:
        sockets = []
        for _ in range(250):
            half = holding.enter_context(socket.create_connection((host, port)))
            half.sendall(opening)
            sockets.append(half)
        for _ in range(3):
            assert httpx.get(f"http://{host}:{port}/now", timeout=60).status_code == 200
        for half in sockets:
            half.setblocking(False)

        def gone() -> bool:
            return all(_closed(half) for half in sockets)

        until(gone, "the last of them to be hung up on", 60)
        assert httpx.get(f"http://{host}:{port}/now", timeout=60).status_code == 200


def _closed(half: socket.socket) -> bool:
    try:
        while half.recv(4096):
            pass
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True
