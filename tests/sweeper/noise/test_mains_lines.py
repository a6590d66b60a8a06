"""The mains in envelopes that are written down: how near its frequency is told, and how large its share."""

import numpy as np
import pytest

from sweeper.noise.mains_lines import MainsLines, mains_lines

pytestmark = pytest.mark.slow

SECONDS = 0.5
COUNT = int(2000 * SECONDS)


def envelopes(
    share: float = 0.4, mains_hz: float = 50.0, once: bool = False, visits: int = 4, rows: int = 8,
    noise: float = 0.3, parts: int = 1, seed: int = 1,
) -> list[np.ndarray]:  # fmt: skip
    """Noise whose power has a share that is there for a fifth of each half cycle (or cycle); a phase for each row."""
    dice = np.random.default_rng(seed)
    time = np.arange(COUNT) / 2000.0
    found = []
    for _ in range(visits):
        turns = (mains_hz if once else 2 * mains_hz) * time + dice.uniform(size=(parts, rows, 1))
        power = 1.0 - share + share * (turns % 1.0 < 0.2) / 0.2 + noise * dice.standard_normal(turns.shape)
        found.append(np.fft.rfft(power, axis=-1))
    return found


def told(*of: object, **planted: object) -> MainsLines:
    found = mains_lines(envelopes(*of, **planted))  # type: ignore[arg-type]
    assert found is not None
    return found


@pytest.mark.parametrize("off", [-0.002, -0.0005, 0.0005, 0.0015])
@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
@pytest.mark.parametrize("once", [False, True])
def test_the_frequency_is_told_within_a_four_thousandth(off: float, mains_hz: float, once: bool) -> None:
    """Looked for in steps of a two-thousandth, as far from 50 and 60 Hz as a grid and a clock may be."""
    found = told(mains_hz=mains_hz * (1.0 + off), once=once)
    assert found.mains_hz == pytest.approx(mains_hz * (1.0 + off), rel=0.00026)


@pytest.mark.parametrize("hz", [47.0, 49.0, 51.0, 52.0, 58.0, 61.5])
@pytest.mark.parametrize("noise", [0.03, 0.3])
def test_another_rhythm_near_that_of_the_mains_is_none_of_theirs(hz: float, noise: float) -> None:
    """Half a second tells two hertz apart; what lies between stands at the mains' multiples as well, but less."""
    assert mains_lines(envelopes(mains_hz=hz, noise=noise)) is None


@pytest.mark.parametrize(("hz", "least", "most"), [(50.0, 36, 40), (47.0, 0, 2), (53.0, 0, 2)])
def test_two_stays_of_a_tenth_of_a_second_tell_a_swell_of_the_mains_from_others(
    hz: float, least: int, most: int
) -> None:
    """By chance a frequency beside is often a little likelier than the true one; that alone acquits nobody."""
    dice, found = np.random.default_rng(3), 0
    for _ in range(40):
        turns = 2 * hz * np.arange(200) / 2000.0 + dice.uniform(size=(1, 2, 1))
        power = 1.0 + 0.27 * np.cos(2 * np.pi * turns) + 0.15 * dice.standard_normal(turns.shape)
        taper = np.sin(np.pi * np.arange(200) / 200) ** 4
        found += mains_lines([np.fft.rfft(power * taper, axis=-1)]) is not None
    assert least <= found <= most


@pytest.mark.parametrize("noise", [0.03, 0.1, 1.0])
@pytest.mark.parametrize("once", [False, True])
def test_however_little_scatters_the_frequency_is_told(noise: float, once: bool) -> None:
    """What a strong line spills over its neighbours is no rhythm of its own."""
    found = told(mains_hz=50.05, once=once, noise=noise, visits=12)
    assert found.mains_hz == pytest.approx(50.05, rel=0.0006)
    assert found.share == pytest.approx(0.4, abs=0.06)


