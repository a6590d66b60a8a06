"""Tables for `import` that somebody spoiled, by hand or on purpose: refused in words, or taken; nothing in between.

Each is tried in zones on both sides of Greenwich, and what was stored before stands untouched.
"""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sweeper.store import BadRows, Store, StoreError, import_csv
from sweeper.store.csv_in import Asked, Taken
from sweeper.store.csv_in.lines import Limits
from tests.sweeper.store.nights import CHANNELS, EVENING, fill, open_store

pytestmark = pytest.mark.slow

RIGHT = {
    "pass": "1", "date": "2026-11-01", "time": "18:05", "kHz": "7038.5", "band": "40 m", "for": "noise",
    "source": "antenna", "stage": "in", "S-meter": "S7",
}  # fmt: skip
ZONES = ("Europe/Copenhagen", "Pacific/Kiritimati", "America/Adak")


def table(**cells: str) -> bytes:
    """One row under a header; `cells` in place of what is right."""
    row = RIGHT | {name.replace("_", "-").removeprefix("for-"): text for name, text in cells.items()}
    return (",".join(row) + "\n" + ",".join(row.values()) + "\n").encode("utf-8", "surrogatepass")


CELLS = {
    "time": [
        "18:05 +99:99", "18:05+24:00", "18:05 -24:00", "24:00", "99:99", "18:05:60", "25 am", "0 pm", "noon", "1e1:00",
        "0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59", "2026-13-45T00:00:00Z", "2026-11-01T18:05:00+99:99",
        "٠١:٠٢", "=NOW()", "18:05\x00",
    ],
    "date": [
        "0000-01-01", "0001-01-01", "1.1.0001", "9999-12-31", "31.12.9999", "2026-02-30", "1 Foo 2026", "99.99.99",
        "๑๑-11-2026", "45962", "1-" + "- " * 3000, "=TODAY()", "1969-12-31", "2201-01-01",
    ],
    "pass": ["0", "-1", "1_0", "٣", "1" * 5000, "0" * 19 + "1" + "9" * 30, "0" * 18 + "1" + "0" * 5000, "1e3", "²"],
    "kHz": [
        "-7038.5", "1e9", "nan", "9" * 400, "7038.5 GHz", "999999999999.999999999 MHz", " " * 4000 + "k", "7,0,3",
        "٧٠٣٨", "0x1b", "=7038.5", "'7038.5'",
    ],
    "band": ["=1+1", "@SUM(A1)", "\ud800", "\u202e", "\x1b[2J", "../..", "x" * 9000, "'40 m'", "''=40 m"],
    "for": ["love", "noise\x00", "=noise", "n" * 9000],
    "source": ["both", "-antenna", "antenna-stage", "load load"],
    "stage": ["maybe", "- " * 4000, "in out", "²", "antenna-noise-in", "=TRUE()"],
    "S-meter": [
        "S99", "--1", "nan", "inf", "1e999", "²", "1" * 5000, "S9+999", "1_0", "=cmd|' /C calc'!A0", "S7 dB dBm",
        "٩", " " * 9000 + "x", "\x00", "999999",
    ],
}  # fmt: skip
"""In a cell where something else belongs. A few are read after all, where they mean the same."""

WHOLE = {
    "nothing": b"",
    "a mark and nothing": b"\xef\xbb\xbf",
    "blank lines": b"\n" * 100_000,
    "no line end": b"a" * 200_000,
    "only NULs": b"\0" * 50_000,
    "quotes that nest": b'"""""""",' * 3 + b'"\n',
    "a quote that never closes": table().replace(b"40 m", b'"40 m'),
    "a quote in the header": table().replace(b"time", b'"ti\nme"'),
    "more columns than a line can hold": b"date,time," * 1_000_000 + b"\n",
    "thousands of columns": (b"date,time," + b"a," * 4000 + b"\n") * 10,
    "a row of thousands of cells": table() + b"," * 9000 + b"\n",
    "every column twice": table().replace(b"\n", b",") * 2 + b"\n",
    "old line ends": table().replace(b"\n", b"\r"),
    "UTF-16 with a mark": table().decode().encode("utf-16"),
    "UTF-16 without": table().decode().encode("utf-16-le"),
    "UTF-32": table().decode().encode("utf-32"),
    "UTF-7": b"+/v8-" + table(),
    "EBCDIC": table().decode().encode("cp500"),
    "a workbook": b"PK\x03\x04" + bytes(range(256)) * 40,
    "a page": b"<html><table><tr><td>date</td></tr></table></html>",
    "a hundred titles": b"title\n" * 100 + table(),
    "paths twice": b"time,kHz,in,with,in,out\n2026-11-01T18:05Z,7038.5,S1,S2,S3,S4\n",
    "a row that goes on for ever": table() + b"x" * 1_000_000,
}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "data") as opened:
        fill(opened, EVENING - timedelta(days=9), 1)
        yield opened


