"""Readings as CSV (RFC 4180): what goes out comes in again, and a bad file is refused whole with its lines named."""

import csv
import os
import shutil
import tracemalloc
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from io import BytesIO, StringIO
from itertools import islice
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sweeper.store import BadRows, Store, StoreError, import_csv, write_csv, write_parquet
from sweeper.store.csv_in import Asked, read_csv
from sweeper.store.csv_in.lines import LIMITS, Limits
from sweeper.store.frames import COLUMNS, frame_of
from sweeper.words import BROUGHT_IN, ROUTES, SOURCES, Channel, PassRecord, Reading
from sweeper.words import SignalPath as RelayPath
from tests.sweeper.store.conftest import SmallDisk
from tests.sweeper.store.nights import CHANNELS, EVENING, LONGITUDE, fill, open_store, pass_of

HEADER = ",".join(COLUMNS)
GOOD = "2026-11-01T16:00:00.250Z,1,40 m,7038500,noise,antenna,bypass,-61.5,-134.5,2400,stale"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(tmp_path / "data")


def taken(
    store: Store,
    tmp_path: Path,
    *lines: str,
    header: str = HEADER,
    end: str = "\r\n",
    limits: Limits = LIMITS,
) -> int:
    file = tmp_path / "readings.csv"
    file.write_bytes(end.join([header, *lines, ""]).encode())
    return import_csv(store, file, Asked(CHANNELS), limits).readings


def refusal(store: Store, tmp_path: Path, *lines: str, header: str = HEADER, limits: Limits = LIMITS) -> str:
    before = (store.passes(), store.readings().collect())
    with pytest.raises(BadRows) as refused:
        taken(store, tmp_path, *lines, header=header, limits=limits)
    assert refused.value.exit_code == 2
    assert store.passes() == before[0]
    assert store.readings().collect().equals(before[1])
    assert "othing" in str(refused.value)  # of the file was taken
    return str(refused.value)


def test_one_line_is_one_reading(store: Store, tmp_path: Path) -> None:
    assert taken(store, tmp_path, GOOD) == 1
    (row,) = store.readings().collect().rows(named=True)
    assert row == {
        "time": datetime(2026, 11, 1, 16, 0, 0, 250_000, tzinfo=UTC), "pass": 1, "band": "40 m", "hz": 7_038_500,
        "for": "noise", "source": "antenna", "route": "bypass", "reading": -61.5, "dbm": -134.5,
        "bandwidth_hz": 2400, "flags": "stale",
    }  # fmt: skip
    assert store.passes()[0].started == row["time"]
    assert store.passes()[0].brought_in


@pytest.mark.parametrize("end", ["\r\n", "\n"])
def test_lines_may_end_as_on_any_computer_and_columns_come_in_any_order(
    store: Store, tmp_path: Path, end: str
) -> None:
    header = "reading,time,pass,hz,band,for,route,source"
    line = '"-61.5",2026-11-01T17:00:00+01:00,1,7038500,"40 m",noise,stage,load'
    assert taken(store, tmp_path, line, header=header, end=end) == 1
    row = store.readings().collect().row(0, named=True)
    assert (row["time"], row["source"], row["dbm"], row["bandwidth_hz"], row["flags"]) == (
        EVENING,
        "load",
        None,
        2400,
        "",
    )


BAD = [
    ("2026-11-01T16:00:00Z", "2026-11-01 16:00", "the time has no zone; say --timezone UTC"),
    ("2026-11-01T16:00:00Z", "2026-11-01T16:00:00", "the time has no zone"),
    ("2026-11-01T16:00:00Z", "yesterday", "the time is none"),
    (",1,40 m", ",0,40 m", "pass is not a whole number above 0"),
    (",1,40 m", ",1.5,40 m", "pass is not a whole number above 0"),
    (",1,40 m", ",99999999999999999999,40 m", "pass is not a whole number above 0"),
    ("40 m", "41 m", "the station has no such channel"),
    ("7038500", "7038501", "the station has no such channel"),
    ("7038500", "7.0385e6", "this is no frequency"),
    ("7038500", "-7038500", "this is no frequency"),
    ("7038500", "0", "not a whole number of hertz above 0"),
    ("7038500", "7038500.5", "not a whole number of hertz above 0"),
    ("noise", "nois", "what it is for is neither noise nor carrier"),
    ("antenna", "aeriel", "this is no path"),
    ("bypass", "stages", "this is no path"),
    ("-61.5", "nan", "reading is not a number"),
    ("-61.5", "inf", "reading is not a number"),
    ("-61.5", "", "reading is not a number"),
    ("-61.5", "S10", "reading is not a number"),
    ("-61.5", "1e6", "reading is in decibels and lies between -1000 and 1000"),
    ("-134.5", "-400", "dbm is in decibels and lies between -300 and 300"),
    ("-61.5", "-61,5", "the header has 11 fields, and a line another number"),
    ("-134.5", "low", "dbm is not a number"),
    ("2400", "wide", "bandwidth_hz is not a whole number"),
    ("stale", "=cmd()", "flags are words"),
    (",stale", "", "the header has 11 fields, and a line another number"),
    ("stale", 'sta"le', "flags are words"),
]


