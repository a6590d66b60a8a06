"""A band whose channels differ has no one gain, and its picture does not show one as if it had."""

import polars as pl

from sweeper.analysis import evidence
from sweeper.report.pictures.gain import gain

ROWS = [
    ("80 m", "load", None, 15.0, 14.8, 15.2, True, True),
    ("80 m", "combined", None, 15.0, 14.9, 15.1, True, True),
    ("medium wave", "load", None, 11.4, 11.3, 11.5, True, True),
    ("medium wave", "channel", 522_500, 9.0, None, None, True, True),
    ("medium wave", "channel", 1_616_000, 13.9, None, None, True, True),
    ("medium wave", "combined", None, 11.4, 11.3, 11.5, True, True),
]


def test_channels_that_differ_are_shown_and_their_mean_is_called_so() -> None:
    (picture,) = gain(pl.DataFrame(ROWS, schema=dict(evidence.GAINS), orient="row"))
    assert picture.title.endswith("; on medium wave the gain is not the same for all channels")
    ways = [(row[0], row[1], row[2]) for row in picture.numbers.rows]
    assert ("medium wave", "channel at 522.5 kHz", "+9.0") in ways
    assert ("medium wave", "mean of channels", "+11.4") in ways
    assert ("80 m", "combined", "+15.0") in ways
    assert "each one's S/N change is computed with its own gain" in picture.caption


def test_where_they_are_alike_nothing_is_said_of_channels() -> None:
    (picture,) = gain(pl.DataFrame(ROWS[:2], schema=dict(evidence.GAINS), orient="row"))
    assert "channel" not in picture.title + picture.caption
