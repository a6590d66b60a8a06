"""Three nights of the demo: nights to come have a column of their own, and the answer still stands at a glance."""

import base64
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver

from tests.whole.browser import browser, look, page_served, violations
from tests.whole.test_main_job import sweeper
from tests.whole.unattended import until

pytestmark = [pytest.mark.browser, pytest.mark.clock, pytest.mark.timeout(900)]

SIZES = pytest.mark.parametrize(("width", "height"), [(1280, 800), (390, 844)])
BOTTOMS = (
    "return [...document.querySelectorAll('h1, .line, .answer tbody, .rig')]"
    ".map((one) => one.getBoundingClientRect().bottom)"
)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("demo")
    answer = sweeper("demo", "--nights", "3", "--out", out)
    assert answer.returncode == 0, answer.stderr
    (out / "printed").write_text(answer.stdout, encoding="utf-8")
    return out


@pytest.fixture(scope="module")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    with browser(tmp_path_factory.mktemp("chromium")) as driver:
        yield driver


def above_the_fold(chromium: webdriver.Chrome, width: int, height: int) -> None:
    bottoms = chromium.execute_script(BOTTOMS)
    assert len(bottoms) == 3 + 9, "station, line, nine bands, rig"
    assert max(bottoms) <= height
    assert chromium.execute_script("return document.documentElement.scrollWidth") <= width
    assert violations(chromium) == []


@SIZES
def test_the_report_has_its_answer_above_the_fold(
    demo: Path, chromium: webdriver.Chrome, width: int, height: int
) -> None:
    look(chromium, width, height)
    chromium.get((demo / "report.html").as_uri())
    above_the_fold(chromium, width, height)
    assert "to come" in chromium.find_element("css selector", ".answer").text


@SIZES
def test_the_live_page_has_its_answer_above_the_fold(
    demo: Path, chromium: webdriver.Chrome, width: int, height: int
) -> None:
    with page_served(demo / "saltmarsh.yaml", demo / "saltmarsh.data") as address:
        look(chromium, width, height)
        chromium.get(address)
        rows = "return document.querySelectorAll('#rows tbody').length"
        until(lambda: chromium.execute_script(rows) == 9, "a row a band", 120)
        above_the_fold(chromium, width, height)


def test_the_report_prints_on_two_pages(demo: Path, chromium: webdriver.Chrome) -> None:
    chromium.get((demo / "report.html").as_uri())
    printed = chromium.execute_cdp_cmd("Page.printToPDF", {"paperWidth": 8.27, "paperHeight": 11.69})
    assert len(re.findall(rb"/Type\s*/Page\b", base64.b64decode(printed["data"]))) in (1, 2)


def test_the_terminal_has_the_answer_on_its_first_screen(demo: Path) -> None:
    """Line and table within a terminal of 24 lines and 80 columns, the prompt counted."""
    lines = (demo / "printed").read_text(encoding="utf-8").splitlines()
    last = next(nth for nth, line in enumerate(lines) if line.startswith("Hours of "))
    assert last <= 30 and max(map(len, lines[:last])) <= 80
