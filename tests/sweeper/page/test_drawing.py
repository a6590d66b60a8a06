"""The report that the live page draws: it knows that of the night before, the notes, and changes in the levels."""

import asyncio
from datetime import timedelta
from pathlib import Path

from drivers.config_files import station_file
from sweeper.errors import UserFacingError
from sweeper.page.app import _Page
from sweeper.page.guard import Door
from sweeper.page.tonight import without_place
from sweeper.reduction import Reduced
from sweeper.station import load
from sweeper.store import Store
from tests.sweeper.report import sample


def test_the_report_of_the_live_page_says_what_changed_since_the_night_before(tmp_path: Path) -> None:
    station = load(station_file("saltmarsh"))
    with Store(tmp_path, station.station.name, station.station.longitude) as store:
        store.add_note(sample.START, "Ferrites on the router")
    before = sample.findings("40 m", verdict="undecided")
    after = sample.findings("40 m", verdict="stage", end=before.end + timedelta(days=1))

    async def drawn() -> list[str]:
        texts = []
        page = _Page(station, tmp_path, Door(None))
        for found in (before, after, after):
            page._tonight.take(Reduced(found, (), lambda found=found: sample.tables(found)), 18)
            texts.append(page._draw())
        return texts

    first, second, again = asyncio.run(drawn())
    assert "What changed" not in first
    for text in (second, again):
        assert "now “stage in”, was “not settled yet”." in text
        assert "Ferrites on the router" in text


def test_a_page_whose_disk_is_full_still_shows_the_report(tmp_path: Path) -> None:
    station = load(station_file("saltmarsh"))
    with Store(tmp_path, station.station.name, station.station.longitude) as store:
        (store.folder / ".report.html.part").mkdir()  # nothing can be written there
    found = sample.findings("40 m")

    async def drawn() -> str:
        page = _Page(station, tmp_path, Door(None))
        page._tonight.take(Reduced(found, (), lambda: sample.tables(found)), 18)
        return page._draw()

    assert 'id="do"' in asyncio.run(drawn())


def test_a_page_that_is_looked_at_from_elsewhere_names_no_folder_of_this_computer(tmp_path: Path) -> None:
    told = UserFacingError(f"{tmp_path}: no daemon runs here. Start one with `sweeper run`.")
    assert without_place(told, tmp_path) == "No daemon runs here. Start one with `sweeper run`."
    page = _Page(load(station_file("saltmarsh")), tmp_path, Door(None))

    async def paused() -> bytes:
        return bytes((await page._ask("pause")).body)

    answer = asyncio.run(paused()).decode()
    assert str(tmp_path) not in answer and "No daemon runs here" in answer
