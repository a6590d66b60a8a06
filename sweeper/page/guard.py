"""Who may see the page and who may press its buttons. No other module decides that.

By default the page listens on the loopback address and answers only when it is called by a loopback name, so that a
web site whose name was pointed here cannot read it. Elsewhere it wants a token first, kept by the browser in a cookie
that goes with no request from another site. Whatever changes something must come from the page itself: with its own
origin, and with a word that only the page was told.
"""

import hmac
import ipaddress
import os
import re
import secrets
import stat
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from pathlib import Path

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from drivers.ordinary_files import opened
from sweeper.clock import Clock, SystemClock
from sweeper.errors import WrongInput
from sweeper.store import write_new

COOKIE = "sweeper-token"
WORD_HEADER = "x-sweeper-word"
LOOPBACK = ("localhost", "127.0.0.1", "::1")
OPEN_TO_ALL = ("/enter", "/page.css")
LONGEST_BODY = 16 * 1024
MOST_TOKEN_BYTES = 1024
TRIES, TRIES_S = 10, 60.0
"""Wrong tokens taken in so many seconds, from everybody together; then nobody may try for a while."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # With no-referrer a form of our own would come from the origin "null".
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}


@dataclass
class Door:
    """What opens the page. `token` is None on the loopback address; `word` is new at each start."""

    token: str | None
    word: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    clock: Clock = field(default_factory=SystemClock)
    _wrong: list[float] = field(default_factory=list)

    def opens(self, token: str) -> bool:
        """Whether this is the token; False without looking after too many wrong ones."""
        now = self.clock.monotonic()
        self._wrong = [moment for moment in self._wrong if now - moment < TRIES_S]
        if self.token is None or len(self._wrong) >= TRIES:
            return False
        if hmac.compare_digest(token.encode(), self.token.encode()):
            return True
        self._wrong.append(now)
        return False

    def knows(self, headers: Headers) -> bool:
        """Whether the request brings the cookie that `enter` gave."""
        if self.token is None:
            return True
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return False
        return cookie is not None and hmac.compare_digest(cookie.value.encode(), self.token.encode())


class Guard:
    """Lets through what may pass, and puts the policy on every answer."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app = app
        self._door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def with_policy(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    if name not in headers:
                        headers[name] = value
            await send(message)

        refusal = self._refusal(scope)
        app: ASGIApp = self._app if refusal is None else refusal
        await app(scope, receive, with_policy)

    def _refusal(self, scope: Scope) -> PlainTextResponse | RedirectResponse | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if self._door.token is None and host_name(host) not in LOOPBACK:
            return PlainTextResponse("This page answers to localhost only.", 403)
        path = scope["path"]
        if path not in OPEN_TO_ALL and not self._door.knows(headers):
            if scope["method"] == "GET" and path == "/":
                return RedirectResponse("/enter", 303)
            return PlainTextResponse("The token is missing; open /enter first.", 401)
        if scope["method"] in ("GET", "HEAD"):
            return None
        if not _same_origin(headers, host):
            return PlainTextResponse("This came from another site.", 403)
        if path != "/enter" and not hmac.compare_digest(
            headers.get(WORD_HEADER, "").encode(), self._door.word.encode()
        ):
            return PlainTextResponse("This page is from before the last start; reload it.", 403)
        length = headers.get("content-length", "")
        if not re.fullmatch("[0-9]{1,9}", length) or int(length) > LONGEST_BODY:
            return PlainTextResponse("That is too long.", 413)
        return None


def is_loopback(host: str) -> bool:
    """Whether a page that listens on `host` can be reached from this computer alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


_HOST = re.compile(r"([A-Za-z0-9.-]+|\[[0-9A-Fa-f:.]+\])(?::[0-9]{1,5})?")
"""A name or an address, and perhaps a port (RFC 3986, section 3.2, without the user's name)."""


def host_name(host: str) -> str:
    """The name in a Host header, without its port; empty where it is none."""
    found = _HOST.fullmatch(host)
    return found[1].strip("[]").lower() if found else ""


def _same_origin(headers: Headers, host: str) -> bool:
    """A browser sends Origin with every POST, and Sec-Fetch-Site where it can; both must be of this page."""
    own = (f"http://{host}", f"https://{host}")
    return headers.get("origin", "") in own and headers.get("sec-fetch-site", "same-origin") == "same-origin"


def token_in(file: Path) -> str:
    """The token in a file that only its owner may read; a new one is written where there is no file."""
    try:
        write_new(file, f"{secrets.token_urlsafe(24)}\n".encode("ascii"), 0o600)
    except FileExistsError:
        pass
    except OSError as fault:
        raise WrongInput(
            f"{file}: no token can be kept there ({fault.strerror}). Name another file."
        ) from fault
    try:
        with opened(file) as kept:
            mode, token = os.fstat(kept.fileno()).st_mode, kept.read(MOST_TOKEN_BYTES).decode("ascii").strip()
    except (OSError, UnicodeDecodeError) as fault:
        raise WrongInput(
            f"{file}: the token cannot be read ({fault}). Delete the file to get a new one."
        ) from fault
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise WrongInput(
            f"{file}: others on this computer may read the token. Take their rights away with `chmod 600 {file}`."
        )
    if len(token) < 16:
        raise WrongInput(
            f"{file}: the token is shorter than 16 characters. Delete the file to get a new one."
        )
    return token
