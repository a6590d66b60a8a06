"""The installed program in a real browser: the live page on a daemon that measures the simulated station."""

import json
import signal
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime
from http.client import HTTPConnection
from urllib.parse import urlsplit

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from sweeper.noise.seen import Found, Heard
from sweeper.noise.written import line_of
from sweeper.store import keep_noise
from tests.whole.browser import browser, look, page_served, violations
from tests.whole.unattended import Unattended, ended, unattended, until

pytestmark = [pytest.mark.browser, pytest.mark.clock]

SLOW_S = 90.0
"""A reduction with all that it imports takes seconds, and many of them where other tests run beside."""
HOSTILE = '<img src=x onerror="document.title=\'got in\'"><script>document.title="got in"</script>'
INJECTED = """
const inline = document.createElement("script");
inline.textContent = "window.gotIn = 1";
const handler = document.createElement("div");
handler.innerHTML = '<img src=x onerror="window.gotIn = 2">';
const fetched = document.createElement("script");
fetched.src = "data:text/javascript,window.gotIn=3";
document.body.append(inline, handler, fetched);
"""


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Unattended]:
    # Visits of about 70 ms: long enough to be seen, short enough for many passes in a test.
    with unattended(tmp_path_factory.mktemp("station"), settle_s=0.05) as here:
        yield here


@pytest.fixture(scope="module")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    with browser(tmp_path_factory.mktemp("chromium")) as driver:
        yield driver


def text(driver: webdriver.Chrome, selector: str) -> str:
    """The text of one element, also while the page repaints."""
    return str(
        driver.execute_script("return document.querySelector(arguments[0])?.textContent ?? ''", selector)
    )


def opened(driver: webdriver.Chrome, address: str) -> None:
    driver.get(address)
    until(lambda: driver.execute_script("return document.documentElement.dataset.painted"), "a painted page")


def now(address: str) -> dict[str, object]:
    with urllib.request.urlopen(address + "now", timeout=10) as answer:
        told: dict[str, object] = json.load(answer)["now"]
    return told


@pytest.mark.quick
def test_the_page_follows_a_pass_while_it_runs(station: Unattended, chromium: webdriver.Chrome) -> None:
    with station.running(), page_served(station.file, station.data) as address:
        until(station.answers, "the daemon")
        opened(chromium, address)
        until(lambda: text(chromium, "#heading").startswith("Measuring "), "the band being measured")
        seen = set()

        def several() -> bool:
            seen.add(text(chromium, "#progress-words"))
            return len(seen) >= 4

        until(several, "visits going by")
        until(lambda: "pass" in text(chromium, "#passes li"), "a pass that is over")
        until(lambda: "passes done" in text(chromium, "#health"), "the night so far")
        until(
            lambda: len(chromium.find_elements(By.CSS_SELECTOR, "#bands li")) == 2,
            "both bands' findings",
            SLOW_S,
        )
        first = len(chromium.find_elements(By.CSS_SELECTOR, ".funnel .span"))
        until(
            lambda: len(chromium.find_elements(By.CSS_SELECTOR, ".funnel .span")) > first,
            "an interval after one more pass",
            SLOW_S,
        )
        assert chromium.get_log("browser") == []


def test_pause_resume_and_a_note_by_keyboard_alone(station: Unattended, chromium: webdriver.Chrome) -> None:
    with station.running(), page_served(station.file, station.data) as address:
        until(station.answers, "the daemon")
        opened(chromium, address)
        until(lambda: not chromium.find_element(By.ID, "pause").get_property("disabled"), "a button to press")

        def press(*keys: str) -> None:
            chromium.switch_to.active_element.send_keys(*keys)

        def reach(wanted: str) -> None:
            reached = []
            while not reached or reached[-1] != wanted:
                press(Keys.TAB)
                reached.append(chromium.switch_to.active_element.get_attribute("id") or "a link")
                assert len(reached) < 6, reached

        reach("pause")
        press(Keys.ENTER)
        until(lambda: text(chromium, "#heading").startswith("Paused by you at "), "the pause")
        state = station.ask("status").state
        assert state is not None and state.doing == "paused"
        until(station.resting, "relays at rest")
        assert chromium.switch_to.active_element.text == "Resume", "the focus stays on the button that turned"
        reach("note")
        press("Ferrites on the router", Keys.ENTER)
        until(lambda: text(chromium, "#notes li") == "Ferrites on the router", "the note in the page")
        with station.store() as store:
            assert "Ferrites on the router" in [note.text for note in store.notes()]
        chromium.find_element(By.ID, "resume").send_keys(Keys.ENTER)
        until(lambda: text(chromium, "#heading").startswith("Measuring"), "measuring again")


