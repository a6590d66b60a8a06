"""A disk that is full keeps passes waiting in memory; they are stored when there is room, in order and whole."""

import os
import signal
from collections import Counter
from pathlib import Path

import pytest

from tests.whole.season import small_disk
from tests.whole.unattended import Unattended, ended, unattended, until

pytestmark = [pytest.mark.system, pytest.mark.clock]


@pytest.mark.skipif(os.geteuid() != 0, reason="mounting a small disk needs root")
def test_a_full_disk_stops_the_measuring_after_a_pass_and_loses_none(tmp_path: Path) -> None:
    with (
        small_disk(tmp_path) as (data, fill, free),
        unattended(tmp_path, schedule="[{every: 1 s}]") as served,
    ):
        station = Unattended(served.served, served.file, data)
        station.served.receiver.turn_dial(6_155_000, "AM")
        with station.running() as process:
            until(lambda: len(station.store().passes()) >= 2, "two passes")
            fill()
            until(lambda: "full" in station.ask("status").state.trouble, "the trouble to be told")
            before = len(station.store().passes())
            asked = station.served.receiver_log.count
            until(lambda: "cannot be stored" in station.ask("status").sentence, "the waiting pass")
            assert station.resting() and station.served.receiver.hz == 6_155_000
            free()
            until(lambda: len(station.store().passes()) > before + 2, "the passes to be stored", 60)
            assert station.served.receiver_log.count >= asked
            code, said = ended(process, signal.SIGTERM)
        assert code == 0, said
        with station.store() as store:
            records = store.passes()
            rows = Counter(store.readings().collect()["pass"].to_list())
        assert [record.number for record in records] == list(range(1, len(records) + 1))
        assert set(rows) == {record.number for record in records if record.outcome == "done"}
        assert rows == {number: station.readings_of(number) for number in rows}
        assert "cannot be stored yet" in said and "full" in said
