"""Signals against the noise of the same instant, whatever the receiver's gain does meanwhile."""

import math

import numpy as np
import pytest

from drivers.contracts import Block
from sweeper.spectra.axis import axis_of
from sweeper.spectra.gain_out import gain_out
from sweeper.spectra.rows import CELL_HZ, learn, ratios
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, Labelled, SignalPath, Spectrum

RATE_HZ, TONE_HZ, DIAL_HZ = 12_000, 1000, 9_999_000
CARRIER = Channel("31 m", DIAL_HZ + TONE_HZ, "carrier", 2400)
AXIS = axis_of(RATE_HZ, real=True, centre_hz=DIAL_HZ, band_hz=(0.0, 5000.0))


def pieces(over_cell_db: float, seed: int, gain_db: float = 0.0, seconds: float = 1.0) -> list[Spectrum]:
    """White noise with a tone that stands so far over the noise of a cell; the gain rises by `gain_db` within it."""
    dice = np.random.default_rng(seed)
    count = round(seconds * RATE_HZ)
    density = 1e-8
    tone = math.sqrt(2.0 * density * CELL_HZ * 10 ** (over_cell_db / 10))
    at_s = np.arange(count) / RATE_HZ
    sound = math.sqrt(density * RATE_HZ / 2) * dice.normal(size=count)
    sound += tone * np.cos(2 * np.pi * TONE_HZ * at_s + seed)
    sound *= 10 ** (gain_db * at_s / seconds / 20)
    block = Block(sound.astype(np.float32), RATE_HZ, (0.0, seconds))
    found = list(gain_out(block, AXIS, (200.0, 3000.0)))
    assert [round(first_s, 3) for first_s, _, _ in found] == [0.0, 0.224, 0.448, 0.672]
    assert all(last_s - first_s <= 0.25 for first_s, last_s, _ in found)
    return [one for _, _, one in found]


def told_db(stays: list[tuple[SignalPath, list[Spectrum]]]) -> dict[SignalPath, float]:
    """S/N of the carrier in a cell by path, the noise under it taken out, mean of the stays."""
    sequence = [
        Labelled(2.0 * n + 0.2 * nth, 2.0 * n + 0.2 * nth + 0.2, path, DIAL_HZ, it)
        for n, (path, parts) in enumerate(stays)
        for nth, it in enumerate(parts)
    ]
    learned = learn(CARRIER, 1, sequence, 3000.0)
    found: dict[SignalPath, list[float]] = {}
    for one in sequence:
        (row,) = ratios(one, learned, CARRIER.hz)
        assert (row.channel.purpose, row.channel.hz, row.dbm) == ("ratio", CARRIER.hz, None)
        found.setdefault(row.path, []).append(10 ** (row.reading / 10) - 1.0)
    return {path: 10 * math.log10(float(np.mean(values))) for path, values in found.items()}


@pytest.mark.parametrize("gain_db", [0.0, 12.0, -12.0])
def test_a_ratio_is_the_same_at_any_gain_and_while_the_gain_runs(gain_db: float) -> None:
    paths = [ANTENNA_BYPASS, ANTENNA_STAGE] * 20
    stays = [
        (path, pieces(15.0 if path == ANTENNA_BYPASS else 18.0, nth, gain_db))
        for nth, path in enumerate(paths)
    ]
    told = told_db(stays)
    assert told[ANTENNA_BYPASS] == pytest.approx(15.0, abs=0.15)
    assert told[ANTENNA_STAGE] - told[ANTENNA_BYPASS] == pytest.approx(3.0, abs=0.15)


def test_no_level_is_left() -> None:
    for one in (*pieces(15.0, 1), *pieces(15.0, 1, 40.0)):
        assert np.median(one.mean[10:90]) == pytest.approx(1.0, rel=0.1)


def test_lines_that_nobody_named_give_no_ratio() -> None:
    sequence = [
        Labelled(2.0 * n, 2.0 * n + 1.0, path, DIAL_HZ, pieces(15.0, n)[0])
        for n, path in enumerate((ANTENNA_BYPASS, ANTENNA_STAGE))
    ]
    assert ratios(sequence[0], learn(CARRIER, 1, sequence, 3000.0), 0) == []


def test_where_one_spectrum_takes_longer_than_a_quarter_of_a_second_it_is_a_piece() -> None:
    """Bins of 3 Hz take a third of a second."""
    fine = axis_of(RATE_HZ, real=True, step_hz=3.0)
    sound = np.random.default_rng(1).normal(size=2 * RATE_HZ).astype(np.float32)
    found = list(gain_out(Block(sound, RATE_HZ, (0.0, 2.0)), fine, (200.0, 3000.0)))
    assert [one.segments for _, _, one in found] == [1] * len(found) and len(found) == 11


def test_silence_has_no_pieces() -> None:
    block = Block(np.zeros(RATE_HZ, np.float32), RATE_HZ, (0.0, 1.0))
    assert list(gain_out(block, AXIS, (200.0, 3000.0))) == []
