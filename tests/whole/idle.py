"""What a daemon costs while it waits: memory and processor time of the real process."""

import os
import time
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from sweeper.clock import SystemClock
from sweeper.store import Store
from sweeper.store.days import day_of, day_starts
from sweeper.words import ANTENNA_BYPASS, Channel, PassRecord, Reading
from tests.whole.unattended import unattended, until

LONGITUDE = 8.1  # the station's, see tests/whole/unattended.py
TICK_S = 1 / os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Idle:
    """`rss_mb` while waiting, `rss_after_day_mb` once a finished day was written, `core_share` of one core."""

    rss_mb: float
    rss_after_day_mb: float
    core_share: float
    seconds: float
    handles: int


def waited(folder: Path, seconds: float) -> Idle:
    """Let a daemon wait for its next pass for so many seconds, fresh and after the chores of a new day."""
    fresh, after = folder / "fresh", folder / "after"
    for place in (fresh, after):
        place.mkdir()
    rss_mb, _, share, handles = _wait(fresh, seconds)
    rss_after_mb, days, _, _ = _wait(after, 0.0, with_yesterday=True)
    assert days, "the finished day was not written"
    return Idle(rss_mb, rss_after_mb, share, seconds, handles)


def after_days(folder: Path, days: int) -> tuple[float, int]:
    """Resident memory in MB of a daemon that has made files of so many late days, and how many files it made."""
    rss_mb, files, _, _ = _wait(folder, 0.0, late_days=days)
    return rss_mb, files


def _wait(
    folder: Path, seconds: float, with_yesterday: bool = False, late_days: int = 0
) -> tuple[float, int, float, int]:
    far = SystemClock().now() + timedelta(hours=12)
    with unattended(folder, schedule=f"[{{at: ['{far:%H:%M}']}}]") as station:
        if with_yesterday:
            write_a_night(station.data, an_evening_past())
        for late in range(late_days):
            write_a_night(station.data, an_evening_past() - timedelta(days=late))
        with station.running() as process:
            until(
                lambda: station.answers() and station.ask("status").state.doing == "waiting", "the wait", 60
            )
            until(lambda: len(list(station.folder.glob("days/*.parquet"))) >= late_days, "the late days", 240)
            proc = Path(f"/proc/{process.pid}")
            before, began = _cpu_s(proc), time.monotonic()
            while time.monotonic() - began < seconds:
                time.sleep(0.2)
            share = (_cpu_s(proc) - before) / seconds if seconds else 0.0
            rss_mb = int((proc / "statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
            handles = sum(1 for _ in (proc / "fd").iterdir())
        return rss_mb, len(list(station.folder.glob("days/**/*.parquet"))), share, handles


def _cpu_s(proc: Path) -> float:
    fields = (proc / "stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) * TICK_S


def an_evening_past() -> datetime:
    """Five hours after the noon that began the local solar day before the last whole one, whatever the hour is now."""
    today = day_starts(day_of(SystemClock().now(), LONGITUDE), LONGITUDE)
    return today - timedelta(days=2) + timedelta(hours=5)


def write_a_night(data: Path, dusk: datetime) -> None:
    """Seven hours of readings from `dusk` as the README's station takes them: 84 passes of 26 channels."""
    with Store(data, "Outpost", LONGITUDE) as store:
        passes = []
        first = store.next_pass_number()
        for number in range(first, first + 84):
            at = dusk + timedelta(minutes=5 * (number - first + 1))
            readings = [
                Reading(
                    at,
                    number,
                    Channel("40 m", 7_000_000 + 1000 * n, "noise", 2400),
                    ANTENNA_BYPASS,
                    -70.0,
                    None,
                )
                for n in range(26)
                for _ in range(4 * 8)
            ]
            passes.append((PassRecord(number, at, at, "done", "", 4), readings))
        store.write_passes(passes)
