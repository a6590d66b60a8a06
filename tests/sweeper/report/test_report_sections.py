"""The report says what to do first, and every question has its section."""

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from sweeper.analysis import BandFinding, Findings, Interval, PeriodFinding, Verdict
from sweeper.report import wording
from sweeper.report.answer import answer, answer_line
from sweeper.report.page import write_html
from sweeper.report.plain import as_text
from sweeper.report.setting import Setting
from sweeper.store import Note
from sweeper.words import BROUGHT_IN
from tests.sweeper.report import sample
from tests.sweeper.report.written import Page


def test_the_answer_comes_first_and_everything_else_is_folded(markup: str) -> None:
    page = Page(markup)
    assert page.headings[:2] == ["Saltmarsh", "In sentences, band by band"]
    above = markup[: markup.index("<details>")]
    for words in (
        "7 nights",
        "Stage in on 80\u00a0m and 40\u00a0m.",
        "▲ stage in",
        "+3.0 (+2.2 to +3.8)",
        "passes done",
    ):
        assert words in above, words
    assert '<a href="' not in above
    assert all(name != "details" or "open" not in attributes for name, attributes in page.elements)


def test_the_answer_in_one_line() -> None:
    verdicts: tuple[Verdict, ...] = ("stage", "bypass", "either", "undecided")
    bands = tuple(sample.findings(name, verdict=v).bands[0] for name, v in zip("abcd", verdicts, strict=True))
    assert answer_line(replace(sample.findings(), bands=bands)) == (
        "Stage in on a; stage out on b; no difference on c; not settled yet elsewhere"
    )
    assert answer_line(replace(sample.findings(), bands=bands[:3])) == (
        "Stage in on a; stage out on b; no difference elsewhere"
    )
    assert answer_line(sample.findings("c", verdict="either")) == "No difference on any band"
    assert answer_line(sample.findings("d", verdict="undecided")) == "Not settled yet on any band"


def some(band: str, verdict: Verdict, hours: tuple[int, ...], *flags: str) -> BandFinding:
    """`verdict` in these hours and undecided in the others, where `flags` hold and the change may be anything."""
    decided, undecided = (sample.findings(band, verdict=each).bands[0] for each in (verdict, "undecided"))
    wide = None if "withheld" in flags else Interval(0.8, -9.0, 9.0)
    periods = [
        yes if yes.hour_utc in hours else replace(no, flags=flags, snr_change_db=wide)
        for yes, no in zip(decided.periods, undecided.periods, strict=True)
    ]
    return replace(decided, periods=tuple(periods))


def test_the_line_claims_no_hour_and_no_night_that_was_not_measured() -> None:
    partly = replace(
        sample.findings(),
        bands=(
            some("80 m", "stage", (18, 19)),
            some("long wave", "either", sample.HOURS),
            some("40 m", "either", (3, 4, 5, 18, 1, 2), "overload", "withheld"),
            sample.findings("10 m", verdict="undecided").bands[0],
        ),
    )
    assert answer_line(partly, "Europe/Copenhagen") == (
        "Stage in on 80 m 19:00–21:00; overload: stage out on 40 m 20:00–02:00; "
        "no difference on long wave and at some hours on 40 m; not settled yet elsewhere"
    )

    def once(band: BandFinding) -> BandFinding:
        periods = (replace(p, nights=1, flags=(*p.flags, "these-nights-only")) for p in band.periods)
        return replace(band, periods=tuple(periods))

    one_night = replace(partly, bands=tuple(map(once, partly.bands[:1])))
    assert answer_line(one_night) == (
        "The night measured: stage in on 80 m 18:00–20:00; not settled yet elsewhere"
    )
    mixed = replace(partly, bands=(once(partly.bands[0]), partly.bands[1]))
    assert answer_line(mixed).endswith("; in part for the nights measured only")
    nothing = replace(partly, bands=(some("40 m", "either", (), "overload", "withheld"),))
    assert answer_line(nothing) == "Overload: stage out on 40 m"


