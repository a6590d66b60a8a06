"""The spectrum of a visit as it is published."""

import numpy as np

from sweeper.daemon.live.messages import POINTS, OneSpectrum, seen
from sweeper.words import ANTENNA_BYPASS, Labelled, Spectrum


def labelled(mean: np.ndarray) -> Labelled:
    one = Spectrum(7e6, 31.25, mean.astype(np.float32), None, 5, 62.5)
    return Labelled(0.0, 0.5, ANTENNA_BYPASS, 7.1e6, one)


def test_of_neighbouring_bins_the_strongest_is_told_so_that_a_line_stays() -> None:
    mean = np.full(8192, 1e-7)
    mean[4100] = 1e-2
    told = seen(labelled(mean))
    assert isinstance(told, OneSpectrum)
    many = -(-8192 // POINTS)
    assert len(told.levels_db) == -(-8192 // many) <= POINTS
    assert told.step_hz == 31.25 * many
    assert told.levels_db.index(-20.0) == 4100 // many
    assert abs(told.start_hz + told.step_hz * (4100 // many) - (7e6 + 4100 * 31.25)) < told.step_hz
    assert set(told.levels_db) == {-70.0, -20.0}


def test_what_has_no_level_is_left_open_and_no_spectrum_is_none() -> None:
    told = seen(labelled(np.array([0.0, np.nan, np.inf, 1.0])))
    assert told is not None and told.levels_db == (None, None, None, 0.0)
    assert seen(None) is None
