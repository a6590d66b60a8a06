"""Whether what comes in can be compared: bounds of silence, clipping and sound that goes, steps at changes."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from sweeper.ab import Untold
from sweeper.attended.fitness import enough, has_gone, over_card_db, refuse, steps_db, warning
from sweeper.attended.levels import Levels
from sweeper.attended.stays import Stay, Stays
from sweeper.errors import UserFacingError
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, Spectrum
from tests.sweeper.attended.test_advice import NOTHING

EVERY_S = 0.1


def levels(*parts: tuple[float, float]) -> Levels:
    """Stretches of (seconds, floor in dB)."""
    floor = np.concatenate([np.full(round(seconds / EVERY_S), level_db) for seconds, level_db in parts])
    return Levels(0.0, EVERY_S, floor, floor + 3.0)


def heard(
    seconds: float, of: Levels | None = None, silent_s: float = 0.0, clipped_s: float = 0.0
) -> SimpleNamespace:
    told = of if of is not None else levels((seconds, -60.0))
    return SimpleNamespace(seconds=seconds, silent_s=silent_s, clipped_s=clipped_s, levels=lambda: told)


NO_STAYS = Stays(())


@pytest.mark.parametrize(
    ("seconds", "silent_s", "clipped_s", "said"),
    [
        (2.9, 2.9, 0.0, ""), (3.0, 2.8, 0.0, "Nothing but silence"), (3.0, 2.6, 0.0, ""),
        (3.0, 0.0, 0.31, "clips nearly all the time"), (3.0, 0.0, 0.29, ""), (2.9, 0.0, 2.9, ""),
    ],
)  # fmt: skip
def test_nine_tenths_of_silence_or_a_tenth_of_clipping_end_it_after_three_seconds(
    seconds: float, silent_s: float, clipped_s: float, said: str
) -> None:
    one = heard(seconds, silent_s=silent_s, clipped_s=clipped_s)
    if said:
        with pytest.raises(UserFacingError, match=said):
            refuse(one, NO_STAYS)  # type: ignore[arg-type]
    else:
        refuse(one, NO_STAYS)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("parts", "gone"),
    [
        (((10.0, -60.0), (3.0, -75.1)), True),
        (((10.0, -60.0), (3.0, -74.9)), False),
        (((10.0, -60.0), (2.8, -90.0)), False),  # not for three seconds yet
        (((3.0, -60.0), (3.0, -90.0)), False),  # nothing long enough to be held against
        (((3.2, -60.0), (3.0, -90.0)), True),
        (((9.0, -60.0), (1.0, -80.0), (3.0, -90.0)), False),  # it has been as quiet as that before
        (((9.9, -60.0), (0.1, -80.0), (3.0, -90.0)), True),  # but for a moment
        (((10.0, -60.0), (1.5, -90.0), (0.1, -60.0), (1.4, -90.0)), False),
    ],
)
def test_sound_has_gone_where_three_seconds_lie_fifteen_decibels_below_all_there_was(
    parts: tuple[tuple[float, float], ...], gone: bool
) -> None:
    assert has_gone(levels(*parts)) == gone


def test_gone_sound_ends_it_unless_the_load_is_on_or_it_has_only_begun() -> None:
    told = levels((7.0, -60.0), (3.0, -90.0))
    on_load = Stays((Stay(ANTENNA_BYPASS, 0.0, 7.0), Stay(LOAD_BYPASS, 7.0)))
    on_antenna = Stays((Stay(LOAD_BYPASS, 0.0, 7.0), Stay(ANTENNA_BYPASS, 7.0)))
    refuse(heard(10.0, told), on_load)  # type: ignore[arg-type]
    refuse(heard(9.0, told), on_antenna)  # type: ignore[arg-type]
    again = Stays((*on_load.each, Stay(ANTENNA_BYPASS, 8.0)))
    for stays in (on_antenna, again, NO_STAYS):
        with pytest.raises(UserFacingError, match="see to the cable"):
            refuse(heard(9.1, told), stays)  # type: ignore[arg-type]


def test_a_ten_thousandth_of_clipping_is_warned_of() -> None:
    assert "Peaks clip" in warning(heard(10.0, clipped_s=0.0011))  # type: ignore[arg-type]
    assert warning(heard(10.0, clipped_s=0.0009)) == ""  # type: ignore[arg-type]
    assert warning(heard(0.0)) == ""  # type: ignore[arg-type]


def over(inside: np.ndarray, power: np.ndarray, seconds: float = 4.0) -> float | None:
    one = Spectrum(0.0, 31.25, power.astype(np.float32), None, 9, 62.5)
    return over_card_db(SimpleNamespace(spectrum=lambda: one, pass_band=inside, seconds=seconds))  # type: ignore[arg-type]


def test_noise_over_the_cards_is_seen_beyond_the_filter_from_the_twelfth_bin_on() -> None:
    """Lower quartiles of both: a line in either does not count. The filter falls off over eleven bins."""
    place = np.arange(100)
    inside = (place >= 10) & (place < 60)
    power = np.where(place < 71, 1e-4, 1e-6)
    power[[20, 90]] = 1.0
    assert over(inside, power) == pytest.approx(20.0, abs=1e-3)
    assert over(inside, power, 3.9) is None
    assert over(inside, np.ones(100)) is None  # the filter does not show
    assert over(inside & False, power) is None
    assert over(inside[:87], power[:87]) == pytest.approx(20.0, abs=1e-3)  # sixteen bins beyond
    assert over(inside[:86], power[:86]) is None
    sloping = np.where(inside, np.linspace(1.0, 4.0, 100), 1e-3)
    quartile = np.quantile(sloping[inside], 0.25)
    assert over(inside, sloping) == pytest.approx(10 * np.log10(quartile / 1e-3), abs=1e-3)
    nothing = SimpleNamespace(spectrum=lambda: None, pass_band=inside, seconds=9.0)
    assert over_card_db(nothing) is None  # type: ignore[arg-type]


def test_steps_are_taken_within_seven_tenths_of_a_second_of_each_change() -> None:
    """Up by 4 dB with the stage in and down by 5; a spell further away does not count."""
    told = levels((1.0, -90.0), (4.0, -60.0), (5.0, -56.0), (4.0, -61.0), (1.0, -20.0))
    stays = [Stay(ANTENNA_BYPASS, 0.0, 4.9), Stay(ANTENNA_STAGE, 5.0, 10.0), Stay(ANTENNA_BYPASS, 10.0, 14.0)]
    assert steps_db(stays, told) == pytest.approx([4.0, 5.0])
    assert steps_db(stays[::-1][:1], told) == []
    with_load = [stays[0], Stay(LOAD_BYPASS, 5.0, 10.0), stays[2]]
    assert steps_db(with_load, told) == []
    same = [stays[0], Stay(ANTENNA_BYPASS, 5.0, 10.0)]
    assert steps_db(same, told) == []


def test_what_lies_a_second_beside_a_change_is_no_part_of_its_step() -> None:
    told = levels((4.3, -90.0), (0.7, -60.0), (0.7, -56.0), (4.3, -20.0))
    stays = [Stay(ANTENNA_BYPASS, 0.0, 5.0), Stay(ANTENNA_STAGE, 5.0, 10.0)]
    assert steps_db(stays, told) == pytest.approx([4.0])


@pytest.mark.parametrize(("stays_s", "counts"), [(0.4, True), (0.3, False)])
def test_a_step_needs_four_levels_on_both_sides(stays_s: float, counts: bool) -> None:
    told = levels((5.0, -60.0), (5.0, -56.0))
    short = [Stay(ANTENNA_BYPASS, 5.0 - stays_s - 0.01, 5.0), Stay(ANTENNA_STAGE, 5.0, 9.0)]
    assert bool(steps_db(short, told)) == counts
    late = [Stay(ANTENNA_BYPASS, 0.0, 5.0), Stay(ANTENNA_STAGE, 5.0, 5.01 + stays_s)]
    assert bool(steps_db(late, told)) == counts


def test_nothing_is_claimed_where_a_reason_is_missing_and_no_flag_tells_it() -> None:
    missing = Untold("the carrier left midway", "choose one that stays")
    enough(NOTHING, None)
    for flag in ("overload", "in-step", "occupied", "birdie"):
        enough(replace(NOTHING, flags=("other", flag)), missing)
    for result in (None, replace(NOTHING, flags=("other",))):
        with pytest.raises(
            UserFacingError, match=r"Nothing is claimed: the carrier left midway; choose one that stays\."
        ):
            enough(result, missing)
