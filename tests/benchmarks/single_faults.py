"""Faults that one test each produces: which they are, and what came out. A part of `tests.benchmarks.reliability`."""

import subprocess
import sys
import tempfile
import xml.etree.ElementTree as xml
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Row:
    """One fault: how it was produced, how often, and what was lost by it (empty: nothing).

    `detail` stands below the table of all rows; `on` is the day of the run.
    """

    fault: str
    produced: str
    times: str
    lost: list[str] = field(default_factory=list)
    remark: str = ""
    detail: str = ""
    on: str = ""


@dataclass(frozen=True)
class Single:
    """A fault that a test produces: the part of the tests' names that picks it."""

    fault: str
    produced: str
    file: str
    picks: str = ""


ENDS = "tests/whole/test_daemon_ends.py"
SCHEDULED = "tests/whole/test_daemon_schedule.py"

SINGLES = (
    Single("SIGINT, SIGTERM, SIGHUP in the middle of a pass", "sent to the installed daemon", ENDS, "signal"),
    Single("Receiver gone when a killed run is started again", "its port closed", ENDS, "dead_receiver"),
    Single("Relay board gone when a killed run is started again", "its port closed", ENDS, "dead_board"),
    Single("Cable pulled and put back", "connections cut, port closed, opened again", ENDS, "pulled_cable"),
    Single("Second daemon on the station", "started beside the first", ENDS, "second_daemon"),
    Single("Transmitter keyed during a pass", "the receiver says so", ENDS, "keyed"),
    Single("Radio held by another program", "its port locked", SCHEDULED, "another_program"),
    Single(
        "Disk full under a running daemon",
        "a small file system filled and freed",
        "tests/whole/test_daemon_disk.py",
    ),
    Single(
        "Days with people, chores, clocks set, winter time",
        "the daemon on real wires under a clock that jumps",
        "tests/whole/test_daemon_jump.py",
    ),
    Single(
        "Somebody at the dial, mode changed",
        "the simulated dial turned",
        SCHEDULED,
        "somebody",
    ),
    Single(
        "Any fault at any call of receiver or board",
        "raised at each call in turn, and at random ones a thousand times",
        "tests/sweeper/engine/test_one_pass.py",
    ),
    Single(
        "Clock stepped by seconds to hours, both ways",
        "the clock that the daemon reads",
        "tests/sweeper/daemon/run/test_schedule_cursor.py",
    ),
    Single(
        "Starved of progress under systemd",
        "process stopped until the watchdog fires",
        "tests/whole/test_systemd.py",
        "starved",
    ),
    Single(
        "Dies again and again under systemd",
        "SIGKILL five times; the relays are sent to rest by a unit of their own",
        "tests/whole/test_systemd.py",
        "again_and_again",
    ),
    Single(
        "Malformed, oversized, hostile messages; keys missing or foreign",
        "sent to the live sockets",
        "tests/whole/test_daemon_live.py",
    ),
)

WIRES_AND_DISKS = (
    Single(
        "Disk full, read-only, slow, failing, of somebody else",
        "small file systems, failing system calls",
        "tests/sweeper/store/test_faults.py",
    ),
    Single(
        "Writer killed, disk failing in the middle of a write",
        "SIGKILL and injected errors at system calls",
        "tests/sweeper/store/test_interrupted.py",
    ),
)

OTHER_WIRES = (
    Single(
        "Server of samples silent, gone, at another rate, samples that stand still",
        "at the first, third and last tuning of a pass",
        "tests/whole/test_samples_over_tcp.py",
    ),
    Single(
        "Samples through SoapySDR that stop or make no sense",
        "a box of its own protocol, at four moments of a pass",
        "tests/whole/test_faults_of_samples.py",
    ),
    Single(
        "Server of a relay's serial port hangs, hangs up, is gone",
        "control lines across a network (RFC 2217), at four moments of a pass",
        "tests/whole/test_faults_of_lines.py",
    ),
    Single(
        "A person at the switch or at the dial walks away, stops, types anything",
        "at each question of a pass",
        "tests/whole/test_faults_of_people.py",
    ),
    Single(
        "Lines of a GPIO chip shorted, taken, gone",
        "no chip: libgpiod replaced by a module of ours",
        "tests/drivers/switches/test_gpio.py",
    ),
    Single(
        "A call of SoapySDR or libgpiod that never comes back",
        "no chip and no receiver: both replaced by modules of ours",
        "tests/drivers/test_foreign.py",
    ),
)
"""What has no replies that the fault matrix could bend."""


def singles(chosen: tuple[Single, ...]) -> list[Row]:
    """Run the tests of single faults; a row for each."""
    rows = []
    for single in chosen:
        if not (ROOT / single.file).exists():
            continue
        with tempfile.TemporaryDirectory() as folder:
            results = Path(folder) / "results.xml"
            command = [sys.executable, "-m", "pytest", "-q", f"--junitxml={results}", single.file]
            command += ["-k", single.picks] if single.picks else []
            subprocess.run(
                command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False
            )
            cases = list(xml.parse(results).getroot().iter("testcase"))
        bad = [case for case in cases if case.find("failure") is not None or case.find("error") is not None]
        skipped = [case for case in cases if case.find("skipped") is not None]
        rows.append(
            Row(
                single.fault,
                f"{single.produced} (`{single.file}`)",
                f"{len(cases) - len(skipped)} tests",
                [str(case.get("name")) for case in bad] + ([] if len(cases) > len(skipped) else ["not run"]),
            )
        )
    return rows
