"""Humps by blocks written down: where one begins and ends, how wide, level and high it has to be, and what is none."""

import numpy as np
import pytest
from scipy.stats import gamma

from sweeper.noise.humps import Hump, humps

pytestmark = pytest.mark.timeout(
    30
)  # edges are looked for until there is none: a wrong bound would never end
SHAPE, BLOCK, STEP_HZ = 20.0, 64, 31.25
BINS = gamma.ppf((np.arange(BLOCK) + 0.5) / BLOCK, SHAPE, scale=1 / SHAPE)
"""What the bins of a block show of noise, without chance."""


def levels(*stretches: tuple[int, float]) -> list[float]:
    """A level in dB for each block: so many blocks, so high."""
    return [db for count, db in stretches for _ in range(count)]


def found(levels_db: list[float], step_hz: float = STEP_HZ, bins: np.ndarray = BINS) -> list[Hump]:
    return humps(np.concatenate([10 ** (db / 10) * bins for db in levels_db]), SHAPE, step_hz)


def over_db(hump: Hump) -> float:
    return float(10 * np.log10(hump.over))


def test_a_hump_reaches_from_step_to_step_and_stands_over_what_lies_beside_it() -> None:
    (hump,) = found(levels((30, -40.0), (20, -37.0), (30, -40.0)))
    assert (hump.first, hump.last) == (30 * 64, 50 * 64 - 1)
    assert over_db(hump) == pytest.approx(3.0)
    two = found(levels((20, 0.0), (15, 2.0), (15, 0.0), (20, 5.0), (20, 0.0)))
    assert [(each.first // 64, (each.last + 1) // 64) for each in two] == [(20, 35), (50, 70)]
    assert [over_db(each) for each in two] == pytest.approx([2.0, 5.0])


@pytest.mark.parametrize(
    ("blocks", "step_hz", "told"),
    [(13, 31.25, True), (12, 31.25, False), (12, 33.0, True), (14, 27.0, False)],
)
def test_one_is_wider_than_25_kilohertz(blocks: int, step_hz: float, told: bool) -> None:
    """13 blocks of 64 bins of 31.25 Hz are 26 kHz, 12 are 24; 12 of 33 Hz are 25.3, 14 of 27 Hz are 24.2."""
    assert bool(found(levels((20, 0.0), (blocks, 3.0), (20, 0.0)), step_hz)) == told


@pytest.mark.parametrize(("high_db", "told"), [(1.05, True), (0.95, False), (-3.0, False)])
def test_it_stands_a_decibel_over_both_sides_and_a_gap_between_two_is_none(
    high_db: float, told: bool
) -> None:
    assert bool(found(levels((20, 0.0), (20, high_db), (20, 0.0)))) == told


@pytest.mark.parametrize(
    ("places", "off_db", "told"),
    [((3, 10, 16), 1.4, True), ((3, 10, 16), 1.6, False), ((3, 10, 16), -1.6, False), ((3, 16), 1.6, True)],
)
def test_nine_tenths_of_its_floor_stay_within_one_and_a_half_decibels(
    places: tuple[int, ...], off_db: float, told: bool
) -> None:
    """Of twenty blocks two may lie elsewhere, three may not."""
    within = levels((20, 4.0))
    for place in places:
        within[place] += off_db
    assert bool(found([*levels((20, 0.0)), *within, *levels((20, 0.0))])) == told


def test_six_blocks_to_each_side_are_what_lies_beside_it() -> None:
    (hump,) = found(levels((24, 0.8), (6, 0.0), (20, 3.0), (6, 0.0), (24, 0.8)))
    assert over_db(hump) == pytest.approx(3.0)
    (hump,) = found(levels((24, 0.8), (5, 0.0), (20, 3.0), (5, 0.0), (24, 0.8)))
    assert over_db(hump) == pytest.approx(3.0)  # the middle of ten at nought and two at 0.8
    (hump,) = found(levels((30, 0.0), (20, 3.0), (30, 0.8)))
    assert over_db(hump) == pytest.approx(2.6)


def test_of_two_steps_up_the_second_begins_it() -> None:
    """It stands 6.5 dB high, with 5 dB before it and nothing after: 4 dB over the middle of both."""
    (hump,) = found(levels((30, 0.0), (20, 5.0), (20, 6.5), (30, 0.0)))
    assert (hump.first, hump.last, over_db(hump)) == (50 * 64, 70 * 64 - 1, pytest.approx(4.0))
    (hump,) = found(levels((30, 0.0), (20, 6.5), (20, 5.0), (30, 0.0)))
    assert (hump.first, hump.last, over_db(hump)) == (30 * 64, 50 * 64 - 1, pytest.approx(4.0))


@pytest.mark.parametrize(("power", "told"), [(1.1, True), (1.2, False), (0.5, True)])
def test_bins_that_scatter_more_than_noise_are_stations_side_by_side(power: float, told: bool) -> None:
    """Quartiles apart 1.1 or 1.2 times as far as of noise, in logarithms, the lower one where it was."""
    quarter = gamma.ppf(0.25, SHAPE, scale=1 / SHAPE)
    bins = quarter * (BINS / quarter) ** power
    assert bool(found(levels((20, 0.0), (20, 3.0), (20, 0.0)), bins=bins)) == told


def test_steps_seven_blocks_apart_are_two_and_of_nearer_ones_the_steepest_counts() -> None:
    """Seven blocks of 62.5 Hz are 28 kHz. A level that rises over three blocks steps where its middle is."""
    (hump,) = found(levels((20, 0.0), (7, 3.0), (20, 0.0)), 62.5)
    assert (hump.first, hump.last) == (20 * 64, 27 * 64 - 1)
    (hump,) = found(levels((20, 0.0), (1, 0.5), (1, 2.5), (20, 3.0), (20, 0.0)))
    assert (hump.first, hump.last) == (21 * 64, 42 * 64 - 1)


def test_less_than_a_decibel_is_no_step() -> None:
    """A hump whose floor rises by 0.7 dB half way is one hump."""
    (hump,) = found(levels((30, 0.0), (20, 3.0), (20, 3.7), (30, 0.0)))
    assert (hump.first, hump.last) == (30 * 64, 70 * 64 - 1)


def test_bins_are_held_against_the_level_of_their_own_block() -> None:
    """A floor that goes up and down by 1.4 dB from block to block scatters no more than noise within each."""
    within = [1.0, 3.8] * 12
    assert len(found([*levels((20, 0.0)), *within, *levels((20, 0.0))])) == 1


def test_a_tuning_of_fewer_blocks_than_four_sides_shows_none() -> None:
    """Twelve blocks of 62.5 Hz are 48 kHz, with six to each side; eleven of a tuning of 23 blocks are not asked."""
    assert len(found(levels((6, 0.0), (12, 3.0), (6, 0.0)), 62.5)) == 1
    assert found(levels((6, 0.0), (11, 3.0), (6, 0.0)), 62.5) == []
    assert found(levels((40, 0.0))) == []
