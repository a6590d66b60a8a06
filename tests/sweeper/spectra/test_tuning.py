"""Noise cells and lines of a wide tuning, on spectra whose truth is planted."""

import numpy as np
import pytest

from sweeper.spectra.rows import CELL_HZ, Learned, NothingHeard, rows
from sweeper.spectra.tuning import Asked, learn_tuning
from sweeper.words import Labelled, SignalPath, Spectrum

pytestmark = pytest.mark.slow

STEP_HZ, BINS, SEGMENTS = 31.25, 8192, 40
CENTRE_HZ = 28_100_000.0
START_HZ = CENTRE_HZ - BINS // 2 * STEP_HZ
NBW_HZ = 2.0 * STEP_HZ
LINE_BIN, IMAGED_BIN, WEAK_BIN = 1500, 6000, 3000
LEVELS = {"antenna-bypass": 1.0, "antenna-stage": 10.0, "load-bypass": 0.4, "load-stage": 3.0}


def seen(path: str, dice: np.random.Generator, at: float, occupied: float = 0.0) -> Labelled:
    """Noise of a level with a tilt of 3 dB, a line and its image, one of the receiver's own, the centre."""
    tilt = 10 ** (0.3 * np.arange(BINS) / BINS)
    mean = LEVELS[path] * tilt * dice.gamma(SEGMENTS, 1 / SEGMENTS, BINS)
    gain = 10.0 if path.endswith("stage") else 1.0
    if path.startswith("antenna"):
        for middle, power in ((IMAGED_BIN, 1e5), (BINS - IMAGED_BIN, 20.0), (LINE_BIN, 300.0)):
            mean[middle - 1 : middle + 2] += gain * power
        if occupied:
            mean[: int(occupied * BINS)] += gain * 30.0 * dice.gamma(1.0, 1.0, int(occupied * BINS))
    mean[WEAK_BIN - 1 : WEAK_BIN + 2] += 200.0
    mean[BINS // 2] += 1e4
    spectrum = Spectrum(START_HZ, STEP_HZ, mean.astype(np.float32), None, SEGMENTS, NBW_HZ)
    return Labelled(at, at + 0.5, SignalPath.parse(path), CENTRE_HZ, spectrum)


EVERYWHERE = ((27_900_000, 28_300_000),)


def learned(
    paths: str, occupied: float = 0.0, asked: Asked | None = None
) -> tuple[Learned, list[Labelled], tuple[int, ...]]:
    dice = np.random.default_rng(5)
    sequence = [seen(path, dice, float(nth), occupied) for nth, path in enumerate(paths.split())]
    found, stood = learn_tuning(asked or Asked("10 m", EVERYWHERE), 7, sequence)
    return found, sequence, stood


ALL = "antenna-bypass load-bypass antenna-stage load-stage antenna-stage antenna-bypass"


def test_eight_cells_lie_at_the_same_places_whatever_is_there() -> None:
    quiet, *_ = learned(ALL)
    busy, *_ = learned(ALL, occupied=0.05)
    assert [cell.channel.hz for cell in quiet.cells] == [cell.channel.hz for cell in busy.cells]
    assert len(quiet.cells) == 8


@pytest.mark.parametrize("occupied", [0.0, 0.05, 0.5])
def test_each_cell_reads_the_density_of_its_noise_and_the_difference_of_routes_is_the_planted_one(
    occupied: float,
) -> None:
    found, sequence, _ = learned(ALL, occupied)
    by_path = {}
    for one in sequence:
        noise = [row.reading for row in rows(one, found) if row.channel.purpose == "noise"]
        by_path.setdefault(str(one.path), noise)
    assert len(by_path["antenna-bypass"]) == (
        4 if occupied == 0.5 else 8
    )  # what is full of signals tells nothing
    # a cell holds some 1000 bins of 40 segments: 4.34/sqrt(40 000) = 0.02 dB; five of them, and the tilt
    for path, level in LEVELS.items():
        lowest_db = 10 * np.log10(level * CELL_HZ / NBW_HZ)
        assert lowest_db - 0.15 < min(by_path[path]) and max(by_path[path]) < lowest_db + 3.15
    change = np.subtract(by_path["antenna-stage"], by_path["antenna-bypass"])
    assert change == pytest.approx([10.0] * len(change), abs=0.12)


PLACES = {round((START_HZ + at * STEP_HZ) / 100) * 100 for at in (LINE_BIN, IMAGED_BIN)}


def test_lines_are_the_antennas_alone_and_a_pass_reads_only_those_that_it_was_asked_for() -> None:
    found, sequence, stood = learned(ALL)
    assert set(stood) == PLACES
    assert not [row for row in rows(sequence[0], found) if row.channel.purpose == "carrier"]
    empty_hz = 28_020_000
    found, sequence, _ = learned(ALL, asked=Asked("10 m", EVERYWHERE, (min(PLACES), empty_hz)))
    carriers = {
        row.channel.hz: row.reading for row in rows(sequence[0], found) if row.channel.purpose != "noise"
    }
    assert set(carriers) == {min(PLACES), empty_hz}, "also where nothing stands just now"
    # a line of three bins of 300, over noise of 1 to 2 in nine
    assert carriers[min(PLACES)] - carriers[empty_hz] == pytest.approx(10 * np.log10(900 / 12), abs=1.5)


def test_noise_is_read_where_the_station_file_says() -> None:
    asked = Asked("10 m", ((28_010_000, 28_030_000), (28_200_000, 28_220_000)))
    found, *_ = learned(ALL, asked=asked)
    assert found.cells and all(
        any(low <= cell.channel.hz <= high for low, high in asked.noise_hz) for cell in found.cells
    )
    nothing, *_ = learned(ALL, asked=Asked("10 m", ()))
    assert nothing.cells == ()
    with pytest.raises(NothingHeard, match="noise_edges_hz"):
        learned(ALL, asked=Asked("10 m", ((29_000_000, 29_010_000),)))


def test_without_the_load_no_line_is_told_and_without_a_route_nothing() -> None:
    found, _, stood = learned("antenna-bypass antenna-stage")
    assert stood == () and len(found.cells) == 8
    with pytest.raises(NothingHeard):
        learned("antenna-bypass antenna-bypass")


def plain(bins: int, loud: slice = slice(0), power: float = 1.0) -> list[Labelled]:
    """Both routes and the load of a tuning of so many bins: noise, and so much more of it in some."""
    dice = np.random.default_rng(9)
    sequence = []
    for nth, path in enumerate(("antenna-bypass", "antenna-stage", "load-bypass")):
        mean = LEVELS[path] * dice.gamma(SEGMENTS, 1 / SEGMENTS, bins)
        mean[loud] *= power
        spectrum = Spectrum(START_HZ, STEP_HZ, mean.astype(np.float32), None, SEGMENTS, NBW_HZ)
        centre_hz = START_HZ + STEP_HZ * (bins // 2)
        sequence.append(Labelled(float(nth), nth + 0.5, SignalPath.parse(path), centre_hz, spectrum))
    return sequence


def first_of(sequence: list[Labelled]) -> Learned:
    return learn_tuning(Asked("10 m", EVERYWHERE), 7, sequence)[0]


def test_cells_stand_at_the_middle_of_equal_parts_to_a_hundred_hertz() -> None:
    """8192 bins of 31.25 Hz from 27.972 MHz: eighths of 32 kHz, the first one's middle at 27.987984 MHz."""
    found, *_ = learned(ALL)
    assert [cell.channel.hz for cell in found.cells] == [27_988_000 + 32_000 * nth for nth in range(8)]
    assert {(cell.channel.band, cell.channel.purpose, cell.channel.bandwidth_hz) for cell in found.cells} == {
        ("10 m", "noise", CELL_HZ)
    }
    assert (found.pass_number, found.card) == (7, 0.0)


@pytest.mark.parametrize(("bins", "cells"), [(200, 1), (511, 1), (512, 2), (1000, 3), (4096, 8)])
def test_a_part_has_256_bins_at_least_and_there_are_eight_at_the_most(bins: int, cells: int) -> None:
    found = first_of(plain(bins))
    assert len(found.cells) == cells
    middle_hz = START_HZ + STEP_HZ * (bins - 1) / 2
    assert np.mean([cell.channel.hz for cell in found.cells]) == pytest.approx(middle_hz, abs=60)
    assert found.noise.shape == pytest.approx(2 * SEGMENTS, rel=0.05)  # of both routes added


def test_a_tuning_too_narrow_for_a_level_has_no_quiet_place() -> None:
    """Eleven bins lie within 150 Hz of the centre, and a level takes twice eight of the others."""
    with pytest.raises(NothingHeard, match="no quiet place"):
        first_of(plain(26))
    assert len(first_of(plain(28)).cells) == 1


def test_bins_within_150_hertz_of_the_samples_centre_are_not_used() -> None:
    usable = first_of(plain(2048)).noise.usable
    assert np.flatnonzero(~usable).tolist() == list(range(1024 - 5, 1024 + 6))


def test_parts_that_an_image_drowns_or_signals_fill_cost_only_their_own_cells() -> None:
    """The last eighth is 40 dB up, and its image about the centre lies over the first."""
    found = first_of(plain(8192, slice(7168, 8192), 1e4))
    assert [cell.channel.hz for cell in found.cells] == [27_988_000 + 32_000 * nth for nth in range(1, 7)]
    drowned = np.flatnonzero(~found.noise.usable[:1024])
    assert len(drowned) > 1000
    for power, kept in ((3.0, 8), (3.9, 8), (4.1, 7), (6.0, 7)):  # 6 dB is a factor of 3.98
        assert len(first_of(plain(8192, slice(7168, 8192), power)).cells) == kept


def test_cells_hold_every_noise_bin_of_their_parts_and_of_named_edges_those_between() -> None:
    found = first_of(plain(4096))
    held = np.concatenate([cell.bins for cell in found.cells])
    assert held.tolist() == np.flatnonzero(found.noise.keep).tolist()
    assert {0, 511, 512, 4095} <= {*held.tolist(), *np.flatnonzero(~found.noise.keep).tolist()}
    edges = (round(START_HZ + 100 * STEP_HZ), round(START_HZ + 300 * STEP_HZ))
    (cell,) = learn_tuning(Asked("10 m", (edges,)), 7, plain(4096))[0].cells
    assert cell.bins.tolist() == [bin for bin in held.tolist() if 100 <= bin <= 300]
    assert cell.channel.hz == pytest.approx(START_HZ + 200 * STEP_HZ, abs=50)


def test_edges_for_noise_that_lie_beyond_the_tuning_or_meet_hold_nothing() -> None:
    """Eight bins are the fewest of a cell."""
    for first, last, cells in ((100, 107, 1), (100, 106, 0), (300, 300, 0), (5000, 6000, 0), (4080, 9000, 1)):
        edges = (round(START_HZ + first * STEP_HZ), round(START_HZ + last * STEP_HZ))
        asked = Asked("10 m", (edges, (round(START_HZ), round(START_HZ + 60 * STEP_HZ))))
        assert len(learn_tuning(asked, 7, plain(4096))[0].cells) == 1 + cells, (first, last)
