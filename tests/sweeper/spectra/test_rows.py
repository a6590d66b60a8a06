"""Rows from spectra: the planted level of noise and carriers, whatever else stands in the pass band."""

import math

import numpy as np
import pytest

from drivers.contracts import Block
from sweeper.spectra.axis import axis_of
from sweeper.spectra.rows import CELL_HZ, NothingHeard, learn, rows
from sweeper.spectra.welch import spectrum
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, Channel, Labelled, SignalPath

RATE_HZ = 48_000
FILTER_HZ = 3000.0
NOISE = Channel("40 m", 7_038_500, "noise", 2400)
CARRIER = Channel("40 m", 7_205_000, "carrier", 2400)
ZERO_HZ = {channel: channel.hz - 1000 for channel in (NOISE, CARRIER)}


def sound(density: float, lines: dict[float, float], seed: int, seconds: float = 1.0) -> np.ndarray:
    """Noise of `density` (one-sided, per hertz) from 300 to 2700 Hz, lines of (hertz: power), and a card's own."""
    dice = np.random.default_rng(seed)
    count = round(seconds * RATE_HZ)
    bins = np.fft.rfft(dice.standard_normal(count) * math.sqrt(density * RATE_HZ / 2))
    hz = np.fft.rfftfreq(count, 1 / RATE_HZ)
    bins[(hz < 300) | (hz > 2700)] = 0.0
    heard = np.fft.irfft(bins, count) + 1e-7 * dice.standard_normal(count)
    for at_hz, power in lines.items():
        heard += math.sqrt(2 * power) * np.sin(2 * np.pi * at_hz * np.arange(count) / RATE_HZ + seed)
    return heard.astype(np.float32)


def labelled(channel: Channel, path: SignalPath, samples: np.ndarray, at: float, side: int = 1) -> Labelled:
    axis = axis_of(
        RATE_HZ,
        real=True,
        centre_hz=channel.hz - side * 1000,
        inverted=side < 0,
        band_hz=(0.0, 6000.0),
    )
    one = spectrum([Block(samples, RATE_HZ, (0.0, 1.0))], axis)
    return Labelled(at, at + 1.0, path, channel.hz - side * 1000, one)


def a_pass(channel: Channel, density: float, lines: dict[float, float], gain: float = 30.0, side: int = 1):
    """Bypass, stage, stage, bypass, and the load: S/N unchanged by the stage."""
    order = (ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS, LOAD_BYPASS)
    for nth, path in enumerate(order):
        by = gain if path == ANTENNA_STAGE else 1.0
        heard = {at: power * by for at, power in lines.items()} if path != LOAD_BYPASS else {}
        level = density * by if path != LOAD_BYPASS else density / 5
        yield labelled(channel, path, sound(level, heard, nth), 1e9 + 10.0 * nth, side)


def db(power: float) -> float:
    return 10 * math.log10(power)


@pytest.mark.parametrize(
    "lines", [{}, {700.0: 1e-5}, {650.0: 1e-4, 1440.0: 3e-6, 2100.0: 1e-6, 2333.0: 1e-6}]
)
def test_a_noise_channel_reads_its_noise_whatever_stands_beside_it(lines: dict[float, float]) -> None:
    """Mean over the pass within 0.1 dB of what was planted; a visit of a second within its scatter."""
    density = 1e-10
    sequence = list(a_pass(NOISE, density, lines))
    learned = learn(NOISE, 7, sequence, FILTER_HZ)
    found = [row for one in sequence for row in rows(one, learned)]
    assert {row.channel.purpose for row in found if row.path == LOAD_BYPASS} <= {"noise", "carrier"}
    found = [row for row in found if row.channel.purpose == "noise"]
    by = {ANTENNA_BYPASS: 1, ANTENNA_STAGE: 30, LOAD_BYPASS: 0.2}
    off = np.array([row.reading - db(density * by[row.path] * CELL_HZ) for row in found])
    assert np.abs(off).max() < 1.5  # cells of a second scatter by 0.3 dB, thinned ones by more
    assert abs(off.mean()) < 0.1
    assert {row.pass_number for row in found} == {7}
    assert {row.flags for row in found} == {""}


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("off_hz", [0.0, 13.0, -120.0])
def test_a_carrier_reads_itself_and_the_noise_around_it(side: int, off_hz: float) -> None:
    """Also where receiver or sender are off by a hundred hertz, in either side band."""
    density, power = 1e-10, 1e-6
    sequence = list(a_pass(CARRIER, density, {1000.0 + off_hz: power}, side=side))
    learned = learn(CARRIER, 1, sequence, FILTER_HZ)
    found = {one.path: rows(one, learned)[0].reading for one in sequence}
    wanted = power + density * CELL_HZ
    assert found[ANTENNA_BYPASS] == pytest.approx(db(wanted), abs=0.1)
    assert found[ANTENNA_STAGE] == pytest.approx(db(30 * wanted), abs=0.1)
    assert found[LOAD_BYPASS] == pytest.approx(db(density / 5 * CELL_HZ), abs=1.2)


def test_a_carrier_that_is_not_there_reads_the_noise() -> None:
    density = 1e-10
    sequence = list(a_pass(CARRIER, density, {}))
    learned = learn(CARRIER, 1, sequence, FILTER_HZ)
    (row,) = rows(sequence[0], learned)
    assert row.channel == Channel("40 m", 7_205_000, "carrier", CELL_HZ)
    assert row.reading == pytest.approx(db(density * CELL_HZ), abs=1.2)