def test_passes_of_an_hour_or_two_are_not_called_a_night_and_one_pass_says_nothing() -> None:
    band = sample.findings("40 m", nights=1).bands[0]

    def early(passes: int, change: Interval | None, verdict: Verdict) -> Findings:
        period = PeriodFinding(7, passes, 1, change, None, None, verdict, ("these-nights-only",), "")
        return replace(sample.findings(nights=1), bands=(replace(band, periods=(period,)),))

    three = early(3, Interval(3.0, 2.0, 4.0), "stage")
    assert wording.nights_measured(three) == "3 passes"
    assert answer_line(three) == "The 3 passes measured: stage in on 40 m"
    for change in (None, Interval(0.0, -139.8, 139.8)):
        one = early(1, change, "undecided")
        assert wording.nights_measured(one) == "1 pass"
        (row,) = answer(one, "UTC").rows
        assert row.deeds[0].measured == "one pass: nothing yet"
    night = replace(three, bands=(band,))
    assert wording.nights_measured(night) == "1 night"


def test_every_question_has_its_place_and_none_that_has_no_answer_yet(markup: str, tmp_path: Path) -> None:
    anchors = {attributes.get("id") for _, attributes in Page(markup).elements}
    wanted = {"do", "when", "noise", "ceiling", "gain", "fix", "season", "causes", "rig", "numbers"}
    assert wanted <= anchors
    assert {"do-40-m", "noise-figure"} <= anchors
    assert anchors.isdisjoint({"changed", "figures", "notes"})
    found = sample.findings(nights=1)
    write_html(found, sample.tables(found, nights=1), (), tmp_path / "report.html")
    one_night = {
        attributes.get("id") for _, attributes in Page((tmp_path / "report.html").read_text()).elements
    }
    assert one_night.isdisjoint({"changed", "fix", "season", "rig"})


def test_nothing_is_claimed_of_passes_whose_readings_were_brought_in(tmp_path: Path) -> None:
    found = sample.findings()
    brought = [replace(record, outcome="done", because=BROUGHT_IN) for record in sample.passes()]
    measured = list(sample.passes()[:3])
    for passes, wanted in ((brought, "Rig: Of readings"), (brought + measured, "3 of 3 passes done")):
        file = tmp_path / "report.html"
        write_html(found, sample.tables(found), passes, file)
        text = file.read_text(encoding="utf-8")
        line = text[text.index('<p class="rig">') : text.index("<details>")]
        assert wanted in line
        assert "Of readings brought in from a file no record of passes is kept." in line
        assert f"{len(brought)}" not in line
        assert ('id="rig"' in text) == (passes != brought)


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
    later = text.index("Tuesday 3 November 2026, 18:00: <b>Ferrites</b> on the router")
    assert later < text.index("Sunday 1 November 2026, 18:00: Antenna moved")


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
        section = text[text.index('id="figures"') : text.index('id="season"')]
        assert re.findall(r"<td>([^<]*)", section[: section.index("</details>")])[-3:] == wanted
        assert ("take a calibrated meter" in section) == (bands == (chain, chain))


def test_mail_says_what_the_fix_changed() -> None:
    text = as_text(sample.findings(), "UTC", sample.comparison(sample.findings()))
    assert "Before and after Thursday 5 November 2026, 12:00." in text
    assert "40 m: 40 m fell by 3 dB." in text


def test_mail_has_the_recommendation_what_is_open_and_short_lines() -> None:
    text = as_text(sample.findings(verdict="undecided"), "Europe/Copenhagen")
    assert text.splitlines()[0] == "Saltmarsh"
    assert "40 m: 40 m: do what it says." in text
    assert "Not settled yet: 80 m 12 of 12 hours; 40 m 12 of 12 hours." in text
    assert max(map(len, text.splitlines())) <= 72
