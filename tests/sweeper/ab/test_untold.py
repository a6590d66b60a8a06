"""Why nothing is told of S/N: one sentence for each thing that can be wrong, each with what to do."""

from dataclasses import replace

import numpy as np
import pytest

from sweeper.ab import ABResult, CarrierChange, Interval, untold
from sweeper.ab.pooled import Both, clear_edges
from sweeper.ab.reason import reason_of

NOTHING = ABResult("now", None, 7e6, (300.0, 2700.0), 60.0, 20, 0.95, 1.0, (), None, None, None, None, (),
                   "undecided", (), "", clear=20)  # fmt: skip


def carriers(*kinds: str) -> tuple[CarrierChange, ...]:
    return tuple(CarrierChange(1000.0, -12.4, None, kind) for kind in kinds)


def test_what_is_told_is_not_missing_unless_the_stage_overloads() -> None:
    told = replace(NOTHING, snr_change_db=Interval(2.0, 1.0, 3.0))
    assert untold(told) is None
    for flag in ("overload", "in-step", "occupied"):
        missing = untold(replace(told, flags=(flag,)))
        assert missing is not None and not missing.by_time


@pytest.mark.parametrize(
    ("more", "why", "do", "by_time"),
    [
        ({}, "no carrier stands clear of the noise", "tune to where a carrier stands", False),
        ({"carriers": carriers("image")}, "no carrier stands clear of the noise", "tune to where", False),
        ({"carriers": carriers("weak")}, "the strongest carrier is too weak, −12 dB over the noise", "stronger", False),
        ({"carriers": carriers("weak", "left")}, "the carrier left midway", "choose one that stays", False),
        ({"carriers": carriers("birdie"), "flags": ("birdie",)}, "receiver's own or hum", "is unplugged", False),
        ({"carriers": carriers("steady"), "edges": 9, "clear": 9}, "9 switchings with clean sound", "go on", True),
        ({"carriers": carriers("steady"), "edges": 1, "clear": 1}, "1 switching with clean sound", "go on", True),
        ({"carriers": carriers("unsteady"), "clear": 9}, "fades too much: it stood clear of the noise at 9 of 20",
         "go on for longer", True),
        ({"carriers": carriers("left", "steady"), "clear": 9}, "fades too much", "go on for longer", True),
        ({"carriers": carriers("steady")}, "on one side of the switch only", "cuts the antenna off", False),
        ({"flags": ("overload",)}, "it overloads", "attenuator", False),
        ({"flags": ("in-step",)}, "in step with the switch", "a carrier that stays on", False),
        ({"flags": ("occupied",)}, "cannot be told apart", "beside quiet places", False),
    ],
)  # fmt: skip
def test_each_reason_comes_with_what_to_do(more: dict[str, object], why: str, do: str, by_time: bool) -> None:
    result = replace(NOTHING, **more)  # type: ignore[arg-type]
    missing = untold(result)
    assert missing is not None
    assert why in missing.why and do in missing.do and missing.by_time == by_time
    reason = reason_of(result)
    assert reason == f"On 7000 kHz, over 60 seconds, {missing.why}; {missing.do}."


def test_a_recording_is_told_why_and_not_what_to_do_at_the_switch() -> None:
    """Four switchings are enough where an interval is read once."""
    recorded = replace(NOTHING, source="file", carriers=carriers("steady"), edges=4, clear=3)
    missing = untold(recorded)
    assert missing is not None and "at 3 of 4 switchings, and 4 are needed" in missing.why
    assert reason_of(recorded).endswith(f"{missing.why}.")


def test_an_edge_is_clear_where_either_signal_stands_out_on_its_two_sides() -> None:
    """Five times the deviation of the sum of both sides, √2 of one side's: 7.07."""
    stage = np.array([[[7.0, 0.0]], [[7.1, 0.0]], [[0.0, 7.0]], [[0.0, 3.0]]])
    bypass = np.array([[[0.0, 0.0]], [[0.0, 0.0]], [[0.0, 7.0]], [[4.0, 4.0]]])
    spread, way = np.ones((1, 2)), np.zeros(2, np.int64)
    assert clear_edges(Both(stage, bypass, spread, way)) == 2
    assert clear_edges(Both(stage, bypass, spread, way).of([0])) == 1
    assert clear_edges(Both(stage, bypass, spread, way).of([])) == 0