@pytest.mark.parametrize("share", [0.15, 0.4, 0.8])
@pytest.mark.parametrize("once", [False, True])
def test_the_share_of_bursts_that_rest_four_fifths_of_the_time_is_read(share: float, once: bool) -> None:
    found = told(share, once=once)
    assert found.share == pytest.approx(share, abs=3.0 * found.share_se) and found.share_se < 0.06


@pytest.mark.parametrize("noise", [0.05, 0.1, 0.3])
def test_of_one_row_alone_the_error_is_that_of_noise_in_its_multiples(noise: float) -> None:
    """Of a thousand values each of the ten multiples up to 1 kHz shows noise² / 1000: √(2 · 10 noise² / 1000)."""
    for seed in (1, 2, 3):
        found = told(0.4, visits=1, rows=1, noise=noise, seed=seed)
        assert found.share_se == pytest.approx(noise * np.sqrt(0.02), rel=0.15)
        assert found.share == pytest.approx(0.4, abs=3.0 * found.share_se)


@pytest.mark.parametrize("share", [0.1, 0.15, 0.2])
def test_a_share_that_no_row_shows_by_itself_is_read_from_a_hundred(share: float) -> None:
    """Noise as strong as its own mean: the quietest place is sought in what all other rows show together."""
    found = told(share, noise=1.0, visits=12)
    assert found.share == pytest.approx(share, abs=3.0 * found.share_se) and found.share_se < 0.015


def test_steady_noise_and_a_rhythm_beside_the_mains_are_none() -> None:
    assert mains_lines(envelopes(0.0)) is None
    assert mains_lines(envelopes(0.1, mains_hz=55.0)) is None


def test_of_two_parts_both_have_to_show_it_about_as_strongly() -> None:
    strong, half, none = (envelopes(share, seed=seed) for seed, share in enumerate((0.6, 0.5, 0.0)))
    alike = [np.concatenate(pair) for pair in zip(strong, half, strict=True)]
    found = mains_lines(alike)
    assert found is not None and found.share == pytest.approx(0.55, abs=0.03)
    assert mains_lines([np.concatenate(pair) for pair in zip(strong, none, strict=True)]) is None
    weak = envelopes(
        0.3, seed=4
    )  # three sevenths of the rest, where the other has six fourths: 3.5 times as strong
    assert mains_lines([np.concatenate(pair) for pair in zip(strong, weak, strict=True)]) is None
    fifty, sixty = envelopes(seed=5), envelopes(mains_hz=60.0, seed=6)
    assert mains_lines([np.concatenate(pair) for pair in zip(fifty, sixty, strict=True)]) is None


def test_of_two_parts_the_greater_chance_is_told_and_the_mean_of_their_shares() -> None:
    parts = [envelopes(share, noise=1.0, seed=seed) for seed, share in enumerate((0.1, 0.14))]
    alone = [mains_lines(part) for part in parts]
    both = mains_lines([np.concatenate(pair) for pair in zip(*parts, strict=True)])
    assert alone[0] is not None and alone[1] is not None and both is not None
    chances = sorted(each.chance for each in alone if each is not None)
    assert chances[0] < chances[1] == both.chance
    assert both.share == pytest.approx((alone[0].share + alone[1].share) / 2)
    assert both.share_se == pytest.approx(np.hypot(alone[0].share_se, alone[1].share_se) / 2)


def test_of_rows_of_two_lengths_the_longer_are_read_and_of_visits_all_have_as_many_parts() -> None:
    long, short = envelopes(), [each[..., :101] for each in envelopes(0.0, visits=40)]
    assert mains_lines([*short, *long]) == mains_lines(long)
    assert mains_lines([*long, *envelopes(parts=2)]) is None
    assert mains_lines([]) is None and mains_lines([each[..., :1] for each in long]) is None


def test_rows_without_power_count_for_nothing() -> None:
    silent = [np.concatenate([each, np.zeros_like(each)], axis=1) for each in envelopes()]
    assert mains_lines(silent) == mains_lines(envelopes())
    assert mains_lines([np.zeros_like(each) for each in envelopes()]) is None
