"""The answer as one picture: it has the station, its dates and the intervals in it, as PNG or SVG."""

import io
import re
from pathlib import Path

import pytest
from PIL import Image

from sweeper.errors import WrongInput
from sweeper.report.shared_picture import picture_of, write_picture
from tests.sweeper.report import sample


def test_the_picture_has_station_dates_deeds_and_intervals_in_it() -> None:
    text = picture_of(sample.findings(name="<Saltmarsh>"), "Europe/Copenhagen", "svg").decode()
    words = re.findall(r">([^<>]+)</text>", text)
    for wanted in ("&lt;Saltmarsh&gt;", "80 m", "40 m", "▲ stage in", "+3.0 (+2.2 to +3.8)"):
        assert wanted in words, wanted
    assert any("7 nights, 1 to 8 November 2026" in word for word in words)
    assert any("Europe/Copenhagen" in word for word in words)
    assert "<script" not in text and "@import" not in text


def test_a_png_is_as_wide_as_a_screen_shows_and_the_same_for_the_same_findings() -> None:
    first, second = (picture_of(sample.findings(), "UTC") for _ in range(2))
    assert first == second
    assert Image.open(io.BytesIO(first)).size[0] == 1260


def test_another_kind_of_file_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match=r"\.png or \.svg"):
        write_picture(sample.findings(), "UTC", tmp_path / "answer.gif")
    write_picture(sample.findings(), "UTC", tmp_path / "answer.PNG")
    assert [each.name for each in tmp_path.iterdir()] == ["answer.PNG"]
