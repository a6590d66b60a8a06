"""Beside the noise of a band stands what P.372 expects, of which causes, and whether that can be judged by."""

import polars as pl

from sweeper.report.pictures.noise import noise
from tests.sweeper.report import sample

FOUND = sample.findings("80 m")
TABLES = sample.tables(FOUND, calibrated=True)


def picture(expected):
    return noise(FOUND, TABLES.levels, expected, {}, "UTC", "dBm")[1]


def test_the_caption_names_the_causes_and_the_title_judges():
    shown = picture(TABLES.expected)
    assert "of the man-made noise that ITU-R P.372 expects" in shown.caption
    assert "noisier than usual for such a place" in shown.title


def test_without_the_atmosphere_nothing_is_called_noisier_than_usual():
    shown = picture(TABLES.expected.with_columns(pl.lit(False).alias("whole")))
    assert "usual" not in shown.title
    assert "whether the place is noisy cannot be told from it" in shown.caption
