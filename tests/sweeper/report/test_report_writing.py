"""The report is one file that asks nobody for anything, the same for the same findings, with nothing smuggled in."""

import csv
import io
import json
import re
from pathlib import Path
from urllib.parse import unquote

import pytest

from sweeper.analysis import findings_object
from sweeper.errors import WrongInput
from sweeper.report.page import write_html
from sweeper.report.setting import Setting
from sweeper.report.template import with_code
from tests.sweeper.report import sample
from tests.sweeper.report.written import Page, written


def test_the_page_asks_no_server_for_anything(markup: str) -> None:
    page = Page(markup)
    for tag, attributes in page.elements:
        for name in ("src", "href", "xlink:href", "action", "data", "poster", "srcset"):
            value = attributes.get(name)
            assert value is None or value.startswith(("#", "data:")), (tag, name, value)
    assert "@import" not in markup
    assert not re.search(r"url\((?!#|&)", markup)


def test_no_style_and_no_script_needs_leave_from_the_policy(markup: str) -> None:
    page = Page(markup)
    (policy,) = [a["content"] for a in page.of("meta") if a.get("http-equiv") == "Content-Security-Policy"]
    assert policy is not None
    assert policy.startswith("default-src 'none'; style-src 'sha256-") and "unsafe" not in policy
    assert not [attributes for _, attributes in page.elements if "style" in attributes]
    assert [a.get("type") for a in page.of("script")] == ["application/json"]


HOSTILE = (
    "</script><script>alert(1)</script><img src=x onerror=alert(2)>'\"`${7*7}{{7*7}}$\\alpha$=HYPERLINK()"
)


def test_names_from_files_inject_nothing(tmp_path: Path) -> None:
    found = sample.findings(HOSTILE, "40 m", name=HOSTILE)
    file = tmp_path / "report.html"
    write_html(found, sample.tables(found), sample.passes(), file, comparison=sample.comparison(found))
    page = Page(file.read_text(encoding="utf-8"))
    assert page.headings[0] == HOSTILE
    assert [a.get("type") for a in page.of("script")] == ["application/json"]
    assert page.of("img") == []
    assert not [a for _, a in page.elements if any(name.startswith("on") for name in a)]
    assert page.text.count("49") == 0
    for _, attributes in page.elements:
        name = attributes.get("id")
        assert name is None or re.fullmatch(r"[A-Za-z0-9_-]+", name), name


def test_ids_are_unique(markup: str) -> None:
    ids = [attributes["id"] for _, attributes in Page(markup).elements if "id" in attributes]
    assert len(ids) == len(set(ids))


def test_findings_can_be_taken_along_and_a_spreadsheet_runs_nothing(tmp_path: Path) -> None:
    found = sample.findings("=cmd()", "40 m")
    file = tmp_path / "report.html"
    write_html(found, sample.tables(found), (), file)
    links = {
        a["download"]: a["href"] for a in Page(file.read_text(encoding="utf-8")).of("a") if "download" in a
    }
    assert set(links) == {"findings.json", "findings.csv"}
    text = {name: unquote((href or "").split(",", 1)[1]) for name, href in links.items()}
    assert json.loads(text["findings.json"]) == findings_object(found)
    rows = list(csv.reader(io.StringIO(text["findings.csv"])))
    assert len(rows) == 1 + 2 * len(sample.HOURS)
    assert not [cell for row in rows for cell in row if cell.startswith(("=", "@", "+"))]


def test_a_place_where_no_page_can_be_written_is_told_before_drawing(tmp_path: Path) -> None:
    found = sample.findings()
    (tmp_path / "file").touch()
    for place, what in (
        (tmp_path, "folder"),
        (tmp_path / "nowhere" / "report.html", "nowhere"),
        (tmp_path / "file" / "report.html", "no folder"),
        (tmp_path / ("long" * 99), "cannot be written"),
    ):
        drawn: list[float] = []
        with pytest.raises(WrongInput, match=what) as told:
            write_html(found, sample.tables(found), (), place, progress=drawn.append)
        assert str(place) in str(told.value)
        assert not drawn or what == "cannot be written"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["file"]


@pytest.mark.slow
def test_a_year_stays_below_seven_hundred_kilobytes(tmp_path: Path) -> None:
    bands = ("long wave", "medium wave", "80 m", "60 m", "40 m", "31 m", "20 m", "15 m", "10 m")
    found = sample.findings(*bands, nights=360)
    file = tmp_path / "report.html"
    write_html(found, sample.tables(found, nights=360), sample.passes(360), file)
    size = file.stat().st_size
    assert size < 700_000, size


def test_the_same_findings_give_the_same_page(markup: str, tmp_path: Path) -> None:
    assert written(tmp_path / "report.html") == markup


def test_what_is_to_be_typed_stands_as_code_and_nothing_in_it_is_markup() -> None:
    assert with_code("Note it with `sweeper <b>`, then & there") == (
        "Note it with <code>sweeper &lt;b&gt;</code>, then &amp; there"
    )
    assert with_code("a lone ` stays") == "a lone ` stays"


def test_no_backtick_is_left_on_the_page(tmp_path: Path) -> None:
    found = sample.findings()
    setting = Setting(found_by_check=("Failed: run `sweeper check` again.",))
    write_html(found, sample.tables(found), (), tmp_path / "report.html", setting=setting)
    page = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert "`" not in "".join(page.text)
    assert page.of("code")
