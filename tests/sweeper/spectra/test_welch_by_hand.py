"""The small print of spectra: which segments a gap takes, frames and their places, bins kept, clipping, quartiles."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from drivers.contracts import Block
from sweeper.spectra.axis import Axis, axis_of
from sweeper.spectra.welch import Frame, Welch, frames, shape_of, spectrum, spectrum_of

RATE_HZ = 8000.0
AXIS = axis_of(RATE_HZ, real=False)
LENGTH, HOP = AXIS.length, AXIS.length // 2


def samples(count: int, seed: int = 1) -> np.ndarray:
    dice = np.random.default_rng(seed)
    return (dice.standard_normal(count) + 1j * dice.standard_normal(count)).astype(np.complex64)


def block(of: np.ndarray, **more: object) -> Block:
    return Block(of, RATE_HZ, (0.0, len(of) / RATE_HZ), **more)  # type: ignore[arg-type]


def segments_left(*gaps: int, count: int = 10) -> int:
    return spectrum([block(samples(LENGTH + (count - 1) * HOP), gaps=gaps)], AXIS).segments


@pytest.mark.parametrize(
    ("gap", "lost"),
    [(0, 0), (1, 1), (HOP // 2, 1), (HOP, 1), (HOP + 1, 2), (2 * HOP, 1), (2 * HOP + 1, 2), (10 * HOP, 1),
     (10 * HOP + 1, 1), (11 * HOP, 0)],
)  # fmt: skip
def test_a_gap_costs_the_segments_that_it_lies_in(gap: int, lost: int) -> None:
    """Ten segments begin half a length apart; samples before and after a gap at its first one are parted by it."""
    assert segments_left(gap) == 10 - lost


def test_two_gaps_in_the_same_segments_cost_them_once() -> None:
    assert segments_left(4 * HOP + 1, 4 * HOP + 2) == 8
    assert segments_left(4 * HOP + 1, 5 * HOP + 1) == 7


def test_a_frame_knows_where_its_samples_lie_and_how_many_segments_it_holds() -> None:
    found = list(frames([(0, block(samples(30 * HOP, 2), gaps=(9 * HOP + 1,), clipped=0.25))], AXIS, 4))
    assert [(frame.first // HOP, (frame.last - frame.first) // HOP) for frame in found] == [
        (4 * nth, 5) for nth in range(7)
    ]
    assert [frame.segments for frame in found] == [4, 4, 2, 4, 4, 4, 4]
    assert {frame.clipped for frame in found} == {0.25}
    whole = spectrum([block(samples(30 * HOP, 2)[: 5 * HOP])], AXIS)
    assert np.allclose(found[0].mean, whole.mean, rtol=1e-5)


def test_frames_in_small_blocks_are_those_of_the_whole_on_a_grid_of_half_lengths() -> None:
    air = samples(23 * HOP, 3)
    whole = list(frames([(0, block(air))], AXIS, 3))
    cuts = [0, 10, HOP, 3 * HOP + 7, 3 * HOP + 8, 12 * HOP, len(air)]
    parts = [(begin, block(air[begin:end])) for begin, end in pairwise(cuts)]
    found = list(frames(parts, AXIS, 3))
    assert [(one.first, one.last, one.segments) for one in found] == [
        (one.first, one.last, one.segments) for one in whole
    ]
    assert all(np.allclose(one.mean, two.mean, rtol=1e-4) for one, two in zip(found, whole, strict=True))
    begun = list(frames([(HOP + 3, block(air))], AXIS, 3))  # reading began between two places of the grid
    assert [frame.first // HOP for frame in begun[:2]] == [2, 5] and begun[0].first % HOP == 0


def test_a_jump_or_samples_lost_somewhere_begin_anew() -> None:
    """What was left over of the block before is not joined to what does not follow it."""
    air = samples(8 * HOP, 4)
    welch = Welch(AXIS, 2)
    assert len(list(welch.feed(block(air[: 2 * HOP]), 0))) == 0
    jumped = list(welch.feed(block(air[: 3 * HOP]), 100 * HOP))
    assert [frame.first for frame in jumped] == [100 * HOP]
    assert list(welch.feed(block(air, unplaced=True), 103 * HOP)) == []
    assert [frame.first for frame in welch.feed(block(air[: 3 * HOP]), 111 * HOP)] == [111 * HOP]
    told = spectrum([block(air), block(air, unplaced=True), block(air)], AXIS)
    assert "void" in told.quality


def test_a_frame_of_gaps_alone_is_not_given() -> None:
    gaps = tuple(4 * HOP + 1 + HOP * nth for nth in range(4))
    found = list(frames([(0, block(samples(20 * HOP), gaps=gaps))], AXIS, 4))
    assert [frame.first // HOP for frame in found] == [0, 8, 12]


@pytest.mark.parametrize("band_hz", [(500.0, 2000.0), (-2000.0, -500.0), (-700.0, 900.0), (-1e5, 1e5), (0.0, 1000.0),
                                     (-1000.0, -31.25)])  # fmt: skip
@pytest.mark.parametrize("inverted", [False, True])
def test_bins_outside_the_band_are_not_kept_and_the_others_stay_at_their_frequency(
    band_hz: tuple[float, float], inverted: bool
) -> None:
    centre_hz = 7_000_000.0
    mine = replace(AXIS, band_hz=band_hz, inverted=inverted, centre_hz=centre_hz)
    at_hz = max(min(band_hz[1], 4000.0) - 200.0, band_hz[0])
    tone = np.exp(2j * np.pi * at_hz * np.arange(20 * LENGTH) / RATE_HZ).astype(np.complex64)
    told = spectrum([block(tone)], mine)
    hz = told.start_hz + told.step_hz * np.arange(len(told.mean))
    radio_hz = centre_hz - at_hz if inverted else centre_hz + at_hz
    assert hz[np.argmax(told.mean)] == pytest.approx(radio_hz, abs=told.step_hz / 2)
    side = -1.0 if inverted else 1.0
    low_hz, high_hz = max(band_hz[0], -4000.0), min(band_hz[1], 4000.0 - told.step_hz)
    ends = sorted((centre_hz + side * low_hz, centre_hz + side * high_hz))
    assert (hz[0], hz[-1]) == pytest.approx(ends, abs=told.step_hz * 0.999)
    assert ends[0] - 1e-6 <= hz[0] and hz[-1] <= ends[1] + 1e-6


def test_audio_may_begin_above_nought_and_end_below_half_the_rate() -> None:
    """A tone of one volt peak is half a watt at one ohm, wherever the band begins."""
    tone = np.cos(2 * np.pi * 1000.0 * np.arange(20_000) / RATE_HZ).astype(np.float32)
    for band_hz in (None, (0.0, 3000.0), (200.0, 3000.0), (200.0, 4000.0)):
        told = spectrum([block(tone)], axis_of(RATE_HZ, real=True, band_hz=band_hz))
        assert told.mean.max() == pytest.approx(0.5, rel=1e-3)
        assert told.start_hz + told.step_hz * int(np.argmax(told.mean)) == pytest.approx(1000.0)
    standing = spectrum([block(np.ones(20_000, np.float32))], axis_of(RATE_HZ, real=True))
    assert standing.mean[0] == pytest.approx(1.0, rel=1e-3)
    highest = np.where(np.arange(20_000) % 2, 1.0, -1.0).astype(np.float32)
    assert spectrum([block(highest)], axis_of(RATE_HZ, real=True)).mean[-1] == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize(("share", "said"), [(0.0003, False), (0.0005, True)])
def test_a_stay_counts_as_clipped_from_a_ten_thousandth_of_its_samples(share: float, said: bool) -> None:
    """One block in four was: its share counts by its samples."""
    air = samples(4000)
    told = spectrum([block(air[:1000], clipped=share), block(air[1000:])], AXIS)
    assert told.clipped == pytest.approx(share / 4) and ("clipped" in told.quality) == said
    frame = Frame(0, LENGTH, 1, told.mean, share)
    assert ("clipped" in spectrum_of(frame, AXIS).quality) == (share > 1e-4)
    assert spectrum([], AXIS).clipped == 0.0 and spectrum([], AXIS).quality == {"void"}


@pytest.mark.parametrize(("segments", "told"), [(7, False), (8, True), (31, True)])
def test_the_lower_quartile_is_that_of_the_segments_from_eight_on(segments: int, told: bool) -> None:
    air = samples(LENGTH + (segments - 1) * HOP)
    found = spectrum([block(air)], AXIS)
    each = np.array(
        [spectrum([block(air[at * HOP : at * HOP + LENGTH])], AXIS).mean for at in range(segments)]
    )
    assert (found.low is not None) == told
    if found.low is not None:
        assert np.allclose(found.low, np.quantile(each, 0.25, axis=0), rtol=1e-3)


def test_a_longer_stay_has_sub_blocks_of_twice_as_many_segments() -> None:
    """64 segments are 32 pairs, whose quartile lies nearer to the mean than that of single ones."""
    air = samples(LENGTH + 63 * HOP)
    each = np.array([spectrum([block(air[at * HOP : at * HOP + LENGTH])], AXIS).mean for at in range(64)])
    found = spectrum([block(air)], AXIS)
    assert found.low is not None and found.segments == 64
    assert np.allclose(found.low, np.quantile(each.reshape(32, 2, -1).mean(axis=1), 0.25, axis=0), rtol=1e-3)


def test_a_frame_as_a_spectrum_keeps_what_it_was() -> None:
    frame = Frame(0, LENGTH, 5, np.ones(4, np.float32), 0.0)
    told = spectrum_of(frame, replace(AXIS, centre_hz=1e6))
    assert (told.segments, told.low, told.quality, told.start_hz) == (5, None, frozenset(), 1e6 - 4000.0)
    assert told.noise_bandwidth_hz == pytest.approx(2.004 * AXIS.step_hz, rel=1e-3)


def test_overlapping_segments_are_worth_less_than_so_many() -> None:
    """ρ² of the window at half overlap is 0.0013 or so (Harris 1978, table 1: 3.8 %, squared): little is lost."""
    assert shape_of(1) == 1.0 and shape_of(0) == 0.0
    rho = 0.038
    assert shape_of(100) == pytest.approx(100 / (1 + 2 * rho**2 * 0.99), rel=1e-3)


@pytest.mark.parametrize(
    ("axis", "bins", "start_hz"),
    [(Axis(8000.0, 256, True), (0, 129), 0.0), (Axis(8000.0, 256, False), (-128, 128), -4000.0),
     (Axis(8000.0, 256, True, 1e6, True), (0, 129), 1e6 - 4000.0),
     (Axis(8000.0, 256, True, 1e6, False, (300.0, 2700.0)), (10, 87), 1e6 + 312.5),
     (Axis(8000.0, 256, True, 1e6, True, (300.0, 2700.0)), (10, 87), 1e6 - 2687.5),
     (Axis(8000.0, 256, False, 1e6, False, (-312.5, 312.5)), (-10, 11), 1e6 - 312.5)],
)  # fmt: skip
def test_the_bins_of_an_axis_by_hand(axis: Axis, bins: tuple[int, int], start_hz: float) -> None:
    assert (axis.bins, axis.start_hz, axis.step_hz) == (bins, start_hz, 31.25)


@pytest.mark.parametrize(("rate_hz", "step_hz", "length"), [(8000.0, 31.25, 256), (48_000.0, 31.25, 1536),
                                                            (11_025.0, 31.25, 360), (100.0, 31.25, 16)])  # fmt: skip
def test_segments_are_even_quick_to_transform_and_long_enough(
    rate_hz: float, step_hz: float, length: int
) -> None:
    """11 025/31.25/2 = 176.4; the next product of small primes is 180 (2² · 3² · 5)."""
    found = axis_of(rate_hz, real=True, step_hz=step_hz)
    assert found.length == length and (found.step_hz <= step_hz or length == 16)
