"""A relay board with a web interface, served over TLS by an authority of its own, with both ways of logging in."""

import hashlib
import json
import secrets
import ssl
import threading
from base64 import b64decode
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.request import parse_http_list, parse_keqv_list

import pytest
import trustme
from pydantic import ValidationError

from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused, Stuck, Unsupported
from drivers.switches.http import DRIVER, HttpOptions

DEADLINE_S = 10
USER, PASSWORD = "saltmarsh", "curlew & dunlin"
PATHS = {
    "antenna-bypass": {0: "off", 1: "off"},
    "antenna-stage": {0: "on", 1: "off"},
    "load-bypass": {0: "off", 1: "on"},
}


class WebRelays(ThreadingHTTPServer):
    """Two relays behind GET /relay/N (JSON) and POST /relay/N; knows Basic and Digest (RFC 7617, RFC 7616)."""

    daemon_threads = True

    def __init__(self, context: ssl.SSLContext) -> None:
        self.context = context
        self.relays = {"0": False, "1": False}
        self.auth: str | None = None
        self.stuck = False
        self.answer: bytes | None = None
        self.elsewhere: str | None = None
        self.hold = threading.Event()
        self.hold.set()
        self.logins: list[str] = []
        self.nonce = secrets.token_hex(8)
        super().__init__(("127.0.0.1", 0), Handler)

    def get_request(self):
        connection, address = super().get_request()
        # shakes hands at the first read, in the thread that serves and closes this connection
        return self.context.wrap_socket(connection, server_side=True, do_handshake_on_connect=False), address

    def handle_error(self, request, client_address) -> None:
        """A client that refuses the certificate hangs up; that is what some tests are about."""


class Handler(BaseHTTPRequestHandler):
    server: WebRelays

    def log_message(self, format, *args) -> None:
        pass

    def do_GET(self) -> None:
        self._answer(None)

    def do_POST(self) -> None:
        self._answer(self.rfile.read(int(self.headers["Content-Length"])))

    def _answer(self, body: bytes | None) -> None:
        board = self.server
        board.hold.wait(DEADLINE_S)
        if board.answer is not None:
            self.wfile.write(board.answer)
            return
        if board.elsewhere is not None:
            self.send_response(302)
            self.send_header("Location", board.elsewhere)
            self.end_headers()
            return
        if not self._known():
            self.send_response(401)
            challenge = {
                "basic": 'Basic realm="relays"',
                "digest MD5": f'Digest realm="relays", nonce="{board.nonce}", qop="auth"',
                "digest SHA-256": f'Digest realm="relays", nonce="{board.nonce}", qop="auth", algorithm=SHA-256',
            }[board.auth]
            self.send_header("WWW-Authenticate", challenge)
            self.send_header("Content-Length", "0")
            self.end_headers()
            return
        relay = self.path.removeprefix("/relay/")
        if relay not in board.relays:
            self.send_error(404)
            return
        if body is not None and not board.stuck:
            board.relays[relay] = json.loads(body)["ison"]
        content = json.dumps({"relays": [{"ison": board.relays[relay]}]}).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    def _known(self) -> bool:
        if self.server.auth is None:
            return True
        scheme, _, sent = self.headers.get("Authorization", "").partition(" ")
        self.server.logins.append(scheme)
        if self.server.auth == "basic":
            return scheme == "Basic" and b64decode(sent).decode() == f"{USER}:{PASSWORD}"
        if scheme != "Digest":
            return False
        said = parse_keqv_list(parse_http_list(sent))

        def digest(text: str) -> str:
            algorithm = "sha256" if self.server.auth.endswith("SHA-256") else "md5"
            return hashlib.new(algorithm, text.encode(), usedforsecurity=False).hexdigest()

        secret = digest(f"{USER}:relays:{PASSWORD}")
        asked = digest(f"{self.command}:{self.path}")
        whole = digest(f"{secret}:{self.server.nonce}:{said['nc']}:{said['cnonce']}:auth:{asked}")
        return said["response"] == whole


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def board(authority: trustme.CA) -> Iterator[WebRelays]:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("localhost").configure_cert(context)
    server = WebRelays(context)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    yield server
    server.hold.set()
    server.shutdown()
    server.server_close()
    thread.join(DEADLINE_S)


@pytest.fixture
def section(board: WebRelays, authority: trustme.CA, tmp_path) -> dict:
    ca_file = tmp_path / "authority.pem"
    authority.cert_pem.write_to_path(str(ca_file))
    return {
        "link": f"https://localhost:{board.server_port}",
        "ca_file": str(ca_file),
        "set": {"method": "POST", "path": "/relay/{relay}", "body": '{"ison": {state}}'},
        "ask": {"path": "/relay/{relay}"},
        "value_at": "/relays/0/ison",
        "words": {"on": True, "off": False},
        "paths": PATHS,
        "timeout_s": 1,
    }


