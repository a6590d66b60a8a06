"""Relay boards with a web interface: one request sets a relay, another asks it.

Certificates are always checked, against the system's authorities or `ca_file`; redirections are not followed
and no proxy is asked, since a board answers for itself or not at all. The client is httpx.
"""

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Literal
from urllib.parse import quote, urlsplit

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from drivers.contracts import Driver
from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused
from drivers.protocols.keying import in_names, in_text
from drivers.switches.login import Login, untrusted
from drivers.switches.relays import RelayOptions, Relays, Setting, answering
from drivers.waiting import Deadline

if TYPE_CHECKING:
    from httpx import Response

LONGEST_ANSWER = 1 << 16


class Request(BaseModel):
    """What to send. ``{relay}`` stands for the relay's name and, when setting, ``{state}`` for its state's word."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    method: Literal["GET", "POST", "PUT", "PATCH"] = "GET"
    path: Annotated[
        str,
        Field(pattern="^/", description="The path on the board, beginning with /, such as /relays/{relay}."),
    ]
    body: str | None = None
    content_type: Annotated[
        str,
        Field(
            pattern=r"^[!-~]+(; ?[!-~]+)?$",
            max_length=100,
            description="a media type in plain letters, such as application/json or text/plain; charset=utf-8",
        ),
    ] = "application/json"

    def filled(self, relay: str, state: str) -> tuple[str, bytes | None]:
        """Path and body for one relay; braces other than the two placeholders stay as they are."""

        def fill(text: str, relay: str, state: str) -> str:
            return text.replace("{relay}", relay).replace("{state}", state)

        body = None if self.body is None else fill(self.body, relay, state).encode()
        return fill(self.path, quote(relay, safe=""), quote(state, safe="")), body


class Words(BaseModel):
    """The board's words for the two states, as text."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    on: str = "on"
    off: str = "off"

    @model_validator(mode="after")
    def _differ(self) -> "Words":
        if self.on.lower() == self.off.lower():
            raise ValueError("the words for on and off are the same")
        return self


class HttpOptions(RelayOptions, Login):
    """The switch section of a station file with ``driver: http``.

    `ask` answers with the state as plain text, or, with `value_at` (a JSON pointer, RFC 6901), inside JSON.
    """

    link: str
    set: Request
    ask: Request
    value_at: (
        Annotated[
            str,
            Field(
                pattern="^(/|$)",
                description="A JSON pointer, such as /state, or nothing for the whole answer.",
            ),
        ]
        | None
    ) = None
    words: Words = Words()
    auth: Literal["basic", "digest"] = "basic"
    timeout_s: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)] = 2.0

    @field_validator("words", mode="before")
    @classmethod
    def _words_are_text(cls, words: object) -> object:
        if isinstance(words, Mapping):
            return {
                name: json.dumps(word) if isinstance(word, bool) else str(word)
                for name, word in words.items()
            }
        return words

    @model_validator(mode="after")
    def _reachable_and_discreet(self) -> "HttpOptions":
        parts = urlsplit(self.link)
        if (
            parts.scheme not in ("http", "https")
            or not parts.hostname
            or parts.path.strip("/")
            or parts.username
        ):
            raise ValueError(
                f"{self.link} is no board's address; write https://HOST or http://HOST:PORT, login apart"
            )
        self.refuse_clear_text(self.link, "http", "https")
        if (
            "{relay}" not in self.set.path + (self.set.body or "")
            and len(next(iter(self.paths.values()))) > 1
        ):
            raise ValueError("set names no {relay}, so it cannot tell several relays apart")
        if "{state}" not in self.set.path + (self.set.body or ""):
            raise ValueError("set names no {state}, so on and off would be the same request")
        relays = next(iter(self.paths.values()))
        if word := in_names(self.set.path, *relays):
            raise ValueError(
                f"a path or relay with {word!r} in its name belongs to a transmitter, not to a relay"
            )
        for relay in relays:  # the first request, before anybody has shown to be a web server
            path, body = self.ask.filled(relay, "")
            if told := in_text(path, body or b"", self.ask.content_type):
                raise ValueError(f"ask must be harmless whoever listens, but {told}")
        return self


