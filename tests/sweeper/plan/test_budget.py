"""What a night costs, checked against the arithmetic of a small station done by hand."""

from pathlib import Path

import pytest

from sweeper.plan import budget
from sweeper.station import load
from tests.sweeper.station.files import written


def test_visits_and_seconds_a_pass(tmp_path: Path) -> None:
    costs = budget(load(written(tmp_path)), passes_a_day=96)
    # Two channels; four stays without load, six with, in one pass of four: 4.5 stays of 2 visits.
    assert costs.visits_a_pass == pytest.approx(9.0)
    # A visit: 0.15 s to settle and 8 readings 0.05 s apart; a change of path, 2 or 4 a pass: 0.03 s.
    assert costs.seconds_a_pass == pytest.approx(9 * (0.15 + 8 * 0.05) + 2.5 * 0.03)
    assert costs.readings_a_night == pytest.approx(96 * 9 * 8)


def test_relay_operations_and_years(tmp_path: Path) -> None:
    costs = budget(load(written(tmp_path)), passes_a_day=96)
    # Relay 0 moves twice a pass, relay 1 twice in one pass of four.
    assert costs.relay_operations_a_day == pytest.approx(96 * 2.5)
    assert costs.busiest_relay == "0"
    assert costs.relay_years == pytest.approx(100_000 / (96 * 2) / 365.25)


def test_more_passes_than_fit_into_a_day_are_not_promised(tmp_path: Path) -> None:
    station = load(written(tmp_path))
    back_to_back = budget(station)
    assert back_to_back.passes_a_day == pytest.approx(86_400 / back_to_back.seconds_a_pass)
    assert budget(station, passes_a_day=1e9) == back_to_back


def test_a_switch_turned_by_a_person_counts_changes(tmp_path: Path) -> None:
    file = written(
        tmp_path,
        ("driver: modbus", "driver: person"),
        ("  link: tcp://127.0.0.1:5020\n  unit: 1\n", ""),
        ("settle_s: 0.03", "settle_s: 0"),
        ("antenna-bypass: {0: off, 1: off}", "antenna-bypass: A"),
        ("antenna-stage: {0: on, 1: off}", "antenna-stage: B"),
        ("    load-bypass: {0: off, 1: on}\n    load-stage: {0: on, 1: on}\n", ""),
    )
    costs = budget(load(file), passes_a_day=10)
    assert costs.relay_operations_a_day == pytest.approx(20)  # stage and back, once a pass
    assert costs.changes_a_pass == 2
