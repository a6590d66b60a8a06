"""Was the gain constant? A signal that hardly fades shows it as little as it shows an AGC."""

import numpy as np
import pytest

from sweeper.ab.steadiness import gain_of

OWN = 0.05
"""What ln of a side's noise scatters by itself."""


def seen(seed: int, fades: float, slope: float, sides: int = 120) -> str:
    """Sides of a tuning: the signal outshines the noise tenfold and fades by `fades`; an AGC follows by `slope`."""
    rng = np.random.default_rng(seed)
    routes = np.arange(sides) % 2 == 1
    loud = np.log(11.0) + fades * rng.standard_normal(sides)
    gain = slope * (loud - np.log(11.0))
    noise = np.exp(gain + OWN * rng.standard_normal(sides))
    total = np.exp(gain + loud)
    return gain_of(noise, total, routes, OWN**2).state


@pytest.mark.parametrize("fades", [0.05, 0.1, 0.2, 0.5, 1.0])
def test_a_constant_gain_is_not_called_an_agc_however_little_the_signal_fades(fades: float) -> None:
    states = [seen(seed, fades, 0.0) for seed in range(40)]
    assert states.count("follows") <= 1


def test_an_agc_is_seen_where_the_signal_fades() -> None:
    assert all(seen(seed, 0.5, -1.0) == "follows" for seed in range(20))
    assert all(seen(seed, 0.2, -1.0) == "follows" for seed in range(20))


def test_a_constant_gain_is_shown_where_the_signal_fades() -> None:
    assert sum(seen(seed, 0.5, 0.0) == "constant" for seed in range(20)) >= 18
