"""The pictures of spectra: every path on one scale, small and large from the same lines, in words as well."""

import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import pytest

from sweeper.noise.shown import Shown
from sweeper.report.pictures.marked import sentences
from sweeper.report.pictures.spectrum import POINTS, named_lines, spectra
from sweeper.report.setting import Setting
from sweeper.spectra.over_passes import SeenLine, TuningSeen
from tests.sweeper.report.written import Page, written

pytestmark = pytest.mark.slow

LINES = (
    SeenLine(7_020_000.0, "signal", 12.0, 15.0),
    SeenLine(7_030_000.0, "stage only", hours_utc=(20, 21)),
    SeenLine(7_040_000.0, "converter", twin_hz=7_034_000.0),
    SeenLine(7_100_000.0, "birdie", 8.0, 0.1),
)


AT = datetime(2026, 3, 5, 19, 31, tzinfo=UTC).timestamp()
COMB_HZ = (7_012_000.0, 7_077_000.0, 7_142_000.0)
MARKS = (
    Shown("comb every 65 kHz", "comb", "40 m", 7e6, AT, COMB_HZ[0], COMB_HZ[-1], COMB_HZ, (-60.0,) * 1000),
    Shown("hump 7050–7100 kHz", "hump", "40 m", 7e6, AT, 7.05e6, 7.1e6),
)


