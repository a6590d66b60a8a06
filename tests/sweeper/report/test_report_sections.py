"""The report says what to do first, and every question has its section."""

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from sweeper.analysis import BandFinding, Interval, Verdict
from sweeper.report.page import write_html
from sweeper.report.pictures.when import in_one_sentence
from sweeper.report.plain import as_text
from sweeper.report.setting import Setting
from sweeper.store import Note
from sweeper.words import BROUGHT_IN
from tests.sweeper.report import sample
from tests.sweeper.report.written import Page


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
