"""Cells and lines on spectra drawn by hand: what is kept of a pass band, which lines are told, what flags rows get."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from sweeper.spectra.rows import Learned, NothingHeard, learn, mean_of, rows
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, Channel, Labelled, SignalPath, Spectrum

STEP_HZ, BINS, SEGMENTS = 31.25, 193, 100
NOISE = Channel("40 m", 7_038_500, "noise", 2400)
CARRIER = Channel("40 m", 7_038_500, "carrier", 2400)
ZERO_HZ = NOISE.hz - 1000.0
LEVELS = {ANTENNA_BYPASS: 1.0, ANTENNA_STAGE: 10.0, LOAD_BYPASS: 0.3}
PATHS = (ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS, LOAD_BYPASS)
Lines = Mapping[int, float]
"""Power in bypass, in a bin, on the noise of one of them."""


def visit(
    nth: int,
    path: SignalPath,
    lines: Lines,
    card: float = 1e-3,
    top_hz: float = 2700.0,
    low_hz: float = 300.0,
) -> Labelled:
    """Noise of a path's level from `low_hz` to the filter's end, the card's own everywhere, and lines of one bin."""
    dice = np.random.default_rng(100 + nth)
    hz = STEP_HZ * np.arange(BINS)
    mean = LEVELS[path] * ((hz >= low_hz) & (hz <= top_hz)) * dice.gamma(SEGMENTS, 1 / SEGMENTS, BINS) + card
    for at, power in lines.items():
        mean[at] += power * LEVELS[path]
    spectrum = Spectrum(ZERO_HZ, STEP_HZ, mean.astype(np.float32), None, SEGMENTS, 2.0 * STEP_HZ)
    return Labelled(10.0 * nth, 10.0 * nth + 1.0, path, ZERO_HZ, spectrum)


def a_pass(lines: Lines, on_load: Lines | None = None, **more: float) -> list[Labelled]:
    return [
        visit(nth, path, (on_load or {}) if path == LOAD_BYPASS else lines, **more)
        for nth, path in enumerate(PATHS)
    ]


def told(sequence: list[Labelled], channel: Channel = NOISE, **more: float) -> Learned:
    return learn(channel, 3, sequence, 3000.0, **more)


def places(sequence: list[Labelled], channel: Channel = NOISE) -> list[int]:
    """Bins of the lines that are followed, in their order."""
    learned = told(sequence, channel)
    return [int(line.bins[4]) for line in (*learned.lines, *learned.stood)]


def test_of_many_steady_lines_the_eight_strongest_are_followed_in_their_order() -> None:
    """Each stands 375 Hz from the next; one 219 Hz beside a stronger one would lie in its cell."""
    powers = {20 + 12 * nth: 1000.0 + 100.0 * nth for nth in range(12)}
    powers[152 - 7] = 900.0
    found = learn(NOISE, 3, a_pass(powers, top_hz=5700.0), 6000.0).stood
    assert [int(line.bins[4]) for line in found] == [152 - 12 * nth for nth in range(8)]


@pytest.mark.parametrize(("share", "followed"), [(0.2, False), (0.3, True), (0.9, True)])
@pytest.mark.parametrize("nth", [0, 1, 2, 3])
def test_a_line_may_fade_to_a_quarter_of_its_usual_power_in_any_visit(
    nth: int, share: float, followed: bool
) -> None:
    """The median of a route's two visits is their mean, 1.3/2 or 1.2/2 of the usual power here."""
    lines = {40: 1000.0}
    sequence = a_pass(lines)
    usual = 1.0 / (2.0 / share - 1.0) if share < 0.9 else share
    sequence[nth] = visit(nth, PATHS[nth], {40: 1000.0 * share * usual / share})
    least = usual / ((1.0 + usual) / 2.0)
    assert (places(sequence) == [40]) == (least >= 0.25) == followed


def test_below_two_hundred_hertz_nothing_counts_as_noise_whatever_the_receiver_passes() -> None:
    """Bin 7 stands at 218.75 Hz."""
    usable = told(a_pass({}, low_hz=0.0)).noise.usable
    assert np.flatnonzero(usable)[0] == 7


@pytest.mark.parametrize(("power", "followed"), [(30.0, False), (60.0, True)])
def test_a_line_has_to_be_clear_of_its_cells_noise(power: float, followed: bool) -> None:
    """Nine bins of noise make a cell: five times that of one route is a line of 45."""
    assert (places(a_pass({40: power})) == [40]) == followed