def test_a_daemon_that_dies_is_missed_and_its_successor_is_found(
    station: Unattended, chromium: webdriver.Chrome
) -> None:
    with page_served(station.file, station.data) as address:
        opened(chromium, address)
        assert text(chromium, "#heading") == "No daemon is running"
        assert "sweeper run" in text(chromium, "#why")
        with station.running() as process:
            until(lambda: text(chromium, "#heading").startswith("Measuring"), "the daemon that came later")
            ended(process, signal.SIGTERM)
        until(lambda: text(chromium, "#heading") == "No daemon is running", "the end to be seen")
        with station.running():
            until(lambda: text(chromium, "#heading").startswith("Measuring"), "the next daemon")


def test_a_page_server_that_starts_again_is_found_by_an_open_page(
    station: Unattended, chromium: webdriver.Chrome
) -> None:
    with page_served(station.file, station.data) as address:
        port = str(urlsplit(address).port)
        opened(chromium, address)
    until(lambda: chromium.find_element(By.ID, "lost").is_displayed(), "the loss to be told")
    with page_served(station.file, station.data, "--port", port):
        until(lambda: not chromium.find_element(By.ID, "lost").is_displayed(), "the page to find its server")


def test_a_reload_keeps_the_place_and_what_was_being_written(
    station: Unattended, chromium: webdriver.Chrome
) -> None:
    with station.running(), page_served(station.file, station.data) as address:
        until(station.answers, "the daemon")
        look(chromium, 390, 700)
        opened(chromium, address)
        until(
            lambda: len(chromium.find_elements(By.CSS_SELECTOR, "#bands li")) == 2, "a page worth scrolling"
        )
        until(lambda: chromium.find_elements(By.CSS_SELECTOR, "#paths td"), "a table of last readings")
        for summary in chromium.find_elements(By.CSS_SELECTOR, "main > details:not([hidden]) > summary"):
            summary.click()
        wide = "const it = document.querySelector('.scroll'); return it.scrollWidth - it.clientWidth"
        assert chromium.execute_script(wide) <= 0, "a phone shows the last readings whole"
        chromium.find_element(By.ID, "note").send_keys("half a no")
        chromium.execute_script("window.scrollTo(0, 900)")
        chromium.refresh()
        until(
            lambda: chromium.execute_script("return document.documentElement.dataset.painted"),
            "the page again",
        )
        assert chromium.find_element(By.ID, "note").get_property("value") == "half a no"
        folded = "return document.querySelectorAll('main > details:not([open], [hidden])').length"
        assert chromium.execute_script(folded) == 0, "what was unfolded stays so"
        # What is being read stays where it is; lines that come and go above it move the number a little.
        until(
            lambda: abs(chromium.execute_script("return window.scrollY") - 900) < 150, "the place on the page"
        )


def test_markup_in_a_note_stays_text(station: Unattended, chromium: webdriver.Chrome) -> None:
    with station.running(), page_served(station.file, station.data) as address:
        until(station.answers, "the daemon")
        opened(chromium, address)
        title = chromium.title
        chromium.find_element(By.ID, "note").send_keys(HOSTILE, Keys.ENTER)
        until(lambda: text(chromium, "#notes li") == HOSTILE, "the note as it was written")
        assert chromium.title == title
        assert chromium.find_elements(By.CSS_SELECTOR, "#notes img, #notes script") == []


def test_no_injected_script_runs_on_the_page_or_the_report(
    station: Unattended, chromium: webdriver.Chrome
) -> None:
    with station.running("--passes", "3") as process:
        ended(process)
    with page_served(station.file, station.data) as address:
        for path in ("", "report"):
            until(lambda: urllib.request.urlopen(address + "now").status == 200, "the page")
            until(lambda path=path: _status(address + path) == 200, f"/{path}", SLOW_S)
            chromium.get(address + path)
            chromium.execute_script(INJECTED)
            told = chromium.get_log("browser")
            assert chromium.execute_script("return window.gotIn ?? null") is None
            assert any("Content Security Policy" in each["message"] for each in told), told


def _status(address: str) -> int:
    try:
        with urllib.request.urlopen(address) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as refused:
        return refused.code


def test_axe_finds_nothing_wrong(station: Unattended, chromium: webdriver.Chrome) -> None:
    with station.running("--passes", "3") as process:
        ended(process)
    with page_served(station.file, station.data) as address:
        until(lambda: _status(address + "report") == 200, "the report", SLOW_S)
        for path in ("", "report"):
            for width, dark in ((390, False), (390, True), (1280, False), (1280, True)):
                look(chromium, width, dark=dark)
                chromium.get(address + path)
                if not path:
                    until(
                        lambda: len(chromium.find_elements(By.CSS_SELECTOR, "#bands li")) == 2,
                        "findings",
                        SLOW_S,
                    )
                assert violations(chromium) == [], (path, width, dark)


