"""Each picture says what it found, with its numbers, names and units."""

import re
from dataclasses import replace

import polars as pl
import pytest

from sweeper.report.pictures.ceiling import ceiling
from sweeper.report.pictures.multiples import Line, Panel, Scale, multiples
from sweeper.report.pictures.season import season
from tests.sweeper.report import sample
from tests.sweeper.report.written import Page

pytestmark = pytest.mark.slow


def test_each_picture_states_a_finding_has_words_for_who_cannot_see_it_and_its_numbers(markup: str) -> None:
    page = Page(markup)
    pictures = [attributes for attributes in page.of("svg") if attributes.get("role") == "img"]
    pictures = [attributes for attributes in pictures if attributes.get("class") != "ribbon"]
    small = [attributes for attributes in pictures if attributes.get("class") == "small"]
    figures = page.of("figure")
    assert len(small) == 6, "levels, what is expected, and the ceiling, of two bands"
    assert len(figures) == len(pictures) - len(small) + 3 >= 7
    assert markup.count("The numbers of this picture") == len(figures)
    described = set(re.findall(r'<desc id="([^"]+)">[^<]{10,}</desc>', markup))
    titled = set(re.findall(r'<title id="([^"]+)">[^<]{4,}</title>', markup))
    for attributes in pictures:
        title, description = (attributes["aria-labelledby"] or "").split()
        assert title in titled and description in described


def test_axes_carry_names_and_units(markup: str) -> None:
    for words in (
        "Times: Europe/Copenhagen.",
        "dB over S9, all bands on one scale",
        "S3 −36",
        "Fa, dB over kT₀b",
        "S/N change in dB",
        "noise rise in bypass, antenna over load, dB",
        "gain of the stage with its relays and cables, dB",
        "change of noise after the fix, dB",
    ):
        assert words in markup, words


def drawing_of(markup: str, name: str) -> str:
    """The figure of a picture, its table with it."""
    begin = markup.index(f'<figure id="{name}-figure"')
    return markup[begin : markup.index("</figure>", begin)]


def test_gain_and_fix_fit_a_phone_and_wider_pictures_say_that_they_go_on(markup: str) -> None:
    for name in ("gain", "fix"):
        figure = drawing_of(markup, name)
        assert 'class="picture whole' in figure and "swipe" not in figure
        assert ">carriers<" in figure or name == "fix"
    for name in ("season", "fix-nights"):
        assert '<p class="swipe">' in drawing_of(markup, name)


def test_dates_of_few_nights_do_not_run_into_each_other() -> None:
    found = sample.findings()
    (picture,) = season(found, sample.tables(found, nights=3).nights, "UTC")
    # Three nights in room for twenty-one: every second one has its date.
    assert re.findall(r">(\d Nov)</text>", picture.svg) == ["1 Nov", "3 Nov"]


def test_nights_of_a_long_season_stand_together() -> None:
    found = sample.findings("40 m")
    nights = sample.tables(found, nights=100).nights
    (picture,) = season(found, nights, "UTC")
    assert picture.title.startswith("100 nights measured")
    assert "Each column is the mean of 3 nights" in picture.caption
    assert picture.numbers.headings[1] == "3 nights from" and len(picture.numbers.rows) == 34
    _, began, first, *_ = picture.numbers.rows[1]
    hour = nights.filter(pl.col("hour_utc") == sample.HOURS[0]).sort("night")
    assert (began, first) == ("2026-11-04", f"+{hour['snr_change_db'][3:6].mean():.1f} ± 1.0")


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
    ticks = [int(tick) for tick in re.findall(r'class="hour[^>]*>(\d+)</text>', picture.svg)]
    assert max(ticks) >= 20
    dots = re.findall(r'class="dot" d="([^"]*)"', picture.svg)
    assert sum(path.count("M") for path in dots) == len(tables.points)
    without = replace(tables, points=tables.points.with_columns(low=None, high=None))
    (bare,) = ceiling(without, 1.0, "dB")
    assert len(bare.svg) < len(picture.svg)


def test_the_busiest_relay_is_held_against_its_rating(markup: str) -> None:
    figure = drawing_of(markup, "rig")
    assert "the busiest relay has made 1 234 of 100 000 rated operations" in figure


def test_the_impulsive_part_stands_beside_the_level_and_the_diagnosis_under_the_picture(markup: str) -> None:
    section = markup[markup.index('id="noise-figure"') : markup.index('id="ceiling"')]
    assert "Impulsive part, dB" in section
    row = '<th scope="row">40 m<td>19:00<td>18:00<td>−28.0 (−29.0 to −27.0)<td>−40.0 (−41.0 to −39.0)'
    assert f"{row}<td>−39.0 (−40.0 to −38.0)<td>−45.0 (−46.0 to −44.0)<td>0.7<td>7" in section
    assert "In the middle one of the hours noise on 40 m stands as it does." in section


def test_small_pictures_of_one_kind_share_their_scale_and_gaps_stay_gaps() -> None:
    scale = Scale({0: ("18", "17")}, 4.0, {0.0: "S9 0"}, -60.0, 0.0)
    shown = multiples(
        "noise", [Panel("<40 m>", "words", [Line("load-bypass", [-30, None, -30, -30, None])])], scale
    )
    assert "<40 m>" not in shown and "&lt;40 m&gt;" in shown
    (path,) = re.findall(r'class="load-bypass" d="([^"]*)"', shown)
    assert re.fullmatch(r"M46 [\d.]+h2M135 [\d.]+L180 [\d.]+", path), path
    heights = set(re.findall(r"\d+ ([\d.]+)", path))
    assert len(heights) == 1, "the same level at the same height"
