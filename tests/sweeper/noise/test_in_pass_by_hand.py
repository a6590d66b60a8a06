"""What a pass shows of noise, by spectra written down: shares, heights and places that can be worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import gamma

from sweeper.noise.in_pass import in_pass
from sweeper.noise.seen import Found, Heard
from sweeper.spectra.welch import shape_of
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, Labelled, SignalPath, Spectrum

BINS, STEP_HZ, START_HZ, SEGMENTS = 8192, 31.25, 7_000_000.0, 40
END_HZ = START_HZ + BINS * STEP_HZ


def noise(level: float = 1.0, bins: int = BINS, segments: int = SEGMENTS) -> np.ndarray:
    """Bins of noise of that mean: in each block of 64 those of its law, in an order of their own."""
    shape = shape_of(segments)
    law = gamma.ppf((np.arange(64) + 0.5) / 64, shape, scale=1 / shape)
    return level * np.concatenate([np.random.default_rng(nth).permutation(law) for nth in range(bins // 64)])


def one(
    mean: np.ndarray, path: SignalPath = ANTENNA_BYPASS, at_s: float = 100.0, segments: int = SEGMENTS,
    step_hz: float = STEP_HZ, start_hz: float = START_HZ, tuning_hz: float | None = None, quality: str = "",
) -> Labelled:  # fmt: skip
    spectrum = Spectrum(
        start_hz,
        step_hz,
        mean.astype(np.float32),
        None,
        segments,
        2 * step_hz,
        quality=frozenset(quality.split()),
    )
    return Labelled(at_s, at_s + 2.0, path, tuning_hz, spectrum)


def heard(*each: Labelled) -> Heard:
    (found,) = in_pass(7, [("40 m", labelled) for labelled in each])
    return found


def only(*each: Labelled) -> Found:
    (found,) = heard(*each).found
    return found


def test_the_load_tells_how_much_of_the_noise_is_the_receivers_own() -> None:
    """A quarter, by medians of some 8000 bins of forty segments on either side: each to 1.6 over their product."""
    told = heard(one(noise(4.0)), one(noise(1.0), LOAD_BYPASS, at_s=200.0))
    assert (told.pass_number, told.band, told.start_hz, told.end_hz) == (7, "40 m", START_HZ, END_HZ)
    assert told.time == pytest.approx(151.0) and told.found == () and not told.mains_read
    assert told.noise_db == pytest.approx(10 * np.log10(4.0 * BINS), abs=0.05)
    assert told.receiver == pytest.approx(0.25, rel=0.01)
    assert told.receiver_se == pytest.approx(0.25 * np.sqrt(2 * 1.6 / (BINS * SEGMENTS)), rel=0.05)
    shorter = heard(one(noise(4.0)), one(noise(1.0), LOAD_BYPASS, segments=10))
    assert shorter.receiver_se == pytest.approx(0.25 * np.sqrt(1.6 / BINS * (1 / 10 + 1 / 40)), rel=0.08)
    assert heard(one(noise(1.0)), one(noise(4.0), LOAD_BYPASS)).receiver == 1.0  # no more than all of it
    without = heard(one(noise(4.0)))
    assert (without.receiver, without.receiver_se) == (None, 0.0)


def test_spectra_of_a_path_are_averaged_by_their_segments_and_those_that_are_void_or_clipped_left_out() -> (
    None
):
    """10 segments of 1 and 30 of 5 are 4; coarser bins of the same tuning do not count."""
    pair = (one(noise(1.0), segments=10), one(noise(5.0), segments=30))
    spoilt = [one(noise(100.0), quality="void"), one(noise(100.0), quality="gap clipped")]
    coarse = one(noise(100.0, bins=BINS // 2), step_hz=2 * STEP_HZ)
    stage = one(noise(100.0), ANTENNA_STAGE)
    told = heard(*pair, *spoilt, coarse, stage)
    assert told.noise_db == pytest.approx(10 * np.log10(4.0 * BINS), abs=0.1)
    assert in_pass(7, [("40 m", one(noise(1.0), LOAD_BYPASS))]) == []
    assert in_pass(7, [("40 m", spoilt[0])]) == []


def test_tunings_come_in_the_order_of_frequency_each_by_its_own_middle() -> None:
    lower = one(noise(2.0), start_hz=START_HZ - 250_000.0)
    found = in_pass(7, [("40 m", one(noise(1.0))), ("40 m", lower), ("40 m", one(noise(1.0), LOAD_BYPASS))])
    assert [told.start_hz for told in found] == [START_HZ - 250_000.0, START_HZ]
    assert [told.receiver is None for told in found] == [True, False]


def test_a_hump_adds_what_its_floor_is_over_that_beside_it() -> None:
    """32 of 128 blocks doubled: a quarter more power in all, of which it is a fifth."""
    mean = noise(1.0)
    mean[3200:5248] *= 2.0
    found = only(one(mean), one(noise(0.5), LOAD_BYPASS))
    assert (found.kind, found.low_hz, found.high_hz) == ("hump", START_HZ + 100_000.0, START_HZ + 164_000.0)
    assert found.share == pytest.approx(0.25 / 1.25, rel=0.02)
    assert found.share_se == pytest.approx(found.share * np.sqrt(2.0 / 2048))
    assert found.level_db == pytest.approx(10 * np.log10(2048.0), abs=0.1)
    assert found.over_db == pytest.approx(10 * np.log10(2.0), abs=0.02) and not found.on_load
    told = heard(one(mean), one(noise(0.5), LOAD_BYPASS))
    assert told.noise_db == pytest.approx(10 * np.log10(1.25 * BINS), abs=0.05)
    assert told.receiver == pytest.approx(0.5 / 1.25, rel=0.02)


def line(at: int, power: float, level: float = 1.0, wide: int = 1) -> np.ndarray:
    mean = noise(level)
    mean[at : at + wide] += power
    return mean


@pytest.mark.parametrize(("on_load", "told"), [(108.0, True), (92.0, False)])
def test_a_line_within_ten_decibels_on_the_load_is_a_birdie(on_load: float, told: bool) -> None:
    """A thousand on the antenna; what stands on both is told with its place and how far it is over the load's floor."""
    pair = (one(line(3000, 1000.0)), one(line(3000, on_load, 0.5), LOAD_BYPASS))
    if not told:
        assert heard(*pair).found == ()
        return
    found = only(*pair)
    assert (found.kind, found.on_load, found.lines, found.share) == ("birdie", True, 1, 0.0)
    assert found.low_hz == found.high_hz == START_HZ + 3000 * STEP_HZ
    assert found.level_db == pytest.approx(30.0, abs=0.1)
    assert found.over_db == pytest.approx(10 * np.log10(on_load / 0.5), abs=0.1)


