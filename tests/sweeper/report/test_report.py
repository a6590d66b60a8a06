"""The report: recommendation first, pictures that say what they found, and nothing that a file could smuggle in."""

import base64
import csv
import io
import json
import re
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser
from pathlib import Path

import polars as pl
import pytest

from sweeper.analysis import BandFinding, Findings, Interval, Verdict, findings_object
from sweeper.errors import WrongInput
from sweeper.report import Setting, as_text, wording, write_html
from sweeper.report.pictures.ceiling import ceiling
from sweeper.report.pictures.season import season
from sweeper.report.pictures.when import in_one_sentence
from sweeper.report.since_last import carried_json, changed, previous_findings
from sweeper.store import Note
from sweeper.words import BROUGHT_IN
from tests.sweeper.report import sample

HOSTILE = (
    "</script><script>alert(1)</script><img src=x onerror=alert(2)>'\"`${7*7}{{7*7}}$\\alpha$=HYPERLINK()"
)


class Page(HTMLParser):
    """What a browser would make of it: elements in order, with the text of each heading and link."""

    def __init__(self, markup: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.headings: list[str] = []
        self.text: list[str] = []
        self._heading = False
        self._hidden = False
        self.feed(markup)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._heading = tag in ("h1", "h2", "h3")
        self._hidden = tag in ("style", "script")
        if self._heading:
            self.headings.append("")

    def handle_endtag(self, tag: str) -> None:
        self._heading = self._heading and tag not in ("h1", "h2", "h3")
        self._hidden = self._hidden and tag not in ("style", "script")

    def handle_data(self, data: str) -> None:
        if self._heading:
            self.headings[-1] += data
        if not self._hidden:
            self.text.append(data)

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]


def written(file: Path, **more: object) -> str:
    found = sample.findings()
    write_html(
        found,
        sample.tables(found, calibrated=True),
        sample.passes(),
        file,
        setting=Setting("Europe/Copenhagen", "dB over S9", 100_000, 1234),
        comparison=sample.comparison(found),
        **more,  # type: ignore[arg-type]
    )
    return file.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def markup(tmp_path_factory: pytest.TempPathFactory) -> str:
    return written(tmp_path_factory.mktemp("report") / "report.html")


def test_what_to_do_comes_first_and_in_local_time(markup: str) -> None:
    page = Page(markup)
    assert page.headings[:2] == ["Saltmarsh", "What to do"]
    # 18:00 to 06:00 UTC in November is an hour later in Copenhagen (IANA time-zone database).
    assert markup.index("19:00–07:00") < markup.index('<h2 id="when">')


def test_one_sentence_says_where_it_helps_where_it_costs_and_what_is_open() -> None:
    verdicts: tuple[Verdict, ...] = ("stage", "bypass", "either", "undecided")
    bands = tuple(sample.findings(name, verdict=v).bands[0] for name, v in zip("abcd", verdicts, strict=True))
    assert in_one_sentence(replace(sample.findings(), bands=bands)) == (
        "The stage helps on a; it costs signal-to-noise ratio on b; it makes no difference that matters on c; "
        "on the other bands it is too early to say"
    )
    assert in_one_sentence(sample.findings("c", verdict="either")) == (
        "The stage makes no difference that matters on c"
    )
    assert in_one_sentence(sample.findings("d", verdict="undecided")).startswith("Too early")


def test_the_headline_claims_no_hour_and_no_night_that_was_not_measured() -> None:
    def some(band: str, verdict: Verdict, hours: tuple[int, ...], *flags: str) -> BandFinding:
        """`verdict` in these hours and undecided in the others, where `flags` hold."""
        decided, undecided = (sample.findings(band, verdict=each).bands[0] for each in (verdict, "undecided"))
        periods = [
            yes if yes.hour_utc in hours else replace(no, flags=flags)
            for yes, no in zip(decided.periods, undecided.periods, strict=True)
        ]
        return replace(decided, periods=tuple(periods))

    partly = replace(
        sample.findings(),
        bands=(
            some("80 m", "stage", (18, 19)),
            some("long wave", "either", sample.HOURS),
            some("40 m", "either", (3, 4, 5, 18, 1, 2), "overload", "withheld"),
            sample.findings("10 m", verdict="undecided").bands[0],
        ),
    )
    assert in_one_sentence(partly, "Europe/Copenhagen") == (
        "The stage helps at some hours on 80 m; it makes no difference that matters on long wave, and at some "
        "hours on 40 m; it overloads on 40 m at 20:00–02:00; on the other bands it is "
        "too early to say"
    )

    def once(band: BandFinding) -> BandFinding:
        periods = (replace(p, nights=1, flags=(*p.flags, "these-nights-only")) for p in band.periods)
        return replace(band, periods=tuple(periods))

    one_night = replace(partly, bands=tuple(map(once, partly.bands[:1])))
    assert in_one_sentence(one_night) == "On the night measured, the stage helps at some hours on 80 m"
    mixed = replace(partly, bands=(once(partly.bands[0]), partly.bands[1]))
    assert in_one_sentence(mixed).endswith("; some of this holds for the nights measured only")
    nothing = replace(partly, bands=(some("40 m", "either", (), "overload", "withheld"),))
    assert in_one_sentence(nothing) == (
        "Too early: on no band can it be said yet whether the stage helps; the stage overloads on 40 m at 18:00–06:00"
    )


