"""The pages on report and live page: every place that they name exists, and every picture is shown somewhere."""

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from sweeper.analysis import Interval
from sweeper.report.page import write_html
from sweeper.store import Note
from tests.sweeper.report import sample

DOCS = Path(__file__).parents[3] / "docs"


def test_every_place_that_the_page_on_reading_names_is_in_the_report(tmp_path: Path) -> None:
    found = sample.findings()
    figure = replace(found.bands[0], chain_change_db=Interval(-6.2, -6.6, -5.8))
    found = replace(found, bands=(figure, *found.bands[1:]))
    before = sample.findings(end=found.end - timedelta(days=1))
    for each in (before, found):
        write_html(
            each,
            sample.tables(each),
            sample.passes(),
            tmp_path / "report.html",
            comparison=sample.comparison(each),
            notes=[Note(sample.START, "Antenna moved")],
        )
    markup = (tmp_path / "report.html").read_text(encoding="utf-8")
    named = set(re.findall(r"`#([a-z]+)`", (DOCS / "reading-the-report.md").read_text(encoding="utf-8")))
    assert len(named) >= 12
    assert {place for place in named if f'id="{place}"' not in markup} == set()


def test_every_link_between_the_pages_leads_somewhere_and_every_picture_is_linked() -> None:
    linked = set()
    for page in (*DOCS.glob("*.md"), DOCS.parent / "README.md", DOCS.parent / "DEVELOPERS.md"):
        text = re.sub(r"```.*?```|`[^`]*`", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
        headings = {
            re.sub(r"[^a-z0-9 -]", "", line.lstrip("# ").lower()).replace(" ", "-")
            for line in text.splitlines()
            if line.startswith("#")
        }
        for target in re.findall(r"\]\(([^)\s]+)\)", text.replace("\n", " ")):
            place, _, anchor = target.partition("#")
            if "://" in target:
                continue
            assert not place or (page.parent / place).exists(), f"{page.name}: {target}"
            assert place or anchor in headings, f"{page.name}: {target}"
            linked.add((page.parent / place).resolve())
    assert {each.name for each in (DOCS / "pictures").glob("*.png") if each.resolve() not in linked} == set()