@pytest.mark.parametrize(("power", "followed"), [(4.1, False), (4.9, True)])
@pytest.mark.parametrize("weak", [ANTENNA_BYPASS, ANTENNA_STAGE])
def test_a_line_has_to_stand_half_as_high_as_its_cells_noise_on_either_route(
    weak: SignalPath, power: float, followed: bool
) -> None:
    """A ninth of a cell is a bin: 4.5 of a bin's noise, over the noise that lies under the line itself."""
    sequence = [
        visit(nth, path, {} if path == LOAD_BYPASS else {40: power if path == weak else 200.0})
        for nth, path in enumerate(PATHS)
    ]
    assert (places(sequence) == [40]) == followed


@pytest.mark.parametrize(("on_load", "followed"), [(0.0, True), (150.0, True), (1000.0, False)])
def test_a_line_that_stands_on_the_load_as_well_is_the_receivers_own(on_load: float, followed: bool) -> None:
    """Within 10 dB of its strength on the antenna, and the load's noise stands 5.2 dB under the antenna's."""
    assert (places(a_pass({40: 1000.0}, {40: on_load})) == [40]) == followed


def test_a_band_of_signals_is_no_line_and_without_the_load_there_is_none() -> None:
    assert places(a_pass(dict.fromkeys(range(38, 46), 500.0))) == []
    assert places(a_pass({40: 1000.0})[:4]) == []


def test_a_lines_place_is_a_hundred_hertz() -> None:
    (line,) = told(a_pass({41: 1000.0})).stood
    at_hz = ZERO_HZ + 41 * STEP_HZ
    assert line.channel.hz == round(at_hz, -2) and line.channel.purpose == "carrier"
    assert line.bins.tolist() == list(range(37, 46))


@pytest.mark.parametrize(("off_bins", "found"), [(0, True), (6, True), (-6, True), (7, False), (-7, False)])
def test_a_named_carrier_is_looked_for_within_two_hundred_hertz(off_bins: int, found: bool) -> None:
    """1000 Hz in the sound is bin 32, 200 Hz are 6.4 bins."""
    middle = places(a_pass({32 + off_bins: 1000.0}), CARRIER)[0]
    assert middle == (32 + off_bins if found else 32)
    (first, *_) = told(a_pass({32 + off_bins: 1000.0}), CARRIER).lines
    assert first.channel == replace(CARRIER, bandwidth_hz=281)


def test_a_named_carrier_that_hardly_stands_out_is_read_at_its_place() -> None:
    assert places(a_pass({36: 1.5}), CARRIER)[0] == 32
    assert places(a_pass({36: 3.5}), CARRIER)[0] == 36


def test_lines_beside_a_named_carrier_are_followed_from_325_hertz_on() -> None:
    assert places(a_pass({32: 1000.0, 42: 1000.0}), CARRIER) == [32]
    assert places(a_pass({32: 1000.0, 43: 1000.0}), CARRIER) == [32, 43]


def test_a_line_at_the_edge_is_read_in_nine_bins_inside() -> None:
    sequence = [
        replace(one, spectrum=replace(one.spectrum, mean=one.spectrum.mean[:90])) for one in a_pass({})
    ]
    near = replace(CARRIER, hz=round(ZERO_HZ + 89 * STEP_HZ))
    assert told(sequence, near).lines[0].bins.tolist() == list(range(81, 90))


def test_a_cell_needs_two_fifths_of_its_bins() -> None:
    """The third of eight cells of 300 Hz: 900 to 1200 Hz, of which 281 Hz are read, nine bins."""
    all_cells = [7_037_950 + 300 * nth for nth in range(8)]  # at 450, 750, … Hz in the sound
    third = [29, 30, 31, 32, 33, 34, 35, 36, 37, 38]
    few = told(a_pass(dict.fromkeys(third[:4], 5.0)))
    assert [cell.channel.hz for cell in few.cells] == all_cells
    most = told(a_pass(dict.fromkeys(third[:8], 5.0)))
    assert [cell.channel.hz for cell in most.cells] == [hz for hz in all_cells if hz != all_cells[2]]


def test_a_filter_of_another_width_has_cells_of_its_own() -> None:
    """From 500 Hz to 300 Hz below where only the card is heard: two cells of 350 Hz, of which the middle is read."""
    narrow = learn(NOISE, 3, a_pass({}, top_hz=1300.0), 1500.0, 500.0)
    assert [cell.channel.hz - ZERO_HZ for cell in narrow.cells] == [675, 1025]
    assert [len(cell.bins) for cell in narrow.cells] == [9, 9]
    one = learn(NOISE, 3, a_pass({}, top_hz=1300.0), 1100.0, 600.0)
    assert [cell.channel.hz - ZERO_HZ for cell in one.cells] == [700]