def test_every_question_has_its_place(markup: str) -> None:
    anchors = {attributes.get("id") for _, attributes in Page(markup).elements}
    wanted = [
        "do",
        "changed",
        "open",
        "when",
        "noise",
        "ceiling",
        "gain",
        "figures",
        "fix",
        "season",
        "causes",
        "rig",
        "numbers",
    ]
    assert set(wanted) <= anchors
    assert {"do-40-m", "noise-40-m-figure"} <= anchors


def test_each_picture_states_a_finding_has_words_for_who_cannot_see_it_and_its_numbers(markup: str) -> None:
    page = Page(markup)
    pictures = [attributes for attributes in page.of("svg") if attributes.get("role") == "img"]
    assert len(pictures) == len(page.of("figure")) >= 9
    assert len(page.of("details")) == len(pictures)
    described = set(re.findall(r'<desc id="([^"]+)">[^<]{10,}</desc>', markup))
    titled = set(re.findall(r'<title id="([^"]+)">[^<]{10,}</title>', markup))
    for attributes in pictures:
        title, description = (attributes["aria-labelledby"] or "").split()
        assert title in titled and description in described


def test_axes_carry_names_and_units(markup: str) -> None:
    for words in (
        "hour beginning, local time (Europe/Copenhagen)",
        "noise level, dB over S9",
        "Fa, dB over kT₀b",
        "S/N change, dB",
        "noise rise in bypass: antenna over load, dB",
        "gain of the stage with its relays and cables, dB",
        "change of noise after the fix, dB",
    ):
        assert words in markup, words


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


def drawing_of(markup: str, name: str) -> str:
    """The figure of a picture, its table with it."""
    begin = markup.index(f'<figure id="{name}-figure"')
    return markup[begin : markup.index("</figure>", begin)]


def test_gain_and_fix_fit_a_phone_and_wider_pictures_say_that_they_go_on(markup: str) -> None:
    for name in ("gain", "fix"):
        figure = drawing_of(markup, name)
        assert 'class="picture whole"' in figure and "swipe" not in figure
        assert ">carriers<" in figure or name == "fix"
    for name in ("when", "noise-40-m", "ceiling", "season"):
        assert '<p class="swipe">' in drawing_of(markup, name)


def test_dates_of_few_nights_do_not_run_into_each_other() -> None:
    found = sample.findings()
    (picture,) = season(found, sample.tables(found, nights=3).nights, "UTC")
    # Three nights in room for twenty-one: every second one has its date.
    assert re.findall(r">(\d Nov)</text>", picture.svg) == ["1 Nov", "3 Nov"]


def test_no_night_is_cut_by_the_axis(markup: str) -> None:
    nights = drawing_of(markup, "fix-nights")
    night = r'<use [^>]*stroke="var\(--ink?\)"'
    assert len(re.findall(night, nights)) == 2 * 7
    assert not re.search(rf'<g clip-path="[^"]*">{night}', nights)


def test_the_ceiling_shows_every_point_with_its_interval_and_says_where_the_stage_never_helps() -> None:
    found = sample.findings("long wave", "40 m")
    tables = sample.tables(found)
    far = pl.col("band") == "long wave"
    tables = replace(
        tables,
        points=tables.points.with_columns(noise_rise_db=pl.when(far).then(26.0).otherwise(2.5)),
        curve=tables.curve.with_columns(
            snr_change_db=pl.when(far).then(-1.0).otherwise(pl.col("snr_change_db")),
            high=pl.when(far).then(-0.5).otherwise(pl.col("high")),
        ),
        crossings=tables.crossings.filter(~far),
    )
    (picture,) = ceiling(tables, 1.0, "dB")
    assert picture.title == (
        "The stage brings 1 dB or more while the antenna stands less than 6.4 dB over the load; on long wave it does "
        "so at no noise rise"
    )
    ticks = [int(tick) for tick in re.findall(r">(\d+)</text>", picture.svg)]
    assert max(ticks) >= 20
    beyond = re.findall(r'<use [^>]*x="([\d.]+)"', picture.svg)
    assert len(beyond) >= len(tables.points)
    without = replace(tables, points=tables.points.with_columns(low=None, high=None))
    (bare,) = ceiling(without, 1.0, "dB")
    assert len(bare.svg) < len(picture.svg)