def test_noise_that_is_the_cards_own_is_a_bound() -> None:
    sequence = []
    for nth, path in enumerate((ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS)):
        card = 1e-4 * np.random.default_rng(90 + nth).standard_normal(RATE_HZ).astype(np.float32)
        level = {"antenna-bypass": 1e-11, "antenna-stage": 3e-10}.get(str(path), 1e-13)
        sequence.append(labelled(NOISE, path, sound(level, {}, nth) + card, 10.0 * nth))
    learned = learn(NOISE, 1, sequence, FILTER_HZ)
    assert [rows(one, learned)[0].flags for one in sequence] == ["", "", "floor"]


def test_what_cannot_be_told_gives_no_rows() -> None:
    one_route = [one for one in a_pass(NOISE, 1e-10, {}) if one.path == ANTENNA_BYPASS]
    with pytest.raises(NothingHeard, match="one route"):
        learn(NOISE, 1, one_route, FILTER_HZ)
    sequence = list(a_pass(NOISE, 1e-10, {}))
    learned = learn(NOISE, 1, sequence, FILTER_HZ)
    silent = labelled(NOISE, ANTENNA_BYPASS, np.zeros(RATE_HZ, np.float32), 0.0)
    assert rows(silent, learned) == []


def test_a_clipped_visit_says_so() -> None:
    sequence = list(a_pass(NOISE, 1e-10, {}))
    learned = learn(NOISE, 1, sequence, FILTER_HZ)
    axis = axis_of(RATE_HZ, real=True, centre_hz=ZERO_HZ[NOISE], band_hz=(0.0, 6000.0))
    clipped = spectrum([Block(sound(1e-10, {}, 4), RATE_HZ, (0.0, 1.0), clipped=0.01)], axis)
    found = rows(Labelled(0.0, 1.0, ANTENNA_STAGE, ZERO_HZ[NOISE], clipped), learned)
    assert {row.flags for row in found} == {"clipped"}


def test_the_cells_of_a_tuning_are_the_same_every_night() -> None:
    """Whatever stands in the pass band: a cell that a signal fills is missing, the others keep their places."""
    quiet = learn(NOISE, 1, list(a_pass(NOISE, 1e-10, {})), FILTER_HZ)
    busy = learn(NOISE, 2, list(a_pass(NOISE, 1e-10, {1030.0: 1e-3, 1100.0: 1e-3})), FILTER_HZ)
    everywhere = [7_037_950 + 300 * nth for nth in range(8)]
    assert [cell.channel.hz for cell in quiet.cells] == everywhere
    assert [cell.channel.hz for cell in busy.cells] == [hz for hz in everywhere if hz != 7_038_550]
    assert {cell.channel.bandwidth_hz for cell in quiet.cells} == {CELL_HZ}


def test_lines_that_stand_all_the_time_are_read_later_and_others_are_not() -> None:
    """Of four lines one is keyed off in a visit, one stands on the load, too, and one is too weak."""
    lines = {700.0: 1e-5, 1200.0: 1e-5, 1700.0: 1e-5, 2300.0: 2e-8}
    sequence = []
    for nth, path in enumerate((ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS, LOAD_BYPASS)):
        by = 30.0 if path == ANTENNA_STAGE else 1.0
        heard = {hz: power * by for hz, power in lines.items()}
        if nth == 3:
            del heard[1200.0]
        if path == LOAD_BYPASS:
            heard = {1700.0: 0.5e-5}
        sequence.append(labelled(NOISE, path, sound(1e-10 * by, heard, nth), 10.0 * nth))
    learned = learn(NOISE, 1, sequence, FILTER_HZ)
    assert [line.channel for line in learned.stood] == [Channel("40 m", 7_038_200, "carrier", CELL_HZ)]
    assert {row.channel.purpose for one in sequence for row in rows(one, learned)} == {"noise"}
    later = learn(NOISE, 2, sequence, FILTER_HZ, lines_hz=[line.channel.hz for line in learned.stood])
    first, second = (rows(one, later)[-1] for one in sequence[:2])
    assert first.channel == learned.stood[0].channel
    assert first.reading == pytest.approx(db(1e-5 + 1e-10 * CELL_HZ), abs=0.1)
    assert second.reading == pytest.approx(db(30 * (1e-5 + 1e-10 * CELL_HZ)), abs=0.1)
    no_load = learn(NOISE, 1, sequence[:4], FILTER_HZ)
    assert no_load.stood == ()  # without the load nobody can tell a line of the receiver's own


@pytest.mark.parametrize("route", [ANTENNA_BYPASS, ANTENNA_STAGE])
def test_a_line_that_stands_on_one_route_alone_is_no_carrier(route: SignalPath) -> None:
    """With the stage in only it is made there; whatever noise does on the other route."""
    both = {700.0: 1e-5}
    for seed in range(0, 60, 6):
        sequence = []
        for nth, path in enumerate(
            (ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS, LOAD_BYPASS)
        ):
            by = 30.0 if path == ANTENNA_STAGE else 1.0
            heard = {**both, 1700.0: 1e-5} if path == route else both
            powers = {hz: power * by for hz, power in heard.items()} if path != LOAD_BYPASS else {}
            samples = sound(1e-10 * by, powers, seed + nth, 0.2)
            sequence.append(labelled(NOISE, path, samples, 10.0 * nth))
        assert [line.channel.hz for line in learn(NOISE, 1, sequence, FILTER_HZ).stood] == [7_038_200]
