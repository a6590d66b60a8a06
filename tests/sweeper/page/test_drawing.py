"""The report that the live page draws: it knows that of the night before, the notes, and changes in the levels."""

import asyncio
from datetime import timedelta
from pathlib import Path

import httpx

from drivers.config_files import station_file
from sweeper.analysis import Findings
from sweeper.errors import UserFacingError
from sweeper.page.app import live_page
from sweeper.page.guard import Door
from sweeper.page.tonight import Tonight, without_place
from sweeper.reduction import Reduced
from sweeper.station import Station, load
from sweeper.store import Store
from tests.sweeper.page.test_guard import HERE, asked, own
from tests.sweeper.report import sample


def drawn(station: Station, folder: Path, *found: Findings) -> list[str]:
    """The report as a browser gets it, after each of these findings in turn."""
    tonight = Tonight()
    app = live_page(station, folder, Door(None), tonight)

    async def go() -> list[str]:
        texts = []
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url=HERE) as client:
            for each in found:
                tonight.take(Reduced(each, (), lambda each=each: sample.tables(each)), 18)
                texts.append((await client.get("/report")).text)
        return texts

    return asyncio.run(go())


def test_the_report_of_the_live_page_says_what_changed_since_the_night_before(tmp_path: Path) -> None:
    station = load(station_file("saltmarsh"))
    with Store(tmp_path, station.station.name, station.station.longitude) as store:
        store.add_note(sample.START, "Ferrites on the router")
    before = sample.findings("40 m", verdict="undecided")
    after = sample.findings("40 m", verdict="stage", end=before.end + timedelta(days=1))

    texts = drawn(station, tmp_path, before, after, after)
    assert "What changed" not in texts[0]
    for text in texts[1:]:
        assert "now “stage in”, was “not settled yet”." in text
        assert "Ferrites on the router" in text


def test_a_page_whose_disk_is_full_still_shows_the_report(tmp_path: Path) -> None:
    station = load(station_file("saltmarsh"))
    with Store(tmp_path, station.station.name, station.station.longitude) as store:
        (store.folder / ".report.html.part").mkdir()  # nothing can be written there
    assert 'id="do"' in drawn(station, tmp_path, sample.findings("40 m"))[0]


def test_a_page_that_is_looked_at_from_elsewhere_names_no_folder_of_this_computer(tmp_path: Path) -> None:
    told = UserFacingError(f"{tmp_path}: no daemon runs here. Start one with `sweeper run`.")
    assert without_place(told, tmp_path) == "No daemon runs here. Start one with `sweeper run`."
    door = Door(None)
    answer = asked(door, "POST", "/pause", tmp_path, headers=own(door)).text
    assert str(tmp_path) not in answer and "No daemon runs here" in answer