class WebBoard:
    """A board behind a web interface, one connection to it while it keeps that open."""

    def __init__(self, options: HttpOptions, part: str) -> None:
        import httpx

        from drivers.switches.web_client import Basic, Digest, Within

        self._options = options
        self._part = part
        self._relays = tuple(next(iter(options.paths.values())))
        login: httpx.Auth | None = None
        if options.user is not None:
            kind = Basic if options.auth == "basic" else Digest
            login = kind(options.user, options.password(part))
        self._transport = Within(options.trusted(part))
        self._client = httpx.Client(
            base_url=options.link,
            auth=login,
            transport=self._transport,
            headers={"Accept-Encoding": "identity"},
            timeout=options.timeout_s,
            follow_redirects=False,
            trust_env=False,
        )

    def identify(self) -> str:
        return f"web board at {self._options.link}"

    def read(self) -> Setting:
        return {relay: self._state(relay) for relay in self._relays}

    def write(self, relay: str, on: bool) -> None:
        words = self._options.words
        self._send(self._options.set, relay, words.on if on else words.off)

    def close(self) -> None:
        self._client.close()

    def _state(self, relay: str) -> bool:
        answer, words = self._send(self._options.ask, relay, ""), self._options.words
        if self._options.value_at is not None:
            answer = _value_at(answer, self._options.value_at.replace("{relay}", relay), self._part)
        states = {words.on.lower(): True, words.off.lower(): False}
        word = answer.strip().lower()
        if word not in states:
            raise BadReply(
                self._part, f"relay {relay} stands at {answer[:60]!r}, neither {words.on} nor {words.off}."
            )
        return states[word]

    def _send(self, request: Request, relay: str, state: str) -> str:
        """Every request may be sent twice without harm, so a lost answer is asked for once more.

        Each time has one deadline for everything: name, connection, login, head, content and trailer.
        """
        for last in (False, True):
            self._transport.deadline = Deadline(self._options.timeout_s, self._part)
            try:
                return self._once(request, relay, state)
            except (LinkLost, LinkTimeout, BadReply):
                if last:
                    raise
        raise AssertionError("unreachable")

    def _once(self, request: Request, relay: str, state: str) -> str:
        import httpx

        path, body = request.filled(relay, state)
        headers = {} if body is None else {"Content-Type": request.content_type}
        try:
            with self._client.stream(request.method, path, content=body, headers=headers) as answer:
                content = self._content(answer)
        except httpx.TimeoutException:
            raise self._silence() from None
        except httpx.ConnectError as fault:
            if "CERTIFICATE_VERIFY_FAILED" in str(fault):
                raise untrusted(self._part, fault) from None
            raise LinkLost(self._part, f"it cannot be reached: {fault}.", "Is it on the network?") from None
        except httpx.NetworkError as fault:
            raise LinkLost(
                self._part, f"the connection broke: {fault!r}.", "It is tried again by itself."
            ) from None
        except (httpx.HTTPError, httpx.InvalidURL) as fault:
            raise BadReply(self._part, f"its answer is no HTTP: {fault}.") from None
        if answer.status_code == 401:
            raise Refused(
                self._part, "it does not accept user and password.", "Check user, password and auth."
            )
        if answer.is_redirect:
            raise Refused(self._part, f"it sends {path} elsewhere.", "Give its own address as link.")
        if not answer.is_success:
            raise Refused(
                self._part, f"it refused {path} with HTTP {answer.status_code}.", "Check set and ask."
            )
        return content

    def _content(self, answer: "Response") -> str:
        """The answer's text, as it came: what was packed all the same is no answer, and fills no memory."""
        content = b""
        for piece in answer.iter_raw():
            content += piece
            if len(content) > LONGEST_ANSWER:
                raise BadReply(self._part, f"its answer is longer than {LONGEST_ANSWER} bytes.", "Check ask.")
        return content.decode("utf-8", "replace")

    def _silence(self) -> LinkTimeout:
        return LinkTimeout(
            self._part, f"no answer within {self._options.timeout_s:g} s.", "Is it switched on?"
        )


def _value_at(text: str, pointer: str, part: str) -> str:
    """The value that a JSON pointer (RFC 6901) names, as text; BadReply when there is none."""
    try:
        value = json.loads(text)
        for token in pointer.split("/")[1:]:
            key = token.replace("~1", "/").replace("~0", "~")
            value = value[int(key)] if isinstance(value, list) else value[key]
    except (ValueError, KeyError, IndexError, TypeError, RecursionError):
        raise BadReply(part, f"its answer {text[:60]!r} has no value at {pointer}.") from None
    return value if isinstance(value, str) else json.dumps(value)


def open_switch(options: HttpOptions) -> Relays:
    """A board that has answered; `RigError` when it does not."""
    part = f"relay board at {options.link}"
    return answering(part, WebBoard(options, part), options)


DRIVER = Driver(kind="switch", name="http", options=HttpOptions, open=open_switch)