def test_the_busiest_relay_is_held_against_its_rating(markup: str) -> None:
    figure = drawing_of(markup, "rig")
    assert "the busiest relay has made 1 234 of 100 000 rated operations" in figure


def test_nothing_is_claimed_of_passes_whose_readings_were_brought_in(tmp_path: Path) -> None:
    found = sample.findings()
    brought = [replace(record, outcome="done", because=BROUGHT_IN) for record in sample.passes()]
    measured = list(sample.passes()[:3])
    for passes, wanted in ((brought, "No record"), (brought + measured, "3 of 3 passes done")):
        file = tmp_path / "report.html"
        write_html(found, sample.tables(found), passes, file)
        text = file.read_text(encoding="utf-8")
        section = text[text.index('<h2 id="rig">') : text.index('<h2 id="numbers">')]
        assert wanted in section
        assert "No record is kept of passes whose readings were brought in from a file." in section
        assert f"{len(brought)}" not in re.sub("<svg.*?</svg>", "", section, flags=re.DOTALL)


def test_what_is_to_be_typed_stands_as_code_and_nothing_in_it_is_markup() -> None:
    assert wording.with_code("Note it with `sweeper <b>`, then & there") == (
        "Note it with <code>sweeper &lt;b&gt;</code>, then &amp; there"
    )
    assert wording.with_code("a lone ` stays") == "a lone ` stays"


def test_no_backtick_is_left_on_the_page(tmp_path: Path) -> None:
    found = sample.findings()
    write_html(found, sample.tables(found), (), tmp_path / "report.html")
    page = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert "`" not in "".join(page.text)
    assert page.of("code")


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
    text = {name: base64.b64decode((href or "").split(",")[1]).decode() for name, href in links.items()}
    assert json.loads(text["findings.json"]) == findings_object(found)
    rows = list(csv.reader(io.StringIO(text["findings.csv"])))
    assert len(rows) == 1 + 2 * len(sample.HOURS)
    assert not [cell for row in rows for cell in row if cell.startswith(("=", "@", "+"))]


def carrying(file: Path, found: Findings, previous: dict[str, object] | None = None) -> None:
    """A page that carries findings, without its pictures."""
    carried = carried_json(found, previous)
    file.write_text(f'<script type="application/json" id="findings">{carried}</script>', encoding="utf-8")


