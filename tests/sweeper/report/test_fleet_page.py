"""Stations side by side: medians, a map, and nobody's name as markup."""

from dataclasses import replace
from pathlib import Path

import pytest

from sweeper.analysis import Interval, StationResult, compare_stations
from sweeper.analysis.physics.atmospheric import atmospheric
from sweeper.analysis.physics.external_noise import expected
from sweeper.fleet import Fleet
from sweeper.fleet.share import StationShare
from sweeper.report.fleet_page import write_fleet_html
from sweeper.report.fleet_words import answer
from sweeper.report.terminal import show_fleet
from tests.sweeper.report import sample


def fleet(*names: str) -> Fleet:
    """Stations in a row from west to east, the last one 20 dB noisier than the others."""
    results = []
    for nth, name in enumerate(names):
        found = sample.findings("40 m", name=name)
        noise = 70.0 if nth == len(names) - 1 else 50.0 + 0.5 * nth
        band = found.bands[0]
        periods = tuple(replace(p, fa_db=Interval(noise, noise - 1, noise + 1)) for p in band.periods)
        found = replace(found, bands=(replace(band, periods=periods),))
        results.append(StationResult(name, 56.0, 8.0 + nth, "rural", {"40 m": 7_038_500.0}, found))
    shares = [StationShare(f"/{each.name}", each.name, 7, 0, each, ()) for each in results]
    return Fleet(
        (*shares, StationShare("/gone", "gone", 0, 0, None, ("/gone: no days.",))), compare_stations(results)
    )


NAMES = ("North", "East", "South", "West", "<script>alert(1)</script>")


def test_the_page_names_who_stands_out_and_what_could_not_be_read(tmp_path: Path) -> None:
    file = tmp_path / "fleet.html"
    write_fleet_html(fleet(*NAMES), file)
    page = file.read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; on 40 m, 18:00–" in page
    assert "/gone: no days." in page
    assert "degrees east" in page and "n=5" in page


def test_the_atmosphere_of_the_place_is_part_of_what_is_expected() -> None:
    """At 1 MHz in the evening of November it stands above a quiet rural place's own noise (ITU-R P.372)."""
    found = sample.findings("medium wave", name="A")
    periods = tuple(replace(p, fa_db=Interval(70.0, 69.0, 71.0)) for p in found.bands[0].periods)
    found = replace(found, bands=(replace(found.bands[0], periods=periods),))
    station = StationResult("A", 56.0, 8.0, "quiet-rural", {"medium wave": 1_000_000.0}, found)
    evening = compare_stations([station]).cells[0]
    sky = atmospheric(1_000_000, 56.0, 8.0, 11, evening.hour_utc + 0.5)
    assert sky is not None and sky.median_db > 53.6
    assert evening.above_expected_db == pytest.approx(
        70.0 - expected(1e6, "quiet-rural", sky).total.median_db
    )
    assert evening.above_expected_db < 70.0 - 53.6 - 3.0


def test_a_fleet_without_calibration_has_no_map_and_still_a_page(tmp_path: Path) -> None:
    results = [StationResult("A", 56.0, 8.0, "rural", {}, sample.findings("40 m", name="A"))]
    file = tmp_path / "fleet.html"
    write_fleet_html(Fleet((StationShare("/a", "A", 7, 0, results[0], ()),), compare_stations(results)), file)
    assert 'id="places' not in file.read_text(encoding="utf-8")


def test_the_terminal_names_them_too(capsys: object) -> None:
    show_fleet(fleet(*NAMES))
    out = capsys.readouterr().out  # type: ignore[attr-defined]
    # the others hear 50 to 51.5 dB, so that the median station hears 51
    assert "<script>alert(1)</script> on 40 m" in out and "19 dB more noise than at" in out
    assert "<script>alert(1)</script> hears noise unlike the others." in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80


def test_the_answer_counts_the_stations_whose_verdict_it_is() -> None:
    found = fleet(*NAMES).findings
    cells = tuple(
        replace(cell, verdict="stage" if cell.station in ("East", "West") else "undecided", outlier=False)
        for cell in found.cells
    )
    told = answer(replace(found, cells=cells))
    assert told == "Stage in, at some hours or all, on 40 m (2 of 5 stations)."
    none = tuple(replace(cell, verdict="bypass") for cell in cells)
    assert answer(replace(found, cells=none)) == "No station has stage in as its answer on any band."