def test_the_answer_and_the_rig_lie_above_the_fold(station: Unattended, chromium: webdriver.Chrome) -> None:
    with station.running("--passes", "3") as process:
        ended(process)
    with page_served(station.file, station.data) as address:
        for width, height in ((1280, 800), (390, 844)):
            look(chromium, width, height)
            opened(chromium, address)
            rows = "return document.querySelectorAll('#rows tbody').length"
            until(lambda: chromium.execute_script(rows) == 2, "a row a band", SLOW_S)  # noqa: B023
            bottoms = chromium.execute_script(
                "return [...document.querySelectorAll('h1, #tonight, #rows tbody, .rig, #pause')]"
                ".map((one) => one.getBoundingClientRect().bottom)"
            )
            assert len(bottoms) == 6 and max(bottoms) <= height, bottoms
            assert "while no daemon runs" in text(chromium, ".rig")


def test_local_noise_is_named_in_a_line_and_the_rest_is_a_click_away(
    station: Unattended, chromium: webdriver.Chrome
) -> None:
    with station.running("--passes", "3") as process:
        ended(process)
    comb = Found("comb", 9.8e6, 1.0e7, 0.4, 0.02, -60.0, 65_000.0, 1.0, 10, 12.0)
    for number in range(1, 6):
        heard = Heard(1.77e9 + number, number, "31 m", 9.8e6, 1.0e7, -40.0, 0.3, 0.01, True, (comb,))
        keep_noise(station.folder, datetime.fromtimestamp(heard.time, UTC), line_of([heard]))
    line = "return document.querySelector('.local').getBoundingClientRect()"
    with page_served(station.file, station.data) as address:
        for width, height in ((1280, 800), (390, 844)):
            look(chromium, width, height)
            opened(chromium, address)
            until(lambda: text(chromium, "#local-noise") != "", "the noise", SLOW_S)
            assert text(chromium, "#local-noise").startswith(
                "Local noise, up to 2.2 dB on 31 m: comb every 65 kHz"
            )
            there = chromium.execute_script(line)
            assert 0 < there["height"] < 30 and there["bottom"] < height and there["right"] <= width
            assert violations(chromium) == []
        chromium.find_element(By.ID, "local-noise").click()
        until(lambda: chromium.find_elements(By.ID, "source-hours-figure"), "the report", SLOW_S)
        assert chromium.find_element(By.ID, "source-hours-figure").is_displayed()


def test_twenty_pages_open_at_once_all_see_the_pause(station: Unattended) -> None:
    with station.running(), page_served(station.file, station.data) as address:
        until(station.answers, "the daemon")
        where = urlsplit(address)
        connections = [HTTPConnection(str(where.hostname), where.port, timeout=20) for _ in range(20)]
        streams = []
        for connection in connections:
            connection.request("GET", "/events", headers={"Accept": "text/event-stream"})
            streams.append(connection.getresponse())
        saw: list[int] = []

        def read(nth: int) -> None:
            while b'"heading": "Paused by you at ' not in streams[nth].readline():
                pass
            saw.append(nth)

        readers = [threading.Thread(target=read, args=(nth,), daemon=True) for nth in range(20)]
        for reader in readers:
            reader.start()
        assert station.ask("pause").ok
        until(lambda: len(saw) == 20, "all twenty to be told")
        for connection in connections:
            connection.close()


def test_the_page_is_small(station: Unattended) -> None:
    with page_served(station.file, station.data) as address:
        size = sum(len(urllib.request.urlopen(address + path).read()) for path in ("", "page.css", "page.js"))
        assert size < 150_000, size


def test_elsewhere_the_page_opens_with_its_token_and_not_without(
    station: Unattended, chromium: webdriver.Chrome
) -> None:
    with page_served(station.file, station.data, "--host", "0.0.0.0") as address:
        here = address.replace("0.0.0.0", "127.0.0.1")
        token = (station.folder / "page.token").read_text(encoding="ascii").strip()
        assert token not in address
        chromium.get(here)
        assert chromium.current_url == here + "enter"
        chromium.find_element(By.ID, "token").send_keys("not the token", Keys.ENTER)
        until(lambda: "That is not the token" in text(chromium, "[role=alert]"), "the refusal")
        assert violations(chromium) == []
        chromium.find_element(By.ID, "token").send_keys(token, Keys.ENTER)
        until(lambda: text(chromium, "#heading") == "No daemon is running", "the page")
        assert chromium.execute_script("return document.cookie") == "", "scripts do not get the token"
