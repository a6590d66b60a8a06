"""Listening for empty frequencies touches nothing while somebody transmits."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from drivers.errors import Transmitting
from sweeper.cli.first_bands import chosen, first_bands
from sweeper.cli.first_listen import ON_THE_AIR_S, carriers_to_try, listen, on_the_air
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


def test_carriers_are_those_that_stand_above_the_empty_frequencies_in_every_round() -> None:
    heard = {
        9_579_000: [-20.0, -24.0],
        9_599_000: [-30.0, -52.0],
        9_624_000: [-41.0, -40.0],
        9_664_000: [-55.0, -54.0],
    }
    assert on_the_air(heard, noise=-54.0) == (9_579_000, 9_624_000)
    assert on_the_air(heard, noise=-54.0, wanted=1) == (9_579_000,)


def test_several_carriers_are_tried_for_each_band() -> None:
    """Not the one of the list alone: an amateur band borrows from its neighbours, a broadcasting band has channels."""
    every = first_bands()
    for name in ("40 m", "31 m", "20 m", "49 m"):
        (band,) = chosen(name, every)
        asked = carriers_to_try(band, every)
        assert set(band.carrier_hz) <= set(asked)
        assert len(asked) >= 3, name
    (band,) = chosen("31 m", every)
    assert (
        sum((hz + 1000) % 5000 == 0 and 9_400_000 < hz < 9_900_000 for hz in carriers_to_try(band, every))
        >= 20
    )