def test_the_next_report_says_what_moved_and_writing_it_twice_does_not_forget(tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    first = sample.findings("</script>", "40 m", verdict="undecided")
    second = sample.findings("</script>", "40 m", verdict="stage", end=first.end + timedelta(days=1))
    carrying(file, first)
    for _ in range(2):
        before = previous_findings(file, second, "UTC")
        lines = changed(second, before, "UTC").lines
        assert len(lines) == 2
        assert lines[1].endswith("now “stage in”, was “too early”.")
        carrying(file, second, dict(before or {}))


def test_a_report_drawn_anew_after_a_pass_still_compares_with_the_night_before(tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    first = sample.findings(verdict="undecided")
    carrying(file, first)
    for hours in (20, 24, 43):  # from 13:00 to 12:00: the next night, noon to noon
        now = sample.findings(verdict="stage", end=first.end + timedelta(hours=hours))
        before = previous_findings(file, now, "UTC")
        assert before == findings_object(first), hours
        carrying(file, now, dict(before))


def test_notes_are_shown_with_their_time_the_latest_first(tmp_path: Path) -> None:
    found = sample.findings()
    notes = [
        Note(sample.START, "Antenna moved"),
        Note(sample.START + timedelta(days=2), "<b>Ferrites</b> on the router"),
    ]
    file = tmp_path / "report.html"
    setting = Setting("Europe/Copenhagen", "dB", None)
    write_html(found, sample.tables(found), (), file, setting=setting, notes=notes)
    text = "".join(Page(file.read_text(encoding="utf-8")).text)
    later = text.index("Noted Tuesday 3 November 2026, 18:00: <b>Ferrites</b> on the router")
    assert later < text.index("Noted Sunday 1 November 2026, 18:00: Antenna moved")


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


def test_a_report_carries_what_the_next_one_compares_with(markup: str, tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    file.write_text(markup, encoding="utf-8")
    later = sample.findings("80 m", "40 m", end=sample.findings().end + timedelta(days=1))
    assert previous_findings(file, later, "UTC") == findings_object(sample.findings())


@pytest.mark.parametrize(
    "text",
    [
        "",
        "<html></html>",
        '<script type="application/json" id="findings">{"findings": 3}</script>',
        '<script type="application/json" id="findings">{"findings": {}, "previous": null}</script>',
        '<script type="application/json" id="findings">{</script>',
        '<script type="application/json" id="findings">{"findings": {"format": "sweeper-findings-1", "station": '
        '"Saltmarsh", "to": "x", "bands": [{"band": "40 m", "periods": [{"hour_utc": 1, "verdict": "<b>"}]}]}, '
        '"previous": null}</script>',
    ],
)
def test_somebody_elses_page_is_no_earlier_report(tmp_path: Path, text: str) -> None:
    file = tmp_path / "report.html"
    file.write_text(text, encoding="utf-8")
    assert previous_findings(file, sample.findings(), "UTC") is None


def test_the_report_of_another_station_is_no_earlier_report(tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    carrying(file, sample.findings(name="Elsewhere"))
    assert previous_findings(file, sample.findings(), "UTC") is None


@pytest.mark.slow
def test_a_season_stays_below_two_megabytes(tmp_path: Path) -> None:
    bands = ("long wave", "medium wave", "80 m", "60 m", "40 m", "31 m", "20 m", "15 m", "10 m")
    found = sample.findings(*bands, nights=92)
    file = tmp_path / "report.html"
    write_html(found, sample.tables(found, nights=92), sample.passes(92), file)
    size = file.stat().st_size
    assert size < 2_000_000, size


def test_the_same_findings_give_the_same_page(markup: str, tmp_path: Path) -> None:
    assert written(tmp_path / "report.html") == markup


def test_noise_figures_have_their_intervals_and_the_chain_is_known_without_a_calibration(
    tmp_path: Path,
) -> None:
    found = sample.findings()
    chain = replace(found.bands[0], chain_change_db=Interval(-6.2, -6.6, -5.8))
    whole = replace(
        found.bands[1],
        receiver_noise_figure_db=Interval(14.8, 13.9, 15.7),
        stage_noise_figure_db=Interval(3.1, 2.2, 4.0),
        chain_change_db=Interval(-6.2, -6.6, -5.8),
    )
    for bands, wanted in (
        ((chain, chain), ["–", "–", "−6.2 (−6.6 to −5.8)"]),
        ((chain, whole), ["14.8 (13.9 to 15.7)", "3.1 (2.2 to 4.0)", "−6.2 (−6.6 to −5.8)"]),
    ):
        file = tmp_path / "report.html"
        write_html(replace(found, bands=bands), sample.tables(found), (), file)
        text = file.read_text(encoding="utf-8")
        section = text[text.index('<h2 id="figures">') : text.index('<h2 id="fix">')]
        assert re.findall(r"<td>([^<]*)</td>", section)[-3:] == wanted
        assert ("take a calibrated meter" in section) == (bands == (chain, chain))


def test_the_impulsive_part_stands_beside_the_level_and_the_diagnosis_under_the_picture(markup: str) -> None:
    section = markup[markup.index('id="noise-40-m-figure"') : markup.index('<h2 id="ceiling">')]
    assert "Impulsive part, dB" in section
    assert "<td>−40.0</td><td>−41.0</td><td>−39.0</td><td>0.7</td><td>7</td>" in section
    assert "In the middle one of these hours noise on 40 m stands as it does." in section


def test_mail_says_what_the_fix_changed() -> None:
    text = as_text(sample.findings(), "UTC", sample.comparison(sample.findings()))
    assert "Before and after Thursday 5 November 2026, 12:00." in text
    assert "40 m: 40 m fell by 3 dB." in text


def test_mail_has_the_recommendation_what_is_open_and_short_lines() -> None:
    text = as_text(sample.findings(verdict="undecided"), "Europe/Copenhagen")
    assert text.splitlines()[0] == "Saltmarsh"
    assert "40 m: 40 m: do what it says." in text
    assert "Still open: 80 m 12 of 12 hours; 40 m 12 of 12 hours." in text
    assert max(map(len, text.splitlines())) <= 72
