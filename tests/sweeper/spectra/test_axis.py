"""Where the bins of a spectrum stand, and how long its segments are, by hand."""

import pytest

from sweeper.spectra.axis import Axis, axis_of, quick_length


@pytest.mark.timeout(20)  # numbers are tried until one is quick: a wrong step would never end
@pytest.mark.parametrize(
    ("least", "found"), [(1, 1), (6, 6), (7, 8), (11, 12), (13, 15), (31, 32), (49, 50), (77, 80), (121, 125)]
)
def test_a_quick_length_has_no_prime_factor_over_five(least: int, found: int) -> None:
    assert quick_length(least) == found


@pytest.mark.timeout(20)
@pytest.mark.parametrize(
    ("rate_hz", "step_hz", "length"),
    [
        (8000.0, 31.25, 256),
        (48_000.0, 31.25, 1536),
        (11_025.0, 31.25, 360),
        (8000.0, 1000.0, 16),
        (8000.0, 62.5, 128),
    ],
)
def test_segments_are_even_and_their_step_no_coarser_than_asked(
    rate_hz: float, step_hz: float, length: int
) -> None:
    """11,025 Hz in steps of 31.25 Hz are 352.8 samples: 177 pairs, and 180 is the next without a factor over five."""
    axis = axis_of(rate_hz, real=True, step_hz=step_hz)
    assert (axis.length, axis.step_hz) == (length, rate_hz / length)


@pytest.mark.parametrize(
    ("real", "band_hz", "bins", "start_hz"),
    [
        (True, None, (0, 9), 0.0), (False, None, (-8, 8), -4000.0), (True, (400.0, 2600.0), (1, 6), 500.0),
        (True, (500.0, 2500.0), (1, 6), 500.0), (False, (-1100.0, 900.0), (-2, 2), -1000.0),
        (True, (-900.0, 9000.0), (0, 9), 0.0), (False, (-9000.0, 9000.0), (-8, 8), -4000.0),
    ],
)  # fmt: skip
def test_bins_are_those_whole_within_the_band(
    real: bool, band_hz: tuple[float, float] | None, bins: tuple[int, int], start_hz: float
) -> None:
    """Sixteen samples of 8 kHz: bins of 500 Hz."""
    axis = Axis(8000.0, 16, real, 0.0, False, band_hz)
    assert (axis.bins, axis.start_hz) == (bins, start_hz)
    assert Axis(8000.0, 16, real, 7e6, False, band_hz).start_hz == 7e6 + start_hz
    assert Axis(8000.0, 16, real, 7e6, True, band_hz).start_hz == 7e6 - (bins[1] - 1) * 500.0