def seen(band: str = "40 m", bins: int = 1000, gap: bool = False) -> TuningSeen:
    levels: list[float | None] = [-70.0 - nth % 7 / 10 for nth in range(bins)]
    levels[bins // 2] = -20.0
    if gap:
        levels[100:200] = [None] * 100
    paths = {path: tuple(levels) for path in ("antenna-bypass", "load-bypass", "load-stage")}
    raised = tuple(None if level is None else level + 10.0 for level in levels)
    return TuningSeen(band, 7e6, 200.0, 24, {**paths, "antenna-stage": raised}, 10.0, LINES)


def test_each_line_is_drawn_once_and_used_by_the_small_picture() -> None:
    (picture,) = spectra([seen()])
    tree = ElementTree.fromstring(picture.svg)
    drawn = [each for each in tree.iter("{http://www.w3.org/2000/svg}path") if each.get("id")]
    used = [each.get("href") for each in tree.iter("{http://www.w3.org/2000/svg}use")]
    assert sorted(f"#{each.get('id')}" for each in drawn) == sorted(map(str, used)) and len(drawn) == 4
    for each in drawn:
        begin, _, steps = str(each.get("d")).partition("l")
        pairs = re.findall(r"1 ?(-?\d+)", steps)
        assert begin.startswith("M0 ") and len(pairs) == 1000 // -(-1000 // POINTS) - 0 - (1000 % 4 == 0)
    # in tenths of a decibel, so that the strongest bin of a group stays: 50 dB up and down again
    falls = [int(step) for step in re.findall(r"1 ?(-?\d+)", str(drawn[0].get("d")).partition("l")[2])]
    assert min(falls) <= -500 and max(falls) >= 500


def test_it_says_in_words_what_it_shows() -> None:
    (picture,) = spectra([seen(), seen("<b>x", gap=True)])
    assert picture.title == "The bands as they were heard"
    assert (
        "7.000 to 7.200 MHz, median of 24 passes; with the stage in the noise changes by +10.0 dB"
        in picture.svg
    )
    assert "<b>x" not in picture.svg and not picture.wide
    assert picture.numbers.rows[:2] == (
        ("40 m", "", "noise", "", "+10.0"),
        ("40 m", "7020.0", "signal", "12.0", "+15.0"),
    )


def test_no_two_pictures_have_one_name() -> None:
    first = seen()
    (picture,) = spectra([first, replace(first, start_hz=7.2e6), seen("30 m")])
    for names in (
        re.findall('aria-label="([^"]*)"', picture.svg),
        re.findall("<title[^>]*>([^<]*)", picture.svg),
    ):
        assert [name.removeprefix("Spectra of ") for name in names] == [
            "40 m, 7.000 to 7.200 MHz",
            "40 m, 7.200 to 7.400 MHz",
            "30 m",
        ]


def test_lines_that_are_no_signals_are_named_with_their_places() -> None:
    assert named_lines([seen()]) == (
        "Stands with the stage in only, as products of overload do: 40\u00a0m 7030.0\u00a0kHz.",
        "Stands on the load as well, so the receiver made it: 40\u00a0m 7100.0\u00a0kHz.",
        "Moves with the samples' centre, so the converter made it: 40\u00a0m 7040.0 and 7034.0\u00a0kHz.",
    )


def test_a_tuning_that_is_hardly_known_is_drawn_as_far_as_it_is() -> None:
    bare = TuningSeen("40 m", 7e6, 200.0, 1, {"antenna-bypass": (None, -70.0, None, -71.0)}, None, ())
    (picture,) = spectra([bare])
    assert picture.title == "The bands as they were heard"
    assert "M1 " in picture.svg and "h1" in picture.svg
    assert spectra([]) == ()


def test_a_combs_lines_are_ticks_and_a_hump_a_bracket_under_their_tuning() -> None:
    (bare,) = spectra([seen(), seen("30 m")])
    (picture,) = spectra([seen(), seen("30 m")], MARKS, "Europe/Copenhagen")
    first, second = re.findall(r'<svg[^>]*class="small large".*?</svg>', picture.svg)
    assert second in bare.svg  # of another band
    tree = ElementTree.fromstring(first)
    texts = [each.text for each in tree.iter("{http://www.w3.org/2000/svg}text")]
    assert {"65 kHz", "hump", "20:31"} <= set(texts)
    ways = [
        str(each.get("d"))
        for each in tree.iter("{http://www.w3.org/2000/svg}path")
        if each.get("class") == "way"
    ]
    ticks = next(d for d in ways if d.count("M") == 3)
    # 600 points over 199.8 kHz, from 42 on
    assert [float(x) for x in re.findall(r"M([\d.]+)", ticks)] == [
        round(42 + 600 * khz / 199.8, 1) for khz in (12.0, 77.0, 142.0)
    ]
    assert any(re.fullmatch(r"M192\.2 \d+v-7H342\.3v7", d) for d in ways), ways
    assert "3 ticks mark a comb every 65 kHz, as it stood at 20:31; a bracket marks the hump 7050" in first
    drawn = [each for each in tree.iter("{http://www.w3.org/2000/svg}path") if each.get("id")]
    assert [each.get("class") for each in drawn][-1] == "look pass-look"
    heights = [int(re.findall(r'viewBox="0 0 700 (\d+)"', each)[0]) for each in (first, second)]
    assert heights[0] > heights[1] == 250
    assert "ticks at a comb's lines" in picture.caption and "ticks" not in bare.caption


def test_marks_are_told_in_sentences_with_their_bands_and_when_they_stood_so() -> None:
    assert sentences(MARKS, "Europe/Copenhagen") == [
        "Comb every 65\u00a0kHz: ticks under 40 m (5 March, 20:31).",
        "Hump 7050–7100\u00a0kHz: a bracket under 40 m.",
        "What wanders or comes and goes is lost in a median: the spectrum of that one pass is drawn over it.",
    ]
    assert sentences((), "UTC") == []


def test_nine_bands_of_spectra_keep_the_report_small(tmp_path: Path, markup: str) -> None:
    nine = tuple(seen(f"{nth} m") for nth in range(9))
    page = written(tmp_path / "with.html", setting=Setting("Europe/Copenhagen", spectra=nine))
    assert "What does each band look like?" in Page(page).headings
    assert "What does each band look like?" not in Page(markup).headings
    assert len(page.encode()) - len(markup.encode()) < 120_000