@pytest.mark.parametrize(("old", "new", "what"), BAD, ids=[new or "nothing" for _, new, _ in BAD])
def test_a_bad_row_is_named_by_its_line_and_the_file_is_refused(
    store: Store, tmp_path: Path, old: str, new: str, what: str
) -> None:
    good = GOOD.replace(".250Z", "Z")
    assert old in good
    told = refusal(
        store,
        tmp_path,
        GOOD,
        GOOD.replace("00.250", "01.250"),
        good.replace(old, new),
        GOOD.replace("00.250", "02.250"),
    )
    assert "1 bad line" in told
    (named,) = [line for line in told.splitlines() if "line 4" in line]
    assert what in named


def test_all_that_is_wrong_with_a_row_is_told_in_one_go(store: Store, tmp_path: Path) -> None:
    told = refusal(
        store, tmp_path, GOOD.replace("-61.5", "x").replace("stale", "=cmd()").replace("noise", "hum")
    )
    assert "1 bad line" in told and [line.strip() for line in told.splitlines()[1:]] == [
        "what it is for is neither noise nor carrier: line 2: 'hum'",
        "reading is not a number: line 2: 'x'",
        "flags are words with spaces between them: line 2: '=cmd()'",
    ]


def test_each_kind_of_mistake_is_one_line_with_its_count_and_first_places(
    store: Store, tmp_path: Path
) -> None:
    told = refusal(store, tmp_path, GOOD, GOOD.replace("noise", "hum"), GOOD, GOOD.replace("-61.5", "x"))
    assert "2 bad lines" in told and "carrier: line 3: 'hum'" in told and "a number: line 5: 'x'" in told
    told = refusal(store, tmp_path, *[GOOD.replace("-61.5", "x")] * 3000)
    assert told.splitlines() == [
        f"{tmp_path / 'readings.csv'}: 3000 bad lines, so nothing of the file was taken. Correct the lines and "
        "import again.",
        "  reading is not a number (3000 times): line 2: 'x', line 3: 'x', line 4: 'x', and 2997 more",
    ]


@pytest.mark.parametrize(
    ("header", "what"),
    [("time,pass", "the header names no column for frequency, reading, route"),
     (HEADER.replace("reading", "radings"), "the header lacks reading"),
     (HEADER.replace("pass,", "").replace("reading", "radings"), "the header lacks pass, reading"),
     (HEADER + ",snr", "the header has unknown columns: 'snr'"),
     (HEADER + ",time", "the header has unknown columns: 'time a second time'"), ("", "there is no table in it")],
)  # fmt: skip
def test_a_header_that_is_not_ours_is_refused(store: Store, tmp_path: Path, header: str, what: str) -> None:
    assert what in refusal(store, tmp_path, *[GOOD] * bool(header), header=header)


def test_no_field_goes_on_in_the_next_line(store: Store, tmp_path: Path) -> None:
    """None of ours holds a line end, and a quote that never closes must not swallow a whole file."""
    told = refusal(store, tmp_path, GOOD.replace("stale", '"a\r\nb"'), GOOD.replace("noise", "x"))
    assert "unexpected end of data: line 2" in told and "carrier: line 4: 'x'" in told


@pytest.mark.parametrize("row", [GOOD + "x" * 10_000, "," * 20_000, '"' + "x" * 50_000_000])
def test_a_line_without_end_is_not_read_to_its_end(store: Store, tmp_path: Path, row: str) -> None:
    assert "longer than 10,000 bytes; what follows was not looked at: line 3" in refusal(
        store, tmp_path, GOOD, row, "x"
    )


