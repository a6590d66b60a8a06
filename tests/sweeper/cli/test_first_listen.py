"""Listening for empty frequencies touches nothing while somebody transmits."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from drivers.errors import Transmitting
from sweeper.cli.first_listen import ON_THE_AIR_S, listen
from sweeper.clock import JumpingClock
from tests.sweeper.engine.bench import FOUND, Dial

START = datetime(2026, 11, 1, 18, 0, tzinfo=UTC)


def test_a_receiver_on_the_air_is_not_touched() -> None:
    dial = Dial(transmitting=True)
    with pytest.raises(Transmitting):
        listen(dial, (), "USB", 2400, 0.0, JumpingClock(START))
    assert set(dial.calls) == {"is_transmitting"}


@pytest.mark.parametrize("long", [False, True])
def test_the_end_of_a_transmission_is_waited_for_before_the_receiver_is_restored(long: bool) -> None:
    clock = JumpingClock(START)
    dial = Dial()
    began: list[float] = []

    def key(call: str) -> None:
        if call == "set_mode":
            dial.transmitting = True
            began.append(clock.monotonic())
        if began and not long and clock.monotonic() - began[0] > 20.0:
            dial.transmitting = False
        assert call != "restore" or not dial.transmitting

    dial.before = key
    ending: Callable[[], object] = lambda: listen(dial, (), "USB", 2400, 0.0, clock)  # noqa: E731
    if long:
        with pytest.raises(Transmitting, match="left as it stands"):
            ending()
        assert clock.monotonic() - began[0] >= ON_THE_AIR_S
    else:
        ending()
        assert dial.tuning_now == FOUND
