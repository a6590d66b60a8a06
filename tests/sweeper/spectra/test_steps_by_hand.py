"""Where a pass band ends by what steps with its noise, from tables without scatter and with a known one."""

import numpy as np
import pytest

from sweeper.spectra.steps import ended_by_steps, widened_by_steps

BINS, SPECTRA = 100, 40
STAGED = np.arange(SPECTRA) % 2 == 1
NOISE = slice(20, 80)
INSIDE = (np.arange(BINS) >= 10) & (np.arange(BINS) < 90)


def table(
    noise_step: float, hum_step: float = 1.0, hum: slice = slice(0, 20), level: float = 1.0
) -> np.ndarray:
    """Noise that steps by a factor when switched, and at the lower end something that steps by another."""
    power = np.ones((SPECTRA, BINS))
    power[:, hum] = level
    power[STAGED] *= noise_step
    power[np.ix_(STAGED, range(*hum.indices(BINS)))] = level * hum_step
    return power


def kept(*of: object, segments: int = 1000, **more: object) -> list[int]:
    found = ended_by_steps(INSIDE, table(*of, **more), STAGED, segments)  # type: ignore[arg-type]
    return np.flatnonzero(found).tolist()


def test_what_stands_still_at_an_end_is_taken_off_with_two_bins_that_fall_off() -> None:
    """The running median of five bins moves at bin 20; two more are the filter's slope."""
    assert kept(10.0) == list(range(22, 90))
    mirrored = ended_by_steps(INSIDE, table(10.0)[:, ::-1], STAGED, 1000)
    assert np.flatnonzero(mirrored).tolist() == list(range(10, 78))
    assert kept(0.1) == list(range(22, 90))


@pytest.mark.parametrize(("hum_step", "off"), [(2.8, True), (3.6, False)])
def test_bins_that_step_by_less_than_half_are_not_of_the_pass_band(hum_step: float, off: bool) -> None:
    """Half of 10 dB is 5 dB, a factor of 3.16."""
    assert (kept(10.0, hum_step)[0] == 22) == off
    assert (kept(0.1, 1 / hum_step)[0] == 22) == off


@pytest.mark.parametrize(("noise_step", "told"), [(1.14, False), (1.2, True), (0.87, False), (0.83, True)])
def test_a_step_of_the_noise_tells_something_from_two_thirds_of_a_decibel_on(
    noise_step: float, told: bool
) -> None:
    """0.65 dB up is a factor of 1.16, down 0.86."""
    assert (kept(noise_step)[0] == 22) == told


@pytest.mark.parametrize(("segments", "told"), [(8, False), (12, True)])
def test_a_step_has_to_be_five_standard_errors_of_two_medians(segments: int, told: bool) -> None:
    """√(π/2) · √(1/20 + 1/20)/√segments: 0.140 at 8, five of it 0.70; 0.114 at 12, 0.57. The step is ln 1.9 = 0.642."""
    assert (kept(1.9, segments=segments)[0] == 22) == told


def test_the_bins_with_the_lesser_power_tell_what_the_noise_does() -> None:
    """A signal over half of the bins and a little more steps by another amount; the lower half is noise."""
    power = table(10.0)
    power[:, 50:88] = np.where(STAGED, 500.0, 1000.0)[:, None]
    assert np.flatnonzero(ended_by_steps(INSIDE, power, STAGED, 1000)).tolist() == list(range(22, 90))


def test_only_ends_are_taken_off_and_only_where_enough_is_left() -> None:
    assert kept(10.0, hum=slice(40, 50)) == list(
        range(10, 90)
    )  # a still patch amid the band is none of its ends
    inside = (np.arange(BINS) >= 40) & (np.arange(BINS) < 80)
    for last, first_left in ((62, 64), (63, 40)):  # sixteen bins are left, or fifteen, which tell too little
        power = table(10.0, hum=slice(0, last))
        power[:, :last] *= np.arange(50.0, 50.0 + last)
        found = ended_by_steps(inside, power, STAGED, 1000)
        assert np.flatnonzero(found).tolist() == list(range(first_left, 80))


