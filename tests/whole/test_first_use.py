"""From nothing to readings, as a newcomer goes: ten questions, a check, one pass, a summary for mail."""

import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.world.world import World
from sweeper.station import load
from tests.clocks import evening
from tests.whole.browser import SWEEPER

pytestmark = [pytest.mark.slow, pytest.mark.clock]


def sweeper(*arguments: object, answers: str = "") -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [SWEEPER, *map(str, arguments)], input=answers, capture_output=True, text=True, timeout=240
    )


def test_a_newcomer_measures_after_ten_questions(tmp_path: Path) -> None:
    with serve(saltmarsh(seed=1), evening(), receiver="rigctl-net", switch="modbus-tcp") as served:
        file = tmp_path / "first.yaml"
        answers = ["First", "56.2, 8.1", "rural", "hamlib", served.receiver_link, "modbus", served.switch_link,
                   "yes", "15", "40 m"]  # fmt: skip
        asked = sweeper("new", file, "--listen", answers="\n".join(answers) + "\n")
        assert asked.returncode == 0, asked.stdout + asked.stderr
        assert "FAIL" not in asked.stdout
        assert "lightning" in asked.stdout, "cautions are shown before anything is wired"
        assert "found empty by listening" in file.read_text(encoding="utf-8")
        assert not any(served.board.coils), "the relays are at rest after the check"
        ran = sweeper("run", file, "--passes", "2")
        assert ran.returncode == 0, ran.stderr
        told = sweeper("report", file, "--text")
        assert told.returncode == 0, told.stderr
        assert told.stdout.startswith("First\n")
        assert "40 m" in told.stdout
        assert len(load(file).channels()) == 3
        assert not served.forbidden


def test_a_floor_that_the_check_finds_is_written_down(tmp_path: Path) -> None:
    """An S-meter that rests on its pin where noise is weak: what it shows there is a bound."""
    scenario = saltmarsh(seed=1).scenario
    quiet = replace(scenario.receiver, floor_db=-54.0, noise_over_290=((150e3, 4.0), (30e6, 4.0)))
    with serve(
        World(replace(scenario, receiver=quiet)), evening(), receiver="rigctl-net", switch="modbus-tcp"
    ) as served:
        file = tmp_path / "first.yaml"
        answers = ["First", "JO46BE", "rural", "hamlib", served.receiver_link, "modbus", served.switch_link,
                   "yes", "15 dB", "10 m, 12 m, 21.2M"]  # fmt: skip
        asked = sweeper("new", file, answers="\n".join(answers) + "\n")
        floor = load(file).receiver.meter.floor
        assert floor == -54.0, asked.stdout
        assert "The meter rests on -54 where noise is weak; that is its floor" in asked.stdout
