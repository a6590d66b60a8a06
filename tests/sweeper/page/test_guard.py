"""Who may see the live page and press its buttons: nobody from another site, nobody without the token elsewhere."""

import asyncio
import json
import stat
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from drivers.config_files import station_file
from sweeper.clock import JumpingClock
from sweeper.errors import WrongInput
from sweeper.page.app import live_page
from sweeper.page.guard import HEADERS, TRIES, TRIES_S, WORD_HEADER, Door, host_name, is_loopback, token_in
from sweeper.station import load

HERE = "http://127.0.0.1:8473"
ELSEWHERE = "http://shack.example:8473"


def asked(
    door: Door,
    method: str,
    path: str,
    folder: Path,
    *,
    at: str = HERE,
    headers: Mapping[str, str] | None = None,
    content: str | bytes = b"",
) -> httpx.Response:
    """One request to the page, as a browser would send it, without a network between."""
    app = live_page(load(station_file("saltmarsh")), folder, door)

    async def go() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url=at) as client:
            return await client.request(method, path, headers=dict(headers or {}), content=content)

    return asyncio.run(go())


def own(door: Door, at: str = HERE, **more: str) -> dict[str, str]:
    """The headers that the page itself sends with a button."""
    return {"origin": at, "sec-fetch-site": "same-origin", WORD_HEADER: door.word, **more}


def test_every_answer_carries_the_policy_also_a_refusal(tmp_path: Path) -> None:
    for path in ("/", "/page.css", "/page.js", "/now", "/nowhere", "/report"):
        answer = asked(Door(None), "GET", path, tmp_path)
        for name, value in HEADERS.items():
            assert answer.headers[name] == value, (path, name)
    refused = asked(Door(None), "GET", "/", tmp_path, at="http://evil.example")
    assert refused.status_code == 403 and refused.headers["content-security-policy"]
    policy = HEADERS["content-security-policy"]
    assert "unsafe" not in policy and "default-src 'none'" in policy


def test_a_name_that_was_pointed_here_cannot_read_the_page(tmp_path: Path) -> None:
    # DNS rebinding: the browser believes in evil.example, whose address is now 127.0.0.1.
    for name in (
        "evil.example",
        "localhost.evil.example",
        "127.0.0.1.evil.example",
        "evil.example@127.0.0.1x",
    ):
        assert asked(Door(None), "GET", "/now", tmp_path, headers={"host": name}).status_code == 403
    for name in ("localhost:8473", "127.0.0.1:8473", "[::1]:8473", "LOCALHOST"):
        assert asked(Door(None), "GET", "/now", tmp_path, headers={"host": name}).status_code == 200


@pytest.mark.parametrize("path", ["/pause", "/resume", "/note"])
@pytest.mark.parametrize(
    "change",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": ""},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {WORD_HEADER: "guessed"},
        {WORD_HEADER: ""},
    ],
)
def test_no_other_site_presses_a_button(tmp_path: Path, path: str, change: Mapping[str, str]) -> None:
    door = Door(None)
    answer = asked(door, "POST", path, tmp_path, headers={**own(door), **change}, content='{"text": "x"}')
    assert answer.status_code == 403


def test_the_page_itself_may_and_is_told_that_no_daemon_runs(tmp_path: Path) -> None:
    door = Door(None)
    answer = asked(door, "POST", "/pause", tmp_path, headers=own(door), content="{}")
    assert answer.status_code == 503
    assert "No daemon runs here" in answer.json()["sentence"]


@pytest.mark.parametrize(
    "content", ["", "[]", "{", '{"text": 3}', '{"text": " "}', json.dumps({"text": "x" * 2001})]
)
def test_what_is_no_note_is_not_passed_on(tmp_path: Path, content: str) -> None:
    door = Door(None)
    assert asked(door, "POST", "/note", tmp_path, headers=own(door), content=content).status_code == 400


def test_a_body_without_end_is_refused(tmp_path: Path) -> None:
    door = Door(None)
    assert asked(door, "POST", "/note", tmp_path, headers=own(door), content=b"x" * 20_000).status_code == 413
    chunked = {**own(door), "transfer-encoding": "chunked", "content-length": ""}
    assert asked(door, "POST", "/note", tmp_path, headers=chunked, content=b"x").status_code == 413


