"""A measuring thread that sticks where no deadline of ours reaches: the relays go to rest, and the process ends.

The daemon is a process of its own, as a person starts it, but for a library that never comes back.
"""

import contextlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.whole.unattended import SWEEPER, Unattended, ended, unattended, until

pytestmark = [pytest.mark.clock, pytest.mark.crash]

STUCK = """\
import sys, threading, time
from pathlib import Path
from drivers.receivers.hamlib import HamlibReceiver
from sweeper.daemon.service import daemon
from sweeper.cli.app import app

daemon.longest_visit_s = lambda station: {limit_s}  # a visit of 400 readings may take minutes
daemon.AT_LEAST_S = daemon.PATIENCE_S = daemon.LEAVE_S = 0.0
read = HamlibReceiver.read_power
moved = Path(sys.argv.pop(1))

def sticks(self):
    if not moved.exists():
        return read(self)
    {how}

HamlibReceiver.read_power = sticks
app()
"""
LETS_OTHERS_RUN = "threading.Event().wait()"
HOLDS_THE_INTERPRETER = "import ctypes; ctypes.PyDLL(None).sleep(3600)"


@contextlib.contextmanager
def started(station: Unattended, folder: Path, how: str) -> Iterator["subprocess.Popen[str]"]:
    """The daemon, ended at the end whatever came of it."""
    script = folder / "stuck.py"
    script.write_text(STUCK.format(limit_s=2.0, how=how), encoding="utf-8")
    order = [sys.executable, script, folder / "moved", "run", station.file, "--data", station.data]
    with subprocess.Popen(
        [*map(str, order)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            yield process
        finally:
            process.kill()


def test_relays_go_to_rest_by_a_fresh_process_and_the_end_is_no_success(tmp_path: Path) -> None:
    with unattended(tmp_path, readings=400) as station:
        before = (station.served.receiver.hz, station.served.receiver.mode)
        with started(station, tmp_path, LETS_OTHERS_RUN) as process:
            until(lambda: not station.resting(), "a relay away from rest")
            (tmp_path / "moved").touch()
            code, said = ended(process)
        assert code == 1, said  # which the service manager answers by starting it again
        assert "The measuring stuck; the relays rest at antenna-bypass." in said
        assert station.resting()
        assert (station.served.receiver.hz, station.served.receiver.mode) == before
        assert station.served.forbidden == ()
        assert [record.outcome for record in station.store().passes()][-1:] == ["failed"]


def test_where_not_even_the_watching_thread_gets_a_turn_the_process_ends(tmp_path: Path) -> None:
    with unattended(tmp_path, readings=400) as station:
        with started(station, tmp_path, HOLDS_THE_INTERPRETER) as process:
            until(lambda: not station.resting(), "a relay away from rest")
            (tmp_path / "moved").touch()
            code, said = ended(process)
        assert code == 1 and "Timeout" in said
        # and what the service manager calls then
        subprocess.run([SWEEPER, "rest", station.file, "--data", station.data], check=True, timeout=60)
        assert station.resting()
