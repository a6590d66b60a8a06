"""Which tests the README's command runs, and which the gate runs after it."""

import re

MARKERS = {
    "crash": "kills and power cuts by the dozen",
    "wires": "faults on real wires by the hundred, and other people's servers",
    "browser": "pages in Chromium",
    "system": "needs root: systemd, mounts, namespaces",
    "slow": "anything else that takes long: seasons, fleets, statistics by many draws",
    "quick": "in the README's command although its module is not",
    "clock": "reads the computer's clock or starts the program: repeated at other hours, dates and zones",
}
QUICK = "quick or not (crash or wires or browser or system or slow)"
"""What `pytest` alone runs. The rest is in `.ci/run`."""
LONGER = re.compile(r"^pytestmark = .*mark\.(crash|wires|browser|system|slow)", re.MULTILINE)


def all_longer(source: str) -> bool:
    """Whether the README's command runs no test of a module: its mark says so, and no test in it is marked `quick`."""
    return LONGER.search(source) is not None and "mark.quick" not in source


TOGETHER = (
    "tests/sweeper/analysis/band/",
    "tests/sweeper/analysis/verdict/test_table.py",
    "tests/sweeper/daemon/run/test_until_decided.py",
    "tests/sweeper/fleet/test_executors.py",
    "tests/sweeper/recordings/test_recordings.py",
    "tests/sweeper/report/",
    "tests/whole/test_ab_now.py",
    "tests/whole/test_any_hour.py",
    "tests/whole/test_attacks_commands.py",
    "tests/whole/test_browser.py",
    "tests/whole/test_demo.py",
    "tests/whole/test_demo_samples.py",
    "tests/whole/test_fleet.py",
    "tests/whole/test_main_job.py",
    "tests/whole/test_messages.py",
    "tests/whole/test_sound_of_a_station.py",
    "tests/whole/test_three_nights.py",
)
"""Modules and folders whose tests share something expensive: one process runs all of such a one."""
WAITING = (
    "tests/whole/test_attacks_hang.py",
    "tests/whole/test_attacks_samples.py",
    "tests/whole/test_attacks_sound.py",
    "tests/whole/test_attacks_transmit.py",
    "tests/whole/test_attacks_wire.py",
    "tests/whole/test_fault_matrix.py",
    "tests/whole/test_fault_matrix_samples.py",
    "tests/whole/test_faults_of_people.py",
    "tests/whole/test_faults_of_samples.py",
    "tests/whole/test_faults_of_whole_bands.py",
    "tests/whole/test_samples_over_tcp.py",
)
"""Modules of many longer tests that mostly wait for a wire: the gate runs many of them at a time."""
