"""The page of an A/B test: its buttons are guarded, one test runs at a time, and its end leaves relays at rest."""

import asyncio
import json
import re
import threading
import time
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest

from drivers.config_files import station_file
from drivers.errors import Unsupported
from sweeper.attended import advice
from sweeper.attended.by_hand import CONTRADICT
from sweeper.page.ab_routes import wanted_of
from sweeper.page.ab_test import AbTest, Wanted, with_buttons
from sweeper.page.app import live_page
from sweeper.page.guard import WORD_HEADER, Door
from sweeper.station import load
from sweeper.store import kept_ab_tests
from sweeper.words import ANTENNA_BYPASS
from tests.sweeper.attended.on_air_now import PlantedSound
from tests.sweeper.attended.test_at_station import as_found, sounding
from tests.sweeper.daemon.conftest import Outpost, outpost
from tests.sweeper.page.test_guard import HERE, asked, own

__all__ = ["outpost"]
DEADLINE_S = 60


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + DEADLINE_S
    while not true():
        assert time.monotonic() < end
        time.sleep(0.02)


def a_test(outpost: Outpost, sound: PlantedSound) -> AbTest:
    outpost.store.close()  # as while no daemon runs
    return AbTest(outpost.station, outpost.store.folder.parent, outpost.clock, lambda station, name: sound)


def test_its_buttons_are_guarded_as_all_others(tmp_path: Path) -> None:
    door = Door(None)
    for path in ("/ab/begin", "/ab/press"):
        assert asked(door, "POST", path, tmp_path, content="{}").status_code == 403
        other = {**own(door), "origin": "http://evil.example"}
        assert asked(door, "POST", path, tmp_path, headers=other, content="{}").status_code == 403
        forged = {**own(door), WORD_HEADER: "guess"}
        assert asked(door, "POST", path, tmp_path, headers=forged, content="{}").status_code == 403
    locked = Door("a token of sixteen letters")
    assert asked(locked, "GET", "/ab", tmp_path, at="http://shack.example:8473").status_code == 401


def test_the_page_and_what_it_needs_are_there(tmp_path: Path) -> None:
    page = asked(Door(None), "GET", "/ab", tmp_path)
    assert page.status_code == 200 and 'id="big"' in page.text
    for path in ("/ab.css", "/ab.js"):
        assert asked(Door(None), "GET", path, tmp_path).status_code == 200
    now = asked(Door(None), "GET", "/ab/now", tmp_path).json()
    assert now == {"running": False, "view": None, "answer": "", "sentence": "", "lines": [], "figures": []}


@pytest.mark.parametrize(
    "body",
    [
        '{"hz": "7000"}',
        '{"hz": 1}',
        '{"minutes": 0}',
        '{"minutes": 1e9}',
        '{"sound": 7}',
        "[]",
        "no",
        '{"hz": NaN}',
        '{"hz": 1' + "0" * 400 + "}",
        '{"minutes": 1' + "0" * 400 + "}",
        '{"minutes": -1e400}',
    ],
)
def test_what_is_no_test_is_refused_in_words(body: str, tmp_path: Path) -> None:
    door = Door(None)
    answer = asked(door, "POST", "/ab/begin", tmp_path, headers=own(door), content=body)
    assert answer.status_code == 400 and not answer.json()["ok"]


def test_a_button_without_a_test_says_so(tmp_path: Path) -> None:
    door = Door(None)
    for body, status in (('{"key": "switched"}', 409), ('{"key": "transmit"}', 400)):
        answer = asked(door, "POST", "/ab/press", tmp_path, headers=own(door), content=body)
        assert answer.status_code == status


def test_what_is_asked_for_is_understood() -> None:
    told = {"hz": 7.1e6, "minutes": 3, "by_hand": True, "sound": "", "keep": True}
    assert wanted_of(told) == Wanted(7.1e6, 3.0, True, None, True)