@pytest.mark.parametrize(
    ("beside_hz", "told"), [(0.0, False), (-140.0, False), (140.0, False), (160.0, True), (-160.0, True)]
)
def test_what_stands_at_the_samples_centre_is_the_converters(beside_hz: float, told: bool) -> None:
    centre_hz = START_HZ + 3000 * STEP_HZ + beside_hz
    pair = (line(3000, 1000.0), line(3000, 1000.0))
    each = [
        one(mean, path, tuning_hz=centre_hz)
        for mean, path in zip(pair, (ANTENNA_BYPASS, LOAD_BYPASS), strict=True)
    ]
    assert bool(heard(*each).found) == told


@pytest.mark.parametrize(("wide", "told"), [(8, True), (9, False)])
def test_a_birdie_is_eight_bins_wide_at_most(wide: int, told: bool) -> None:
    each = (one(line(3000, 1000.0, wide=wide)), one(line(3000, 1000.0, wide=wide), LOAD_BYPASS))
    assert bool(heard(*each).found) == told


def test_a_birdies_power_is_that_of_four_bins_to_each_side_of_its_place() -> None:
    """1000 and eight times 100; what stands in the fifth bin is another's."""
    mean = line(2996, 100.0, wide=9)
    mean[3000] += 900.0
    mean[[2995, 3005]] += 500.0
    found = only(one(mean), one(line(3000, 1000.0), LOAD_BYPASS))
    assert found.level_db == pytest.approx(10 * np.log10(1800.0), abs=0.1)


def test_the_twenty_highest_birdies_are_told_the_highest_first_also_of_a_coarser_load() -> None:
    """Each coarse bin is the mean of two; 25 lines at uneven places."""
    at = 300 + np.cumsum(np.arange(200, 325, 5))
    fine = noise(1.0)
    fine[at] += 1000.0 * 1.2 ** np.arange(25)
    coarse = fine.reshape(-1, 2).mean(axis=1)
    load = one(coarse, LOAD_BYPASS, step_hz=2 * STEP_HZ, start_hz=START_HZ + STEP_HZ / 2)
    found = [each for each in heard(one(fine), load).found if each.kind == "birdie"]
    assert len(found) == 20
    assert [each.over_db for each in found] == sorted((each.over_db for each in found), reverse=True)
    wanted = START_HZ + STEP_HZ * at[:4:-1]
    assert [each.low_hz for each in found] == pytest.approx(wanted.tolist(), abs=STEP_HZ)


def narrow(*visits: np.ndarray) -> Heard:
    """A receiver's sound: too few bins for blocks, with an envelope in which the mains show."""
    dice = np.random.default_rng(3)
    time = np.arange(1000) / 2000.0
    each = []
    for mean in visits:
        turns = 100.0 * time + dice.uniform(size=(1, 8, 1))
        power = 0.6 + 0.4 * (turns % 1.0 < 0.2) / 0.2 + 0.3 * dice.standard_normal(turns.shape)
        labelled = one(mean)
        with_it = replace(labelled.spectrum, envelope=np.fft.rfft(power, axis=-1))
        each.append(Labelled(labelled.time, labelled.until, ANTENNA_BYPASS, None, with_it))
    return heard(*each)


def tone(power: float, wide: int) -> np.ndarray:
    mean = noise(1.0, bins=256)
    mean[100 : 100 + wide] += power
    return mean


@pytest.mark.parametrize(
    ("second", "wide", "read"),
    [
        (50.0, 3, True),
        (70.0, 3, True),
        (80.0, 3, False),
        (30.0, 3, False),
        (50.0, 12, True),
        (50.0, 13, False),
    ],
)
def test_the_mains_are_not_read_beside_signals_that_are_keyed(second: float, wide: int, read: bool) -> None:
    """Of another strength by half from visit to visit, or wider than a steady line is."""
    told = narrow(tone(50.0, wide), tone(second, wide), tone(50.0, wide))
    assert told.mains_read == read and [each.kind for each in told.found] == ["mains"] * read


def test_the_mains_share_is_of_all_the_noise_with_the_level_that_it_has() -> None:
    found = narrow(*[noise(2.0, bins=256)] * 4).found
    assert [each.kind for each in found] == ["mains"]
    (mains,) = found
    assert mains.share == pytest.approx(0.4, abs=0.05) and 0.0 < mains.share_se < 0.06
    assert mains.level_db == pytest.approx(10 * np.log10(mains.share * 2.0 * 256), abs=0.1)
    assert (mains.low_hz, mains.high_hz, mains.on_load) == (START_HZ, START_HZ + 256 * STEP_HZ, False)
    assert mains.every_hz == pytest.approx(50.0, rel=0.0006)