def brought_in(store: Store, file: Path, zone: str, limits: Limits | None = None) -> Taken | None:
    """What came of it; None where it was refused, in words, and nothing was stored."""
    before = store.passes()
    asked = Asked(CHANNELS, timezone=ZoneInfo(zone))
    try:
        return import_csv(store, file, asked, limits) if limits else import_csv(store, file, asked)
    except (BadRows, StoreError) as told:
        assert len(str(told)) < 4000
        assert store.passes() == before
        return None


@pytest.mark.parametrize("zone", ZONES)
def test_a_table_that_is_right_is_taken(store: Store, tmp_path: Path, zone: str) -> None:
    """Or the attacks would prove nothing."""
    (tmp_path / "log.csv").write_bytes(table())
    taken = brought_in(store, tmp_path / "log.csv", zone)
    assert taken is not None and taken.readings == 1


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize(
    ("column", "cell"),
    [(column, cell) for column, cells in CELLS.items() for cell in cells],
    ids=lambda text: ascii(text[:20]),
)
def test_a_cell_that_is_something_else(
    store: Store, tmp_path: Path, column: str, cell: str, zone: str
) -> None:
    file = tmp_path / "log.csv"
    file.write_bytes(table(**{column: cell}))
    taken = brought_in(store, file, zone)
    if taken is not None:
        assert taken.readings == 1
        here = pl.col("time").is_between(EVENING - timedelta(days=9), EVENING - timedelta(days=8)).not_()
        (reading,) = store.readings().filter(here).collect().iter_rows(named=True)
        assert (reading["hz"], reading["band"], reading["source"]) == (7_038_500, "40 m", "antenna")
        assert -60.0 <= reading["reading"] <= 60.0


@pytest.mark.parametrize("name", WHOLE)
def test_a_file_that_is_no_table(store: Store, tmp_path: Path, name: str) -> None:
    file = tmp_path / "log.csv"
    file.write_bytes(WHOLE[name])
    taken = brought_in(store, file, ZONES[0])
    assert taken is None or taken.readings <= 4


def test_a_table_kept_by_hand_is_held_whole_and_so_has_a_bound(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_bytes(table() + table().split(b"\n", 1)[1] * 50)
    with pytest.raises(BadRows, match="longer than 500 bytes; divide it by nights"):
        import_csv(
            store,
            file,
            Asked(CHANNELS, timezone=ZoneInfo("Europe/Copenhagen")),
            Limits(by_hand_bytes=500),
        )


@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_any_cells_at_all(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    folder = tmp_path_factory.mktemp("table")
    words = st.sampled_from([word for cells in CELLS.values() for word in cells]) | st.text(max_size=12)
    rows = [table().split(b"\n")[0]]
    for _ in range(data.draw(st.integers(1, 3))):
        cells = dict.fromkeys(data.draw(st.sets(st.sampled_from(list(RIGHT)), max_size=3)))
        row = table(**{name: data.draw(words) for name in cells}).split(b"\n")[1]
        rows.append(row)
    (folder / "log.csv").write_bytes(b"\n".join([*rows, b""]))
    with open_store(folder / "data") as store:
        brought_in(store, folder / "log.csv", data.draw(st.sampled_from(ZONES)))
