"""Tables that people keep by hand: what each column and cell means, and what is asked where it may mean two things."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from sweeper.store import BadRows, Store, import_csv
from sweeper.store.csv_in import Asked, Taken, read_csv, template_of
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE, Reading
from tests.sweeper.store.nights import CHANNELS, open_store

ASKED = Asked(CHANNELS, timezone=ZoneInfo("Europe/Copenhagen"))
HEADER = "Date;Time;Freq (kHz);In/Out;S-meter;Notes"


def read(tmp_path: Path, *lines: str, asked: Asked = ASKED, encoding: str = "utf-8") -> list[Reading]:
    file = tmp_path / "log.csv"
    file.write_bytes("\r\n".join([*lines, ""]).encode(encoding))
    return list(read_csv(file, asked))


def refused(tmp_path: Path, *lines: str, asked: Asked = ASKED) -> str:
    with pytest.raises(BadRows) as error:
        read(tmp_path, *lines, asked=asked)
    return str(error.value)


def test_a_spreadsheet_with_semicolons_decimal_commas_and_local_days_goes_in(tmp_path: Path) -> None:
    first, second, third, last = read(
        tmp_path,
        "Stage test, autumn;;;;;",
        HEADER,
        "24.11.2026;18:05;7038,5;out;S3;windy",
        ";;;;;",
        ";18:06;;in;S4,5;",
        ";18:20;7202;IN;S9+10;",
        ";18:21;;Out;S9 + 5 dB;",
    )
    assert first.time == datetime(2026, 11, 24, 17, 5, tzinfo=UTC)
    assert (first.channel.hz, first.channel.purpose, first.path, first.reading) == (
        7_038_500, "noise", ANTENNA_BYPASS, -36.0,
    )  # fmt: skip
    assert (second.channel.hz, second.path, second.reading) == (7_038_500, ANTENNA_STAGE, -27.0)
    assert (third.channel.purpose, third.path, third.reading) == ("carrier", ANTENNA_STAGE, 10.0)
    assert (last.path, last.reading) == (ANTENNA_BYPASS, 5.0)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
def test_remarks_may_be_in_any_western_letters(tmp_path: Path, encoding: str) -> None:
    row = "24.11.2026;18:05;7038,5;out;S3;Südwind"
    assert len(read(tmp_path, HEADER, row, encoding=encoding)) == 1


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_any_usual_delimiter_is_found(tmp_path: Path, delimiter: str) -> None:
    lines = [HEADER, "24.11.2026;18:05;7038.5;out;S3;"]
    assert len(read(tmp_path, *(line.replace(";", delimiter) for line in lines))) == 1


def test_a_column_for_each_route_is_two_readings_a_row(tmp_path: Path) -> None:
    readings = read(
        tmp_path, "UTC;MHz;Out;In;Load out", "2026-11-24 18:05;7.0385;S3;S5;S1", asked=Asked(CHANNELS)
    )
    assert [(each.path, each.reading) for each in readings] == [
        (ANTENNA_BYPASS, -36.0), (ANTENNA_STAGE, -24.0), (LOAD_BYPASS, -48.0)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("header", "cell"),
    [("kHz", "7038.5"), ("Frequency [MHz]", "7.0385"), ("hz", "7038500"), ("QRG", "7038,5"), ("QRG", "7.0385 MHz"),
     ("QRG", "7.038.500"), ("Freq", "7 038 500")],
)  # fmt: skip
def test_the_unit_of_frequencies_is_in_the_header_the_cell_or_the_stations_channels(
    tmp_path: Path, header: str, cell: str
) -> None:
    (reading,) = read(tmp_path, f"date;time;{header};stage;dB", f"1.11.2026;18:05;{cell};off;-40")
    assert (reading.channel.hz, reading.reading, reading.path) == (7_038_500, -40.0, ANTENNA_BYPASS)


def test_a_frequency_that_fits_in_no_unit_is_asked_for(tmp_path: Path) -> None:
    told = refused(tmp_path, "date;time;QRG;stage;dB", "1.11.2026;18:05;7038;off;-40")
    assert "the frequency has no unit; say --frequency kHz (or MHz, Hz)" in told


@pytest.mark.parametrize(
    ("date", "order", "day"),
    [("2026-11-03", None, (11, 3)), ("3.11.2026", None, (11, 3)), ("3.11.26", None, (11, 3)),
     ("3 Nov 2026", None, (11, 3)),
     ("03/11/2026", "day-first", (11, 3)), ("03/11/2026", "month-first", (3, 11)), ("24/11/2026", None, (11, 24)),
     ("11/24/2026", None, (11, 24)), ("11-11-2026", None, (11, 11))],
)  # fmt: skip
def test_dates_as_people_write_them(tmp_path: Path, date: str, order: None, day: tuple[int, int]) -> None:
    asked = Asked(CHANNELS, timezone=ZoneInfo("UTC"), dates=order)
    (reading,) = read(tmp_path, HEADER, f"{date};12:00;7038,5;in;S3;", asked=asked)
    assert (reading.time.month, reading.time.day) == day


def test_a_date_that_can_be_read_two_ways_is_asked_for_unless_another_one_settles_it(tmp_path: Path) -> None:
    row = "03/11/2026;18:05;7038,5;out;S3;"
    assert "can be read two ways; say --dates day-first or --dates month-first" in refused(
        tmp_path, HEADER, row
    )
    readings = read(tmp_path, HEADER, row, row.replace("03/", "24/"))
    assert [each.time.day for each in readings] == [3, 24] and {each.time.month for each in readings} == {11}
    assert "two ways" in refused(
        tmp_path, HEADER, "24/11/2026;1:00;7038,5;out;S3;", "11/24/2026;1:00;;out;S3;", row
    )


@pytest.mark.parametrize(
    ("clock", "hour"),
    [("18:05", 17), ("6:05 PM", 17), ("1805", 17), ("18.05", 17), ("18h05", 17), ("18:05:00", 17), ("18:05Z", 18),
     ("18:05 UTC", 18), ("18:05+05:00", 13)],
)  # fmt: skip
def test_clock_times_as_people_write_them(tmp_path: Path, clock: str, hour: int) -> None:
    (reading,) = read(tmp_path, HEADER, f"24.11.2026;{clock};7038,5;out;S3;")
    assert (reading.time.hour, reading.time.minute) == (hour, 5)


@pytest.mark.parametrize("clock", ["25:00", "18:60", "13:00 PM", "evening", "6"])
def test_what_is_no_clock_time_is_named(tmp_path: Path, clock: str) -> None:
    told = refused(tmp_path, HEADER, f"24.11.2026;{clock};7038,5;out;S3;")
    assert f"this is no clock time; write it as 18:05: line 2: '{clock}'" in told


def test_times_need_a_zone_and_the_stations_is_offered(tmp_path: Path) -> None:
    asked = Asked(CHANNELS, station_zone="Europe/Copenhagen")
    told = refused(tmp_path, HEADER, "24.11.2026;18:05;7038,5;out;S3;", asked=asked)
    assert (
        "the time has no zone; say --timezone Europe/Copenhagen for the station's clock, or --timezone UTC"
        in told
    )
    told = refused(tmp_path, HEADER.replace("Time", "Time UTC"), "24.11.2026;18:05;7038,5;out;S3;")
    assert "the header says UTC, and --timezone Europe/Copenhagen" in told


@pytest.mark.parametrize(
    ("moment", "what"), [("25.10.2026;02:30", "comes twice"), ("29.03.2026;02:30", "is left out")]
)
def test_when_the_clocks_change_a_local_time_is_no_instant(tmp_path: Path, moment: str, what: str) -> None:
    assert f"this time {what}; write it with its zone" in refused(
        tmp_path, HEADER, f"{moment};7038,5;out;S3;"
    )
    assert read(tmp_path, HEADER, f"{moment}+01:00;7038,5;out;S3;")


def test_a_blank_date_is_the_one_above_but_not_over_midnight(tmp_path: Path) -> None:
    rows = ["24.11.2026;23:58;7038,5;out;S3;", ";00:02;;in;S4;"]
    assert "no date of its own; write the date after midnight: line 3" in refused(tmp_path, HEADER, *rows)
    rows[1] = "25.11.2026" + rows[1]
    assert read(tmp_path, HEADER, *rows)[1].time == datetime(2026, 11, 24, 23, 2, tzinfo=UTC)


def test_small_whole_numbers_may_be_s_units_or_decibels(tmp_path: Path) -> None:
    table = ("date;time;kHz;stage;level", "24.11.2026;18:05;7038,5;out;5")
    assert "say --level S or --level dB" in refused(tmp_path, *table)
    zone = ZoneInfo("UTC")
    assert read(tmp_path, *table, asked=Asked(CHANNELS, timezone=zone, level="S"))[0].reading == -24.0
    assert read(tmp_path, *table, asked=Asked(CHANNELS, timezone=zone, level="dB"))[0].reading == 5.0
    assert read(tmp_path, HEADER, "24.11.2026;18:05;7038,5;out;5;")[0].reading == -24.0  # under S-meter
    assert "write S0 to S9, and S9+10 above" in refused(tmp_path, HEADER, "24.11.2026;18:05;7038,5;out;12;")


@pytest.mark.parametrize(
    ("unit", "cell", "reading"), [("dBm", "S9", -73.0), ("dBm", "-90 dBm", -90.0), ("raw", "117", 117.0)]
)
def test_levels_are_in_the_unit_of_the_stations_meter(
    tmp_path: Path, unit: str, cell: str, reading: float
) -> None:
    asked = Asked(CHANNELS, meter_unit=unit, timezone=ZoneInfo("UTC"))
    table = ("date;time;kHz;stage;level", f"24.11.2026;18:05;7038,5;out;{cell}")
    assert read(tmp_path, *table, asked=asked)[0].reading == reading


@pytest.mark.parametrize(("unit", "cell"), [("raw", "S9"), ("dB-over-S9", "-90 dBm"), ("raw", "-90 dBm")])
def test_levels_in_a_unit_that_the_meter_does_not_have_are_refused(
    tmp_path: Path, unit: str, cell: str
) -> None:
    asked = Asked(CHANNELS, meter_unit=unit, timezone=ZoneInfo("UTC"))
    assert "the station's meter" in refused(
        tmp_path, "date;time;kHz;stage;level", f"24.11.2026;18:05;7038,5;out;{cell}", asked=asked
    )


@pytest.mark.parametrize(
    ("cells", "path"),
    [("load;in", LOAD_STAGE), ("dummy load;off", LOAD_BYPASS), (";with", ANTENNA_STAGE), (";load out", LOAD_BYPASS)],
)  # fmt: skip
def test_paths_as_people_write_them(tmp_path: Path, cells: str, path: object) -> None:
    table = ("date;time;kHz;source;stage;S", f"24.11.2026;18:05;7038,5;{cells};S3")
    assert read(tmp_path, *table)[0].path == path


def test_a_column_may_be_named_by_option_and_a_missing_one_is_asked_for(tmp_path: Path) -> None:
    table = ("Datum;Zeit;kHz;Relais;S", "24.11.2026;18:05;7038,5;out;S3")
    assert (
        "names no column for time, route (the stage: in or out); rename one, or say which it is with --column"
        in (refused(tmp_path, *table))
    )
    named = {"date": "Datum", "time": "Zeit", "route": "Relais"}
    assert read(tmp_path, *table, asked=Asked(CHANNELS, timezone=ZoneInfo("UTC"), columns=named))


def test_a_channel_that_the_station_lacks_is_told_with_the_nearest(tmp_path: Path) -> None:
    told = refused(tmp_path, HEADER, "24.11.2026;18:05;7038;out;S3;")
    assert "the station has no such channel" in told and "nearest 7038.5 kHz: 40 m, noise" in told


@pytest.mark.parametrize("start", [b"PK\x03\x04rest", b"\xd0\xcf\x11\xe0", b"\xff\xfeD\0a\0"])
def test_a_workbook_is_no_table_and_told_so(tmp_path: Path, start: bytes) -> None:
    (tmp_path / "log.csv").write_bytes(start)
    with pytest.raises(BadRows, match="save the sheet as CSV"):
        list(read_csv(tmp_path / "log.csv", ASKED))


def row(minute: int, route: str, khz: str = "7038,5") -> str:
    return f"24.11.2026;18:{minute:02};{khz};{route};S3;"


def test_passes_are_filled_in_bypass_and_stage_together(tmp_path: Path) -> None:
    """Alternating, reversed and on two channels: a pass ends where a path is set again with both routes seen."""
    for routes, passes in (
        ("out in out in", [1, 1, 2, 2]),
        ("out in in out out in in out", [1, 1, 1, 2, 2, 2, 2, 3]),
        ("out out out in in in", [1] * 6),
    ):
        rows = [row(minute, route) for minute, route in enumerate(routes.split())]
        assert [each.pass_number for each in read(tmp_path, HEADER, *rows)] == passes, routes
    both = [row(nth, route, khz) for nth, (khz, route) in enumerate(
        (khz, route) for _ in range(2) for khz in ("7038,5", "7202") for route in ("out", "in")
    )]  # fmt: skip
    assert [each.pass_number for each in read(tmp_path, HEADER, *both)] == [1] * 4 + [2] * 4


def test_a_break_ends_a_pass_and_no_pass_is_longer_than_an_hour(tmp_path: Path) -> None:
    rows = [row(0, "out"), row(1, "in"), row(17, "in")]
    assert [each.pass_number for each in read(tmp_path, HEADER, *rows)] == [1, 1, 2]
    long = [f"24.11.2026;{18 + minute // 60}:{minute % 60:02};7038,5;out;S3;" for minute in range(0, 130, 10)]
    assert [each.pass_number for each in read(tmp_path, HEADER, *long)] == [1] * 7 + [2] * 6


def test_readings_of_one_written_minute_are_spread_over_it(tmp_path: Path) -> None:
    rows = [row(5, "out")] * 4 + [row(6, "in")]
    readings = read(tmp_path, HEADER, *rows)
    assert [each.time.second for each in readings] == [0, 15, 30, 45, 0]


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(tmp_path / "data")


def brought(store: Store, tmp_path: Path, *lines: str) -> Taken:
    file = tmp_path / "log.csv"
    file.write_text("\n".join(lines), encoding="utf-8")
    return import_csv(store, file, ASKED)


def test_a_table_that_grows_may_be_brought_in_again(store: Store, tmp_path: Path) -> None:
    rows = [row(0, "out"), row(1, "in")]
    assert brought(store, tmp_path, HEADER, *rows).readings == 2
    later = [line.replace("24.", "25.") for line in rows]
    taken = brought(store, tmp_path, HEADER, *rows, *later)
    assert (taken.readings, taken.known, taken.passes) == (2, 2, 1)
    assert store.readings().collect()["pass"].to_list() == [1, 1, 2, 2]
    with pytest.raises(BadRows, match="all its 4 readings are stored already"):
        brought(store, tmp_path, HEADER, *rows, *later)


def test_how_a_table_was_read_is_said(store: Store, tmp_path: Path) -> None:
    taken = brought(store, tmp_path, HEADER, row(0, "out"), "24.11.2026;18:02;7038,5;in;;forgot")
    assert taken.read_as == (
        "Read with semicolons between cells, frequencies in kHz, times of Europe/Copenhagen.",
        "1 row without a reading left out.",
        "Columns not used: Notes.",
    )


def test_the_template_filled_in_goes_in(tmp_path: Path) -> None:
    lines = template_of(CHANNELS, (ANTENNA_BYPASS, ANTENNA_STAGE), "dB-over-S9").splitlines()
    assert len(lines) == 1 + 2 * len(CHANNELS)
    start = datetime(2026, 11, 24, 18, 0, tzinfo=UTC)
    filled = [lines[0]]
    for nth, line in enumerate(lines[1:-1]):
        moment = start + timedelta(minutes=nth)
        filled.append(line.replace(",,", f"{moment:%Y-%m-%d},{moment:%H:%M},", 1)[:-2] + ",S5,")
    readings = read(tmp_path, *filled, lines[-1])
    assert len(readings) == 2 * len(CHANNELS) - 1  # the last row was left blank
    assert {each.channel for each in readings} == set(CHANNELS)


@pytest.mark.parametrize(
    ("name", "cell", "words"),
    [("time", "18:05 +99:99", "the time is none"), ("date", "1.1.0001", "the time is none"),
     ("date", "31.12.9999", "the time is none"), ("reading", "1" * 5000, "reading is not a number"),
     ("pass", "0" * 18 + "1" + "0" * 5000, "not a whole number"), ("pass", "0" * 19 + "1" * 30, "not a whole number")],
)  # fmt: skip
def test_numbers_and_times_beyond_all_bounds_are_mistakes_like_others(
    tmp_path: Path, name: str, cell: str, words: str
) -> None:
    row = {
        "date": "1.11.2026",
        "time": "23:05",
        "pass": "1",
        "kHz": "7038.5",
        "stage": "in",
        "reading": "-40",
    }
    row["time"] = "00:05" if "0001" in cell else "23:05"
    asked = Asked(CHANNELS, timezone=ZoneInfo("America/Adak" if "9999" in cell else "Europe/Copenhagen"))
    assert words in refused(tmp_path, ";".join(row), ";".join((row | {name: cell}).values()), asked=asked)
