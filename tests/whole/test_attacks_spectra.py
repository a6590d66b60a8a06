"""Attacks on stored spectra: days that are none of ours, and nonsense in the running day's database.

Readings are not touched by any of it, what is no spectrum is named and neither shown nor deleted, and days go on
being finished and thinned.
"""

import os
import shutil
import sqlite3
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest

from drivers.config_files import station_file
from sweeper.cli import main
from sweeper.store import Store
from sweeper.store.finished import write_day
from sweeper.store.spectra import FORMAT, SPECTRA, THINNED, schema
from tests.sweeper.store.nights import EVENING, LONGITUDE, open_store, pass_of, spectra_of

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
DAY = timedelta(days=1)
SECOND = "2026-11-02.parquet"


def fill(store: Store, number: int, day: int) -> None:
    started = EVENING + day * DAY
    store.write_pass(*pass_of(number, started), spectra_of(number, started))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three finished days with spectra, and a running one."""
    with open_store(tmp_path) as store:
        for nth in range(3):
            fill(store, nth + 1, nth)
        store.finish_days(EVENING + 9 * DAY)
        fill(store, 4, 9)
    return tmp_path


def passes_of(folder: Path) -> tuple[list[int], list[int], tuple[str, ...]]:
    """Passes with spectra, passes with readings, and what was told."""
    with Store(folder, "Saltmarsh", LONGITUDE, read_only=True) as store:
        heard = store.spectra().collect()["pass"].unique().to_list()
        read = store.readings().collect()["pass"].unique().to_list()
        return sorted(heard), sorted(read), store.troubles


def goes_on(folder: Path, *, apart: bool = False) -> None:
    """A writer opens it, finishes days and thins old ones, here or in a process of its own."""
    with open_store(folder) as store:
        fill(store, store.next_pass_number(), 11)
        store.finish_days(EVENING + 12 * DAY, apart=apart, keep_spectra_days=5)
        fill(store, store.next_pass_number(), 12)
        store.finish_days(EVENING + 40 * DAY, keep_spectra_days=5)
        assert store.readings().collect()["pass"].unique().len() >= 4


def of_second(folder: Path) -> tuple[Path, pl.DataFrame]:
    file = folder / "Saltmarsh" / "spectra" / SECOND
    return file, pl.read_parquet(file).cast(schema())


def unlisted(folder: Path) -> None:
    """A folder whose manifest somebody threw away vouches for no bytes."""
    (folder / "Saltmarsh" / "manifest.json").unlink()


def with_column(name: str, value: pl.Expr) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        file, spectra = of_second(folder)
        write_day(file.parent, EVENING.date() + DAY, spectra.with_columns(value.alias(name)), SPECTRA)
        unlisted(folder)

    return spoil


def with_bytes(change: Callable[[bytes], bytes], *, listed: bool = True) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        file, _ = of_second(folder)
        content = change(file.read_bytes())
        file.unlink()
        file.write_bytes(content)
        if not listed:
            unlisted(folder)

    return spoil


def flipped(content: bytes) -> bytes:
    return content[:40] + bytes([content[40] ^ 1]) + content[41:]


def instead(make: Callable[[Path], object]) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        file, _ = of_second(folder)
        file.unlink()
        make(file)

    return spoil


def of_another_format(file: Path) -> None:
    readings = file.parent.parent / "days" / SECOND
    content = pl.read_parquet(readings)
    content.write_parquet(file, metadata={"sweeper": FORMAT.replace("1", "2"), "day": "2026-11-02"})


DAYS: dict[str, Callable[[Path], None]] = {
    "a changed byte": with_bytes(flipped),
    "a changed byte that nobody listed": with_bytes(flipped, listed=False),
    "torn": with_bytes(lambda content: content[: len(content) // 2]),
    "torn at the end": with_bytes(lambda content: content[:-1], listed=False),
    "empty": with_bytes(lambda content: b""),
    "text": with_bytes(lambda content: b"spectra, honestly\n" * 1000),
    "zeros": with_bytes(lambda content: bytes(len(content)), listed=False),
    "another day's": instead(lambda file: shutil.copy(file.with_name("2026-11-01.parquet"), file)),
    "a day of readings": instead(lambda file: shutil.copy(file.parent.parent / "days" / SECOND, file)),
    "a later format": instead(of_another_format),
    "a pipe": instead(os.mkfifo),
    "a folder": instead(os.mkdir),
    "a device": instead(lambda file: file.symlink_to("/dev/zero")),
    "a link to nowhere": instead(lambda file: file.symlink_to("nowhere")),
    "ten gigabytes of nothing": instead(lambda file: os.truncate(file, 10 << 30) if file.touch() is None else None),
    "no levels": with_column("mean_cdb", pl.lit(None, pl.List(pl.Int16))),
    "levels with holes": with_column("mean_cdb", pl.lit(pl.Series([[1, None]], dtype=pl.List(pl.Int16))).first()),
    "levels of another length": with_column("low_cdb", pl.lit(pl.Series([[1, 2]], dtype=pl.List(pl.Int16))).first()),
    "no step": with_column("step_hz", pl.lit(float("nan"))),
    "a step without end": with_column("step_hz", pl.lit(float("inf"))),
    "a step back": with_column("step_hz", pl.lit(-1.0)),
    "beyond all frequencies": with_column("start_hz", pl.lit(2**62)),
    "a pass below one": with_column("pass", pl.lit(-1, pl.Int64)),
    "a year without end": with_column("time", pl.lit(2**55).cast(pl.Datetime("ms", "UTC"))),
    "a share above all": with_column("clipped", pl.lit(2.0)),
    "counts below nothing": with_column("segments", pl.lit(-5, pl.Int64)),
    "a band's name without end": with_column("band", pl.lit("x" * 100_000)),
}  # fmt: skip


@pytest.mark.parametrize("what", DAYS)
def test_a_day_of_spectra_that_is_none_is_named_and_nothing_else_is_lost(folder: Path, what: str) -> None:
    DAYS[what](folder)
    heard, read, troubles = passes_of(folder)
    assert (heard, read) == ([1, 3, 4], [1, 2, 3, 4])
    # A link to nowhere and what is gone are no files; all others are told by name.
    assert any("spectra" in each and SECOND in each for each in troubles), troubles
    goes_on(folder)
    heard, read, _ = passes_of(folder)
    assert {1, 3, 4, 5, 6} <= set(heard) and 2 not in heard
    assert read == [1, 2, 3, 4, 5, 6]


def test_a_place_for_spectra_that_leads_elsewhere_is_not_written_to(folder: Path, tmp_path: Path) -> None:
    place, elsewhere = folder / "Saltmarsh" / "spectra", tmp_path / "elsewhere"
    place.rename(elsewhere)
    place.symlink_to(elsewhere)
    before = {file.name: file.read_bytes() for file in elsewhere.iterdir()}
    with open_store(folder) as store:
        with pytest.raises(Exception, match="link to somewhere else"):
            store.finish_days(EVENING + 12 * DAY)
        assert store.readings().collect()["pass"].unique().len() == 4
    assert {file.name: file.read_bytes() for file in elsewhere.iterdir()} == before


ROWS = {
    "half a level": "mean = x'010203'",
    "words for levels": "mean = 'loud'",
    "a number for levels": "low = 7",
    "levels of another length": "low = x'0102'",
    "half a level of the envelope": "envelope = x'00'",
    "words for a frequency": "start_hz = 'high'",
    "a frequency beyond all": "start_hz = 9223372036854775807",
    "a step without end": "step_hz = 9e999",
    "words for a step": "step_hz = 'far'",
    "another source": "source = 'moon'",
    "another way": "route = 'round'",
    "a way that is none": "route = x'ff'",
    "a band that is none": "band = x'ffff'",
    "a band without end": "band = replace(hex(zeroblob(300000)), '00', 'x')",
    "a time beyond all": "time_ms = 9223372036854775807",
    "words for a time": "time_ms = 'now'",
    "counts below nothing": "segments = -1",
    "words for a count": "gaps = 'many'",
    "a share above all": "clipped = 3.5",
    "words for a share": "clipped = 'most'",
}


@pytest.mark.parametrize(("what", "apart"), [*((what, False) for what in ROWS), ("half a level", True)])
def test_nonsense_among_the_running_days_spectra_is_set_aside_whole(
    folder: Path, what: str, apart: bool
) -> None:
    """Finished days are read on; readings that were taken with it are in the file of their day or set aside with it."""
    database = folder / "Saltmarsh" / "today.sqlite"
    with sqlite3.connect(database) as spoilt:
        spoilt.execute(f"UPDATE spectra SET {ROWS[what]} WHERE pass = 4 AND number = 1")
    spoilt.close()
    heard, read, troubles = passes_of(folder)
    assert (heard, read) == ([1, 2, 3], [1, 2, 3, 4])
    assert any("damaged" in each for each in troubles)
    goes_on(folder, apart=apart)
    heard, read, _ = passes_of(folder)
    assert {1, 2, 3} <= set(heard) and 4 not in heard
    assert {1, 2, 3, 4} <= set(read)
    (aside,) = (folder / "Saltmarsh" / "set-aside").glob("today.sqlite.*")
    with sqlite3.connect(aside) as kept:
        assert kept.execute("SELECT count(*) FROM spectra WHERE pass = 4").fetchone() == (2,)
    kept.close()


def test_a_picture_of_a_day_is_vouched_for_as_the_day_was(folder: Path) -> None:
    with open_store(folder) as store:
        store.finish_days(EVENING + 20 * DAY, keep_spectra_days=5)
    file, _ = of_second(folder)
    assert THINNED.items() <= pl.read_parquet_metadata(file).items()
    with_bytes(flipped)(folder)
    assert passes_of(folder)[0] == [1, 3, 4]


@pytest.mark.parametrize("what", ["torn", "a pipe", "levels with holes"])
def test_the_export_leaves_out_what_is_no_day_and_says_so(
    folder: Path,
    what: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    DAYS[what](folder)
    station = tmp_path / "station.yaml"
    (tmp_path / "station.data").mkdir()
    (folder / "Saltmarsh").rename(tmp_path / "station.data" / "Saltmarsh")
    out = tmp_path / "spectra.parquet"
    station.write_text(station_file("saltmarsh").read_text(encoding="utf-8"), encoding="utf-8")
    words = ["sweeper", "export", str(station), "--spectra", "--format", "parquet", "--out", str(out)]
    monkeypatch.setattr("sys.argv", words)
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code in (0, None)
    assert SECOND in capsys.readouterr().err
    assert pl.read_parquet(out)["pass"].unique().sort().to_list() == [1, 3, 4]