@pytest.mark.slow
def test_a_test_from_the_page_ends_in_its_sentence_is_kept_and_leaves_the_station_as_found(
    outpost: Outpost,
) -> None:
    test = a_test(outpost, sounding(outpost))
    assert test.begin(Wanted(minutes=1.0, keep=True))
    assert not test.begin(Wanted())
    until(lambda: not test.running)
    seen = test.seen()
    assert "the stage raised S/N by" in seen["sentence"] and dict(seen["figures"])["S/N change"]
    assert seen["answer"].startswith("It helps: S/N +")
    json.dumps(seen, allow_nan=False)
    assert as_found(outpost)
    (kept,) = kept_ab_tests(outpost.store.folder)
    assert json.loads(kept)["from"] == "now"


@pytest.mark.slow
def test_the_end_of_the_server_rests_the_relays(outpost: Outpost) -> None:
    test = a_test(outpost, sounding(outpost))
    test.begin(Wanted(minutes=60.0))
    until(lambda: outpost.board.standing == "antenna-stage")
    test.end()
    assert not test.running and as_found(outpost)


def test_an_input_that_is_not_there_is_told(outpost: Outpost) -> None:
    def none(station: object, name: object) -> PlantedSound:
        raise Unsupported("sound input", "there is none called card.", "There are: rx.monitor.")

    test = AbTest(outpost.station, outpost.store.folder.parent, outpost.clock, none)
    test.begin(Wanted(sound="card"))
    until(lambda: not test.running)
    assert "There are: rx.monitor." in test.seen()["sentence"]
    assert not outpost.board.history


def test_nobody_at_a_page_is_told_to_press_a_key() -> None:
    """The page has buttons for both, whatever sentence asks for them."""
    asked = [
        advice.next_step(by_hand=True, keys=True, path=ANTENNA_BYPASS, in_s=0.0, every_s=5.0, decided=decided)
        for decided in (False, True)
    ]
    for sentence in (*asked, f"Or {advice.LOAD}", CONTRADICT):
        told = with_buttons(sentence)
        assert not re.search(r"space bar|press L\b|press q\b", told)
        assert "the button" in told or "press Load" in told


def test_a_defect_of_the_program_is_told_and_leaves_the_page_ready(outpost: Outpost) -> None:
    def breaks(*_: object) -> PlantedSound:
        raise ZeroDivisionError

    outpost.store.close()
    test = AbTest(outpost.station, outpost.store.folder.parent, outpost.clock, breaks)
    assert test.begin(Wanted())
    until(lambda: not test.running)
    assert "a defect of its own" in test.seen()["sentence"]
    assert test.begin(Wanted())
    until(lambda: not test.running)


def test_buttons_pressed_by_the_thousand_do_not_pile_up(outpost: Outpost) -> None:
    held = threading.Event()

    def waits(*_: object) -> PlantedSound:
        held.wait(DEADLINE_S)
        raise Unsupported("sound", "there is none.")

    outpost.store.close()
    test = AbTest(outpost.station, outpost.store.folder.parent, outpost.clock, waits)
    test.begin(Wanted())
    assert all(test.press("switched") for _ in range(5000))
    assert test.waiting <= 100
    held.set()
    until(lambda: not test.running)


def test_looking_at_the_page_starts_one_program_at_a_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    going: list[int] = []
    most: list[int] = []

    def inputs() -> list[tuple[str, str]]:
        going.append(1)
        most.append(len(going))
        time.sleep(0.02)
        going.pop()
        return [("a", "A")]

    monkeypatch.setattr("sweeper.page.ab_routes._inputs", inputs)
    app = live_page(load(station_file("saltmarsh")), tmp_path, Door(None))

    async def go() -> list[httpx.Response]:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url=HERE) as client:
            return await asyncio.gather(*(client.get("/ab") for _ in range(20)))

    assert all("A" in each.text for each in asyncio.run(go()))
    assert set(most) == {1}