def test_too_few_spectra_or_bins_leave_it_as_it_is() -> None:
    power = table(10.0)
    for count, told in ((2, False), (4, True)):  # one of each, two of each
        found = ended_by_steps(INSIDE, power[:count], STAGED[:count], 100_000)
        assert (not found[10]) == told
    for last, told in (
        (35, False),
        (36, True),
        (60, True),
    ):  # from bin 20 on sixteen at least are left or not
        inside = (np.arange(BINS) >= 20 - 2) & (np.arange(BINS) < last + 2)
        found = ended_by_steps(inside, power, STAGED, 1000)
        assert (not found[18]) == told
    few = (np.arange(BINS) >= 10) & (np.arange(BINS) < 25)
    assert (ended_by_steps(few, power, STAGED, 1000) == few).all()


def wide(
    signal_step: float, noise_step: float, floor: float = 1.0, spectra: int = 40, ends: float = 1.0
) -> tuple[np.ndarray, np.ndarray]:
    """A signal 30 dB up in bins 30 to 69 of 100, noise around, each of which steps by a factor of its own."""
    staged = np.arange(spectra) % 2 == 1
    dice = np.random.default_rng(3)
    power = np.full((spectra, BINS), floor)
    power[:, :5] *= ends
    power[:, 30:70] = 1000.0
    power[np.ix_(staged, [*range(30), *range(70, BINS)])] *= noise_step
    power[np.ix_(staged, range(30, 70))] *= signal_step
    return power * dice.gamma(400.0, 1 / 400.0, power.shape), staged


TAKEN = (np.arange(BINS) >= 32) & (np.arange(BINS) < 68)
"""What in_pass_band leaves of the signal."""


@pytest.mark.parametrize(
    ("signal_step", "noise_step", "widened"),
    [(10.0, 5.0, True), (10.0, 10.0, False), (10.0, 1.0, False), (1.0, 2.0, True), (0.3, 0.9, True)],
)
def test_what_steps_by_another_amount_around_a_wide_signal_is_noise(
    signal_step: float, noise_step: float, widened: bool
) -> None:
    """Noise that does not step is a stop band's; noise that steps as the signal does is the filter's skirt."""
    power, staged = wide(signal_step, noise_step)
    assert widened_by_steps(TAKEN, power, staged).all() == widened
    if not widened:
        assert (widened_by_steps(TAKEN, power, staged) == TAKEN).all()


@pytest.mark.parametrize(("spectra", "told"), [(14, False), (16, True)])
def test_eight_spectra_of_each_route_are_the_fewest(spectra: int, told: bool) -> None:
    power, staged = wide(10.0, 5.0, spectra=spectra)
    assert widened_by_steps(TAKEN, power, staged).all() == told
    nothing = np.zeros(BINS, np.bool_)
    assert (widened_by_steps(nothing, power, staged) == nothing).all()


def test_a_narrow_rest_or_one_that_is_not_alike_is_the_end_of_the_filter() -> None:
    """A third of the bins at the least, of which a third lies within 3 dB; two bins beside the signal do not count."""
    power, staged = wide(10.0, 5.0)
    broad = (np.arange(BINS) >= 15) & (np.arange(BINS) < 84)
    assert (widened_by_steps(broad, power, staged) == broad).all()  # 13 and 14 bins beyond
    sloping = power * np.where(TAKEN, 1.0, 10.0 ** (np.abs(np.arange(BINS) - 50) / 2.0 - 8.0))
    assert (widened_by_steps(TAKEN, sloping, staged) == TAKEN).all()
    silent, staged = wide(10.0, 5.0, floor=0.0)
    assert (widened_by_steps(TAKEN, silent, staged) == TAKEN).all()


def test_the_ends_of_the_filter_stay_outside_when_the_pass_band_is_widened() -> None:
    power, staged = wide(10.0, 5.0, ends=1e-4)
    found = widened_by_steps(TAKEN, power, staged)
    assert found[12:].all() and not found[:5].any()


@pytest.mark.parametrize(("down_db", "let_through"), [(9.7, True), (10.3, False)])
def test_a_widened_pass_band_reaches_down_to_ten_decibels_under_the_noise(
    down_db: float, let_through: bool
) -> None:
    power, staged = wide(10.0, 5.0, ends=10 ** (-down_db / 10))
    found = widened_by_steps(TAKEN, power, staged)
    assert found[12:].all() and found[2] == let_through  # two bins at each end are taken off