@pytest.mark.parametrize("path", ["/now", "/events", "/report", "/page.js"])
def test_elsewhere_nothing_is_shown_without_the_token(tmp_path: Path, path: str) -> None:
    door = Door("a-token-of-some-length")
    assert asked(door, "GET", path, tmp_path, at=ELSEWHERE).status_code == 401
    for cookie in (
        "sweeper-token=wrong",
        "sweeper-token=",
        "sweeper-token",
        "a=b; sweeper-token=a-token",
        "=;;=",
    ):
        assert asked(door, "GET", path, tmp_path, at=ELSEWHERE, headers={"cookie": cookie}).status_code == 401
    first = asked(door, "GET", "/", tmp_path, at=ELSEWHERE)
    assert (first.status_code, first.headers["location"]) == (303, "/enter")


def test_the_token_opens_and_stays_in_a_cookie_that_scripts_and_other_sites_do_not_get(
    tmp_path: Path,
) -> None:
    door = Door("a-token-of-some-length")
    form = {"origin": ELSEWHERE, "content-type": "application/x-www-form-urlencoded"}
    answer = asked(
        door, "POST", "/enter", tmp_path, at=ELSEWHERE, headers=form, content="token=a-token-of-some-length"
    )
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    value = answer.headers["set-cookie"].split(";")[0]
    assert asked(door, "GET", "/now", tmp_path, at=ELSEWHERE, headers={"cookie": value}).status_code == 200
    # The cookie alone presses no button: the word of the page is needed as well.
    without_word = {"origin": ELSEWHERE, "cookie": value}
    assert asked(door, "POST", "/pause", tmp_path, at=ELSEWHERE, headers=without_word).status_code == 403


def test_guessing_is_slowed_and_then_even_the_right_token_waits() -> None:
    clock = JumpingClock(datetime(2026, 11, 1, 16, tzinfo=UTC))
    door = Door("a-token-of-some-length", clock=clock)
    assert not any(door.opens(f"guess {nth}") for nth in range(TRIES))
    assert not door.opens("a-token-of-some-length")
    clock.sleep(TRIES_S - 0.1)
    assert not door.opens("a-token-of-some-length")
    clock.sleep(0.1)
    assert door.opens("a-token-of-some-length")


def test_the_token_of_one_door_is_never_told_in_a_page(tmp_path: Path) -> None:
    door = Door("a-token-of-some-length")
    cookie = {"cookie": "sweeper-token=a-token-of-some-length"}
    for path in ("/", "/now", "/page.js", "/enter"):
        assert (
            "a-token-of-some-length"
            not in asked(door, "GET", path, tmp_path, at=ELSEWHERE, headers=cookie).text
        )


def test_the_token_file_is_made_for_its_owner_alone(tmp_path: Path) -> None:
    file = tmp_path / "page.token"
    token = token_in(file)
    assert len(token) >= 32 and token_in(file) == token
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_a_token_that_others_may_read_is_refused_with_the_mend(tmp_path: Path) -> None:
    file = tmp_path / "page.token"
    token_in(file)
    file.chmod(0o644)
    with pytest.raises(WrongInput, match="chmod 600"):
        token_in(file)


def test_a_token_file_behind_a_link_is_not_written(tmp_path: Path) -> None:
    target = tmp_path / "elsewhere"
    (tmp_path / "page.token").symlink_to(target)
    with pytest.raises(WrongInput, match="cannot be read"):
        token_in(tmp_path / "page.token")
    assert not target.exists()


@pytest.mark.parametrize(
    ("host", "loopback"),
    [("127.0.0.1", True), ("127.8.8.8", True), ("::1", True), ("localhost", True), ("0.0.0.0", False), ("::", False),
     ("192.0.2.1", False), ("shack.example", False)],
)  # fmt: skip
def test_only_the_loopback_address_needs_no_token(host: str, loopback: bool) -> None:
    assert is_loopback(host) is loopback


@pytest.mark.parametrize(("host", "name"), [("[::1]:80", "::1"), ("a:b:c", ""), ("", ""), ("[", "")])
def test_a_host_header_of_any_shape_has_a_name_or_none(host: str, name: str) -> None:
    assert host_name(host) == name


def test_a_station_named_like_markup_is_shown_as_it_is_named(tmp_path: Path) -> None:
    station = load(station_file("saltmarsh"))
    hostile = "<script>alert(1)<img src=x onerror=alert(2)>\"'"
    named = station.model_copy(update={"station": station.station.model_copy(update={"name": hostile})})
    app = live_page(named, tmp_path, Door(None))

    async def go() -> list[str]:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url=HERE) as client:
            return [(await client.get(path)).text for path in ("/", "/report", "/enter")]

    for text in asyncio.run(go()):
        assert "<script>alert" not in text and "<img" not in text
        assert "&lt;script&gt;alert(1)" in text
