"""Whether a look at the rig notices a meter that comes late, and only that."""

import math
from dataclasses import dataclass

import pytest

from sweeper.clock import JumpingClock
from sweeper.daemon.settle_check import late_s, unsettled
from sweeper.station import load
from sweeper.words import Channel
from tests.sweeper.engine.bench import EVENING, Board, Dial
from tests.sweeper.station.files import written

NOISE = (Channel("40 m", 7_038_500, "noise", 2400), Channel("40 m", 7_042_100, "noise", 2400))


@dataclass
class Slow(Dial):
    """Its meter shows the path that stood `lag_s` ago, or for `holds_s` what it showed last; both are in seconds."""

    clock: JumpingClock = None  # type: ignore[assignment]
    board: Board = None  # type: ignore[assignment]
    lag_s: float = 0.0
    holds_s: float = 0.0
    unit: float = 1.0

    def __post_init__(self) -> None:
        self.moved = [(-math.inf, "antenna-bypass")]
        self.held = (-math.inf, 0.0)

    def read_power(self) -> float:
        now_s = self.clock.monotonic()
        if self.board.standing != self.moved[-1][1]:
            self.moved.append((now_s, self.board.standing))
        path = next(path for at_s, path in reversed(self.moved) if now_s - at_s >= self.lag_s)
        if now_s - self.held[0] >= self.holds_s:
            self.level = -100.5 if int(now_s * 50) % 2 else -99.5
            self.held = (now_s, self.unit * (self.level + (15.0 if path.endswith("stage") else 0.0)))
        return self.held[1]


def looked(tmp_path, **how: float) -> str:
    station = load(written(tmp_path))
    clock = JumpingClock(EVENING)
    board = Board()
    receiver = Slow(clock=clock, board=board, **how)
    return unsettled(station, receiver, board, clock, NOISE)


@pytest.mark.parametrize("unit", [1.0, 40.0])
def test_a_meter_that_follows_at_once_is_let_be(tmp_path, unit: float) -> None:
    assert looked(tmp_path, unit=unit) == ""


@pytest.mark.parametrize(("how", "least_s"), [({"lag_s": 0.9}, 0.8), ({"holds_s": 1.0}, 0.3)])
def test_one_that_comes_late_or_repeats_itself_is_told_with_the_time_to_wait(
    tmp_path, how: dict[str, float], least_s: float
) -> None:
    told = looked(tmp_path, **how)
    assert "Raise receiver.settle_s from 0.15 to" in told
    assert least_s <= float(told.split("0.15 to ")[1].split()[0]) <= 1.4


def test_without_noise_channels_nothing_is_said(tmp_path) -> None:
    station = load(written(tmp_path))
    assert unsettled(station, Dial(), Board(), JumpingClock(EVENING), ()) == ""


def test_how_late_a_meter_is_by_hand() -> None:
    early, end = [(0.1 * n, -40.0) for n in range(5)], [(0.1 * n, -20.0) for n in range(5, 15)]
    assert late_s(early + end, 4) == pytest.approx(0.4)
    assert late_s(end, 4) == 0.0
    assert (
        late_s([(at, value / 12.0) for at, value in early + end], 4) == 0.0
    )  # 1.7 dB: a meter's step and noise
    loud = [(at, value + (4.0 if n % 2 else -4.0)) for n, (at, value) in enumerate(early + end)]
    assert late_s(loud, 4) == 0.0
    assert late_s([(0.1 * n, 0.3 * n) for n in range(15)], 4) == 0.0  # a level that drifts all the time
