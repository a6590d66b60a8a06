"""What lies in a data folder after passes, finished days and an analysis is on the list in docs/data.md."""

import re
import subprocess
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from sweeper.store import Store
from tests.whole.unattended import BY_SAMPLES, SWEEPER, ended, unattended

pytestmark = [pytest.mark.slow, pytest.mark.clock]
DATA = Path(__file__).parents[2] / "docs" / "data.md"


def documented() -> list[re.Pattern[str]]:
    """Names in the first column of the first table; a date or a number there stands for any."""
    table = DATA.read_text(encoding="utf-8").split("\n\n")[2]
    found = []
    for row in table.splitlines()[2:]:
        first, *others = re.findall(r"`([^`]+)`", row.split(" | ")[0])
        for name in (first, *(first + other if other.startswith("-") else other for other in others)):
            any_number = re.sub(r"\d+", lambda _: r"\d+", re.escape(name))
            found.append(re.compile(any_number + (".*" if name.endswith("/") else "")))
    return found


def files_in(folder: Path) -> Iterator[str]:
    for file in sorted(folder.rglob("*")):
        if not file.is_dir():
            yield file.relative_to(folder).as_posix()


def test_every_file_of_a_station_is_on_the_list(tmp_path: Path) -> None:
    with unattended(tmp_path, text=BY_SAMPLES, receiver="iq-tcp") as station:
        with station.running("--passes", 2) as process:
            _, said = ended(process)
            assert "done (" in said, said
        with Store(station.data, "Outpost", 8.1) as store:
            last = store.passes()[-1].ended
            store.finish_days(last + timedelta(days=2))
        command = [SWEEPER, "analyse", str(station.file), "--data", str(station.data)]
        subprocess.run(command, check=True, capture_output=True)
        left = list(files_in(station.folder))
    assert {"today.sqlite", "manifest.json", "lock"} <= set(left)
    names = documented()
    assert [file for file in left if not any(name.fullmatch(file) for name in names)] == []