def test_the_lower_side_band_has_its_cells_below_the_dial() -> None:
    sequence = [
        replace(one, tuning=NOISE.hz + 1000.0,
                spectrum=replace(one.spectrum, mean=one.spectrum.mean[::-1].copy(),
                                 start_hz=NOISE.hz + 1000.0 - (BINS - 1) * STEP_HZ))
        for one in a_pass({})
    ]  # fmt: skip
    assert [cell.channel.hz for cell in told(sequence).cells] == [7_039_050 - 300 * nth for nth in range(8)]


@pytest.mark.parametrize(("card", "flag"), [(0.1, ""), (0.6, "floor")])
def test_noise_less_than_three_decibels_over_the_cards_is_a_bound(card: float, flag: str) -> None:
    """0.3 of the load with 0.1 of the card stands 6 dB over the card, with 0.6 less than 2; the antenna is clear."""
    sequence = a_pass({}, card=card)
    assert {row.flags for row in rows(sequence[4], told(sequence))} == {flag}
    assert {row.flags for row in rows(sequence[1], told(sequence))} == {""}


@pytest.mark.parametrize(("filter_hz", "told"), [(5027.0, True), (5040.0, False)])
def test_the_cards_own_noise_is_told_by_eight_bins_beyond_the_filter(filter_hz: float, told: bool) -> None:
    """From 1.15 times its end on, of 193 bins up to 6000 Hz: from 5781.25 Hz on eight, from 5812.5 Hz on seven."""
    found = learn(NOISE, 3, a_pass({}, top_hz=4700.0), filter_hz)
    assert found.card == (pytest.approx(1e-3) if told else 0.0)


def test_a_row_stands_at_the_middle_of_its_time_and_is_dropped_where_it_holds_nothing() -> None:
    sequence = a_pass({})
    learned = told(sequence)
    found = rows(sequence[1], learned)
    assert {row.time.timestamp() for row in found} == {10.5} and len(found) == 8
    assert {(row.pass_number, row.path, row.dbm, row.flags) for row in found} == {
        (3, ANTENNA_STAGE, None, "")
    }
    assert len(rows(_with(sequence[1], segments=1), learned)) == 8
    for nothing in (
        {"segments": 0},
        {"quality": frozenset({"void"})},
        {"mean": sequence[1].spectrum.mean * 1e-24},
    ):
        assert rows(_with(sequence[1], **nothing), learned) == []
    half = sequence[1].spectrum.mean.copy()
    half[:40] = -1.0
    assert len(rows(_with(sequence[1], mean=half), learned)) < 8
    clipped = _with(sequence[1], quality=frozenset({"clipped"}))
    assert {row.flags for row in rows(clipped, learned)} == {"clipped"}


def _with(one: Labelled, **more: object) -> Labelled:
    return replace(one, spectrum=replace(one.spectrum, **more))  # type: ignore[arg-type]


def test_clipped_visits_tell_where_noise_is_only_where_a_route_has_no_other() -> None:
    """One of two bypass visits was overdriven and lifts the whole band; where all were, they have to do."""
    sequence = a_pass({})
    loud = replace(sequence[0].spectrum, mean=sequence[0].spectrum.mean[::-1].copy(),
                   quality=frozenset({"clipped"}))  # fmt: skip
    honest = told(sequence[1:])
    beside = told([replace(sequence[0], spectrum=loud), *sequence[1:]])
    assert (beside.noise.keep == honest.noise.keep).all()
    all_clipped = [
        _with(one, quality=frozenset({"clipped"})) if one.path == ANTENNA_BYPASS else one for one in sequence
    ]
    assert len(told(all_clipped).cells) == 8
    void = [
        _with(one, quality=frozenset({"void"})) if one.path == ANTENNA_BYPASS else one for one in sequence
    ]
    with pytest.raises(NothingHeard, match="sound of one route only"):
        told(void)


def test_a_pass_band_too_narrow_tells_nothing() -> None:
    """Sixteen bins at least, of which the filter's ends take two each."""
    with pytest.raises(NothingHeard, match="too narrow a pass band"):
        told(a_pass({}, top_hz=800.0))
    assert len(told(a_pass({}, top_hz=1300.0)).cells) >= 1


def test_segments_weigh_what_a_route_shows_and_its_shape() -> None:
    sequence = a_pass({})
    shorter = [_with(one, segments=SEGMENTS // 2) for one in sequence]
    assert told(shorter).noise.shape == pytest.approx(told(sequence).noise.shape / 2, rel=0.02)
    one, two = (_with(sequence[at], mean=np.full(9, level), segments=count)
                for at, level, count in ((0, 1.0, 100), (3, 5.0, 300)))  # fmt: skip
    mean = mean_of([one, sequence[1], two], ANTENNA_BYPASS)
    assert mean is not None and mean.tolist() == [4.0] * 9
    assert mean_of([one], ANTENNA_STAGE) is None