def opened(section: dict, **more):
    return DRIVER.open(HttpOptions.model_validate(section | more))


@pytest.fixture
def login(monkeypatch) -> dict:
    monkeypatch.setenv("RELAY_PASSWORD", PASSWORD)
    return {"user": USER, "password_env": "RELAY_PASSWORD"}


def test_every_path_is_set_over_tls_and_reads_back(board, section):
    switch = opened(section)
    for path in [*PATHS, *reversed(PATHS)]:
        switch.select(path)
        assert switch.selected() == path
    assert switch.select("antenna-stage") == 1
    assert board.relays == {"0": True, "1": False}


def test_a_certificate_of_an_unknown_authority_is_never_taken(section):
    with pytest.raises(LinkLost, match="certificate is not trusted"):
        opened(section, ca_file=None)


def test_a_certificate_for_another_name_is_never_taken(section):
    with pytest.raises(LinkLost, match="certificate is not trusted"):
        opened(section, link=section["link"].replace("localhost", "127.0.0.1"))


@pytest.mark.parametrize("auth", ["basic", "digest MD5", "digest SHA-256"])
def test_a_board_that_wants_a_password_gets_it(board, section, login, auth):
    board.auth = auth
    switch = opened(section, auth=auth.split()[0], **login)
    assert switch.select("antenna-stage") == 1
    assert switch.selected() == "antenna-stage"


def test_digest_never_sends_the_password_itself(board, section, login):
    board.auth = "digest SHA-256"
    opened(section, auth="digest", **login).select("antenna-stage")
    assert "Basic" not in board.logins


@pytest.mark.parametrize("auth", ["basic", "digest MD5", "digest SHA-256"])
def test_a_wrong_password_is_told_and_never_shown(board, section, login, auth, monkeypatch):
    board.auth = auth
    monkeypatch.setenv("RELAY_PASSWORD", "godwit")
    with pytest.raises(Refused, match="does not accept user and password") as told:
        opened(section, auth=auth.split()[0], **login)
    assert "godwit" not in str(told.value)


def test_a_password_file_is_read(board, section, tmp_path):
    board.auth = "basic"
    file = tmp_path / "password"
    file.write_text(PASSWORD + "\n", "utf-8")
    assert opened(section, user=USER, password_file=str(file)).selected() == "antenna-bypass"


def test_a_password_that_is_not_there_is_told(section):
    with pytest.raises(Unsupported, match="NOT_SET_ANYWHERE"):
        opened(section, user=USER, password_env="NOT_SET_ANYWHERE")


def test_a_redirection_is_not_followed(board, section):
    board.elsewhere = "https://example.invalid/"
    with pytest.raises(Refused, match="elsewhere"):
        opened(section)


def test_a_relay_that_does_not_move_is_told(board, section):
    board.stuck = True
    with pytest.raises(Stuck, match="relay 0 was told to be on and reads off"):
        opened(section).select("antenna-stage")


def test_a_silent_board_is_told_within_its_time(board, section):
    switch = opened(section, timeout_s=0.2)
    board.hold.clear()
    with pytest.raises(LinkTimeout, match=r"0\.2 s"):
        switch.select("antenna-stage")


@pytest.mark.parametrize(
    ("answer", "error"),
    [
        (b"", (BadReply, LinkLost)),
        (b"\x00\xff relays\r\n\r\n", BadReply),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nnot", (BadReply, LinkLost)),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n{}", BadReply),
        (b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n", BadReply),
        (b'HTTP/1.1 200 OK\r\nContent-Length: 29\r\n\r\n{"relays": [{"ison": "maybe"}]}', BadReply),
        (b"HTTP/1.1 401 No\r\nWWW-Authenticate: \r\n\r\n", (Refused, BadReply)),
        (b"HTTP/1.1 503 Busy\r\n\r\n", Refused),
    ],
)
def test_whatever_comes_back_is_one_of_our_own_errors(board, section, login, answer, error):
    switch = opened(section, **login)
    board.answer = answer
    with pytest.raises(error):
        switch.selected()


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"link": "relays.example"}, "https://HOST"),
        ({"link": "http://relays.example", "user": USER, "password_env": "X"}, "clear text"),
        ({"user": USER}, "password_env"),
        ({"set": {"path": "/on"}}, "{relay}"),
        ({"set": {"path": "/{relay}"}}, "{state}"),
        ({"words": {"on": "x", "off": "X"}}, "same"),
        ({"password": "curlew"}, "Extra"),
    ],
)
def test_a_mistake_in_the_section_is_found_before_anything_is_sent(section, wrong, says):
    with pytest.raises(ValidationError, match=says):
        HttpOptions.model_validate(section | wrong)
