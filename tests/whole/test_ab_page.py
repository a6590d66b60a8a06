"""The page of an A/B test in a real browser: begun, followed and ended by its buttons, on a desk and on a phone."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import uvicorn
from selenium import webdriver
from selenium.webdriver.common.by import By

from drivers.contracts import Block
from sweeper.page.ab_test import AbTest
from sweeper.page.app import live_page
from sweeper.page.guard import Door
from tests.sweeper.attended.on_air_now import PlantedSound
from tests.sweeper.attended.test_at_station import as_found, sounding
from tests.sweeper.daemon.conftest import Outpost, outpost
from tests.whole.browser import browser, look
from tests.whole.unattended import until

__all__ = ["outpost"]
pytestmark = [pytest.mark.browser, pytest.mark.clock]

SLOW_S = 120.0


class Held:
    """A sound that stops after a few changes, until somebody lets it go on."""

    def __init__(self, sound: PlantedSound) -> None:
        self._sound = sound
        self.shown: Callable[[], bool] = lambda: False
        self.reached, self.go_on = threading.Event(), threading.Event()

    def take(self, seconds: float, after_s: float) -> Block:
        if self.shown():
            self.reached.set()
            self.go_on.wait(SLOW_S)
        return self._sound.take(seconds, after_s)

    def unknown(self) -> tuple[str, ...]:
        return ()

    def close(self) -> None:
        self._sound.close()


@contextmanager
def served(outpost: Outpost, test: AbTest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The live page with this test on it; its address."""
    monkeypatch.setattr("sweeper.page.app.AbTest", lambda station, data: test)
    app = live_page(outpost.station, outpost.store.folder.parent, Door(None))
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error", timeout_graceful_shutdown=1))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        until(lambda: server.started, "the server")
        yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}/ab"
    finally:
        test.end()
        server.should_exit = True
        thread.join(20)


def text(driver: webdriver.Chrome, name: str) -> str:
    return str(driver.execute_script("return document.getElementById(arguments[0]).textContent", name))


def fits(driver: webdriver.Chrome) -> bool:
    """Nothing stands out at the side, and the large button is large enough for a thumb."""
    wide = driver.execute_script(
        "return document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    )
    button = driver.find_element(By.ID, "big").rect
    return bool(wide) and button["height"] >= 44 and button["width"] >= 160


def legible(driver: webdriver.Chrome) -> bool:
    """No level is parted from its unit by the end of a line, and what stands below the interval can be read."""
    lines = driver.execute_script(
        "return [...document.querySelectorAll('#levels td:not(:last-child)')].map((each) => "
        "each.firstChild === null ? 1 : (() => { const all = document.createRange(); all.selectNodeContents(each); "
        "return all.getClientRects().length; })())"
    )
    high = driver.execute_script(
        "return [...document.querySelectorAll('#interval text')].map((each) => each.getBoundingClientRect().height)"
    )
    return len(high) == 2 and max(lines) == 1 and min(high) >= 10


def test_a_test_is_begun_followed_and_ended_on_the_page(
    outpost: Outpost, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = Held(sounding(outpost))
    outpost.store.close()  # as while no daemon runs
    test = AbTest(outpost.station, outpost.store.folder.parent, outpost.clock, lambda station, name: held)
    held.shown = lambda: ((test.seen()["view"] or {}).get("edges", 0)) >= 4
    with served(outpost, test, monkeypatch) as address, browser(tmp_path / "chromium") as chromium:
        chromium.get(address)
        until(lambda: text(chromium, "big") == "Begin", "a painted page")
        chromium.find_element(By.ID, "big").click()
        until(held.reached.is_set, "four changes", SLOW_S)
        until(lambda: "Too early" in text(chromium, "answer"), "what is known by then")
        assert text(chromium, "big") == "End"
        assert text(chromium, "said") == ""
        assert text(chromium, "stands").startswith("NOW ")
        rows = "return [...document.querySelectorAll('#levels th')].map((each) => each.textContent)"
        assert chromium.execute_script(rows) == ["signal", "noise", "S/N", "meter"]
        assert len(chromium.find_elements(By.CSS_SELECTOR, "#out path, #in path")) == 2
        for width in (1280, 390):
            look(chromium, width)
            chromium.save_screenshot(str(tmp_path / f"running-{width}.png"))
            assert fits(chromium), width
        held.go_on.set()
        until(lambda: text(chromium, "big") == "Once more", "the end", SLOW_S)
        assert text(chromium, "answer").startswith("It helps: S/N +")
        assert "the stage raised S/N by" in text(chromium, "next")
        assert "S/N change: " in text(chromium, "lines")
        for width in (1280, 390):
            look(chromium, width)
            chromium.save_screenshot(str(tmp_path / f"ended-{width}.png"))
            assert fits(chromium) and legible(chromium), width
        assert chromium.get_log("browser") == []
    assert as_found(outpost)