@pytest.mark.timeout(60)
def test_a_pipe_or_a_device_is_no_table(store: Store, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    for file in (pipe, Path("/dev/zero")):
        with pytest.raises(StoreError, match="no ordinary file"):
            import_csv(store, file, Asked(CHANNELS))


def test_a_file_beyond_any_season_is_refused(store: Store, tmp_path: Path) -> None:
    told = refusal(store, tmp_path, *[GOOD] * 4, limits=Limits(bytes=300))
    assert "the file is longer than 300 bytes; divide it by nights: line 4" in told


def test_mixed_passes_are_sorted_up_to_a_bound(store: Store, tmp_path: Path) -> None:
    rows = [GOOD.replace("00.250Z,1,", f"0{nth}.250Z,{1 + nth % 2},") for nth in range(4)]
    assert "Sort it by pass" in refusal(store, tmp_path, *rows, limits=Limits(mixed=3))
    assert taken(store, tmp_path, *rows, limits=Limits(mixed=4)) == 4
    assert [record.number for record in store.passes()] == [1, 2]
    assert store.readings().collect()["pass"].to_list() == [1, 1, 2, 2]


def test_a_season_is_never_held_whole(store: Store, tmp_path: Path) -> None:
    """Fifty million readings go in pass by pass: what is in memory does not grow with the file."""
    rows = [
        GOOD.replace("00:00.250Z,1,", f"{nth // 60 % 60:02}:{nth % 60:02}.250Z,{1 + nth // 100},")
        for nth in range(3000)
    ]
    file = tmp_path / "season.csv"
    file.write_text("\n".join([HEADER, *rows, ""]), encoding="utf-8")
    most = []
    with store:
        write = store.write_passes

        def watched(passes: Iterable[tuple[PassRecord, Sequence[Reading]]]) -> None:
            most.extend(len(readings) for _, readings in passes)
            write(passes)

        store.write_passes = watched  # type: ignore[method-assign]
        tracemalloc.start()
        list(islice(read_csv(file, Asked(CHANNELS)), 10))
        before = tracemalloc.get_traced_memory()[0]
        tracemalloc.reset_peak()
        assert sum(1 for _ in read_csv(file, Asked(CHANNELS))) == 3000
        grown = tracemalloc.get_traced_memory()[1] - before
        tracemalloc.stop()
        assert import_csv(store, file, Asked(CHANNELS)).readings == 3000
    assert max(most) == 100 and grown < 200_000


@pytest.mark.parametrize(
    "time", ["2026-W45-7T16:00Z", "20261101T160000Z", "2026-11-01T16:00:00+00:00:01", "2026-11-01T16Z"]
)
def test_instants_have_one_form(store: Store, tmp_path: Path, time: str) -> None:
    assert ": line 2" in refusal(store, tmp_path, GOOD.replace("2026-11-01T16:00:00.250Z", time))


def test_what_is_no_text_or_no_csv_is_refused(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    for content, what in [
        (f"{HEADER}\r\n".encode() + b"\xff\xfe\r\n", "this is not UTF-8: line 2"),
        (f'{HEADER}\r\n{GOOD}\r\n"open'.encode(), "not CSV"),
        (f"{HEADER}\r\n{GOOD.replace('stale', chr(34) + 'a' + chr(34) + 'b')}\r\n".encode(), "not CSV"),
        (f"{HEADER}\r\n".encode(), "no readings"),
        (b"", "there is no table in it"),
        (f"{HEADER}\r\n".encode() + b"\x00" * 100, "line 2"),
    ]:
        file.write_bytes(content)
        with pytest.raises(BadRows, match=what):
            import_csv(store, file, Asked(CHANNELS))
    assert store.passes() == ()


def test_the_same_file_twice_is_refused(store: Store, tmp_path: Path) -> None:
    assert taken(store, tmp_path, GOOD) == 1
    assert "stored already" in refusal(store, tmp_path, GOOD)
    store.finish_days(EVENING + timedelta(days=2))
    assert "stored already" in refusal(store, tmp_path, GOOD)


def test_pass_numbers_that_are_taken_are_shifted_past_what_is_stored(store: Store, tmp_path: Path) -> None:
    fill(store, EVENING, 3)
    taken(store, tmp_path, *(GOOD.replace("T16:00", "T20:00").replace(",1,", f",{n},") for n in (2, 3, 7)))
    assert [record.number for record in store.passes()] == [1, 2, 3, 4, 5, 9]


def test_a_file_from_a_spreadsheet_with_a_byte_order_mark_is_taken(store: Store, tmp_path: Path) -> None:
    assert taken(store, tmp_path, GOOD, header="\ufeff" + HEADER) == 1


def test_csv_out_is_rfc_4180(store: Store, tmp_path: Path) -> None:
    band = Channel('a "quiet", band', 7_000_000, "noise", 500)
    store.write_pass(
        PassRecord(1, EVENING, EVENING, "done", "", 0),
        [Reading(EVENING, 1, band, RelayPath("antenna", "stage"), -0.1, None)],
    )
    out = BytesIO()
    write_csv(store.readings(), out)
    assert out.getvalue() == (
        b"time,pass,band,hz,for,source,route,reading,dbm,bandwidth_hz,flags\r\n"
        b'2026-11-01T16:00:00.000Z,1,"a ""quiet"", band",7000000,noise,antenna,stage,-0.1,,500,\r\n'
    )
    (row,) = csv.DictReader(StringIO(out.getvalue().decode(), newline=""))  # the standard library agrees
    assert row["band"] == band.band


def test_parquet_out_holds_the_same_table(store: Store, tmp_path: Path) -> None:
    import duckdb

    fill(store, EVENING, 4, timedelta(hours=12))
    store.finish_days(EVENING + timedelta(days=1))
    file = tmp_path / "all.parquet"
    write_parquet(store.readings(), file)
    assert pl.read_parquet(file).equals(store.readings().collect())
    by_duckdb = duckdb.sql(f"SELECT count(*), sum(reading), min(source), max(hz) FROM '{file}'").fetchall()[0]
    assert by_duckdb == (128, store.readings().collect()["reading"].sum(), "antenna", 7_202_000)


def test_a_file_that_cannot_be_written_leaves_nothing_behind(store: Store, tmp_path: Path) -> None:
    fill(store, EVENING, 1)
    for write in (write_csv, write_parquet):
        with pytest.raises(StoreError, match="no such folder"):
            write(store.readings(), tmp_path / "none" / "out")
        with pytest.raises(StoreError, match="this is no file"):
            write(store.readings(), Path("/dev/full"))
    assert Path("/dev/full").is_char_device()
    assert [file.name for file in tmp_path.iterdir()] == ["data"]


def test_a_disk_that_fills_up_while_exporting_leaves_the_old_file(
    store: Store, request: pytest.FixtureRequest
) -> None:
    fill(store, EVENING, 100)
    disk: SmallDisk = request.getfixturevalue("small_disk")
    old = disk.place / "out"
    old.write_text("the old one")
    disk.fill_up()
    for write in (write_csv, write_parquet):
        with pytest.raises(StoreError, match=r"No space|disk is full|File too large|allowed size"):
            write(store.readings(), old)
        assert old.read_text() == "the old one"
        assert list(disk.place.glob(".*")) == []


CHANNEL = st.builds(
    Channel,
    band=st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=12),
    hz=st.integers(1, 3_000_000_000),
    purpose=st.sampled_from(["noise", "carrier"]),
    bandwidth_hz=st.integers(1, 10_000_000),
)
NUMBER = st.floats(-200, 200, allow_nan=False)


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(st.lists(CHANNEL, min_size=1, max_size=3, unique_by=lambda c: (c.band, c.hz, c.purpose)), st.data())
def test_what_goes_out_as_csv_comes_in_again_to_the_last_bit(
    tmp_path_factory: pytest.TempPathFactory, channels: list[Channel], data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("csv")
    readings = []
    for number in range(1, data.draw(st.integers(1, 3), "passes") + 1):
        for step in range(data.draw(st.integers(1, 4), "readings")):
            time = EVENING + timedelta(hours=20 * number, milliseconds=step * 50)
            path = RelayPath(data.draw(st.sampled_from(SOURCES)), data.draw(st.sampled_from(ROUTES)))
            dbm = data.draw(st.none() | NUMBER)
            flags = data.draw(st.sampled_from(["", "floor", "clipped stale"]))
            readings.append(
                Reading(
                    time, number, data.draw(st.sampled_from(channels)), path, data.draw(NUMBER), dbm, flags
                )
            )
    with open_store(folder, "first") as first, open_store(folder, "second") as second:
        for number in {reading.pass_number for reading in readings}:
            rows = [reading for reading in readings if reading.pass_number == number]
            first.write_pass(PassRecord(number, rows[0].time, rows[-1].time, "done", BROUGHT_IN, 0), rows)
        first.finish_days(EVENING + timedelta(days=2))
        write_csv(first.readings(), folder / "out.csv")
        assert import_csv(second, folder / "out.csv", Asked(channels)).readings == len(readings)
        assert second.readings().collect().equals(frame_of(readings))
        assert second.passes() == first.passes()
    shutil.rmtree(folder)


def test_a_reader_may_export_while_a_writer_works(store: Store, tmp_path: Path) -> None:
    store.write_pass(*pass_of(1, EVENING))
    with Store(tmp_path / "data", "Saltmarsh", LONGITUDE, read_only=True) as reader:
        write_csv(reader.readings(), tmp_path / "out.csv")
    assert (tmp_path / "out.csv").read_bytes().count(b"\r\n") == 33
    assert [file.name for file in tmp_path.glob(".*")] == []
