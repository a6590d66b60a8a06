"""One channel of samples read as a meter would: what the converter's few bits add is not in the reading."""

import numpy as np
import pytest

from drivers.contracts import Block
from drivers.errors import BadReply
from drivers.receivers.sampled import reading_db

RATE_HZ, STEP = 250_000.0, 1.0 / 128.0
STEP_NOISE = 2.0 * STEP**2 / 12.0  # uniform within a step, in I and in Q (Widrow 1956)


def block(noise_steps: float, rounded: bool = True) -> Block:
    """Two seconds of white noise of so many steps rms in each part, taken in steps of eight bits or as it is."""
    dice = np.random.default_rng(3)
    parts = noise_steps * STEP * dice.standard_normal((round(2 * RATE_HZ), 2))
    taken = np.round(parts / STEP) * STEP if rounded else parts
    samples = taken.astype(np.float32).view(np.complex64)[:, 0]
    return Block(samples, RATE_HZ, (0.0, 2.0), step_noise=STEP_NOISE if rounded else 0.0)


def test_what_steps_add_to_quiet_noise_is_taken_off() -> None:
    """At 0.7 of a step they add 0.7 dB: 1/12 to 0.49."""
    read_db, true_db = (reading_db(block(0.7, rounded), "USB", 2400, 60_000) for rounded in (True, False))
    assert read_db == pytest.approx(true_db, abs=0.1)
    raw = block(0.7)
    plain_db = reading_db(Block(raw.samples, RATE_HZ, raw.captured), "USB", 2400, 60_000)
    assert plain_db > true_db + 0.5


def test_samples_that_move_by_less_than_half_a_step_tell_no_level() -> None:
    with pytest.raises(BadReply, match="less than half a step"):
        reading_db(block(0.35), "USB", 2400, 60_000)


def test_at_most_half_of_a_reading_is_taken_off() -> None:
    """A quiet pass band beside a strong signal, whose steps are not spread evenly."""
    raw = block(2.0)
    loud = Block(raw.samples, RATE_HZ, raw.captured, step_noise=raw.moving_power() / 4.5)
    plain_db = reading_db(Block(raw.samples, RATE_HZ, raw.captured), "USB", 2400, 60_000)
    assert plain_db - 3.02 < reading_db(loud, "USB", 2400, 60_000) < plain_db - 0.9
