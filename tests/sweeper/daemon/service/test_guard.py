"""The watch over the measuring thread: what it waits for, and that it says so nowhere else differently."""

import threading
from pathlib import Path

from sweeper.daemon.service.guard import AT_LEAST_S, HARDER, Guard
from sweeper.engine.settings import LEAVE_S, PATIENCE_S

FAR_S = 30.0
THREATS = Path(__file__).parents[4] / "docs" / "threats.md"


def test_a_thread_that_gives_no_sign_of_life_is_stuck_after_the_limit() -> None:
    rescued = threading.Event()
    guard = Guard(0.05, rescued.set)
    try:
        with guard.in_hand():
            assert rescued.wait(FAR_S)
    finally:
        guard.close()


def test_whoever_gives_signs_of_life_or_has_nothing_in_hand_is_left_alone() -> None:
    rescued = threading.Event()
    guard = Guard(5.0, rescued.set)
    try:
        with guard.in_hand():
            for _ in range(20):
                guard.alive()
        assert not rescued.wait(0.3)
    finally:
        guard.close()


def test_the_page_on_threats_tells_its_figures() -> None:
    told = THREATS.read_text(encoding="utf-8")
    assert f"after {AT_LEAST_S:.0f} s without a sign of life" in told
    assert f"{PATIENCE_S + LEAVE_S:.0f} s and two visits" in told
    assert f"{HARDER:g} times as long" in told
