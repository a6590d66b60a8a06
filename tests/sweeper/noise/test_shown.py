"""Where a source stands in the spectrum of a tuning: in the pass that shows it best, of those with spectra kept."""

from dataclasses import replace

import pytest

from sweeper.noise.seen import Found, Heard
from sweeper.noise.shown import shown, stood_out
from sweeper.noise.sources import Source


def comb(
    number: int, over_db: float, start_hz: float = 7e6, first_hz: float = 7.012e6
) -> tuple[Heard, Found]:
    found = Found(
        "comb", start_hz, start_hz + 2e5, 0.02, 0.002, -60.0, 65_000.0, 1.0, 3, over_db, first_hz=first_hz
    )
    heard = Heard(1.7e9 + number, number, "40 m", start_hz, start_hz + 2e5, -40.0, 0.3, 0.01, True, (found,))
    return heard, found


SOURCE = Source("comb", [comb(1, 9.0), comb(2, 14.0), comb(3, 12.0), comb(4, 30.0, start_hz=7.3e6)])


@pytest.mark.parametrize(("kept", "number"), [(None, 2), ({1, 3}, 3), ({4}, None), (set[int](), None)])
def test_it_is_shown_by_the_pass_in_which_it_stood_out_most(
    kept: set[int] | None, number: int | None
) -> None:
    """The fourth is of another tuning."""
    best = stood_out(SOURCE, "40 m", 7e6, 7.2e6, kept)
    assert (best and best[0].pass_number) == number
    assert stood_out(SOURCE, "30 m", 7e6, 7.2e6) is None


def test_lines_of_a_comb_stand_at_its_spacing_from_the_lowest_to_the_end_of_the_tuning() -> None:
    told = shown("comb every 65 kHz", 7e6, *comb(1, 9.0))
    assert told.lines_hz == (7_012_000.0, 7_077_000.0, 7_142_000.0)
    assert (told.low_hz, told.high_hz) == (7_012_000.0, 7_142_000.0)


def test_a_comb_of_a_pass_that_kept_no_place_of_it_is_not_shown() -> None:
    assert stood_out(Source("comb", [comb(1, 9.0, first_hz=0.0)]), "40 m", 7e6, 7.2e6) is None


@pytest.mark.parametrize("strange", [{"first_hz": 6.9e6}, {"first_hz": 7.2e6}, {"every_hz": 1e-3}])
def test_a_comb_with_lines_that_no_tuning_holds_is_not_shown(strange: dict[str, float]) -> None:
    heard, found = comb(1, 9.0)
    assert stood_out(Source("comb", [(heard, replace(found, **strange))]), "40 m", 7e6, 7.2e6) is None


def test_what_is_kept_of_a_line_or_hump_beyond_the_tuning_is_drawn_to_its_edge() -> None:
    heard, found = comb(1, 9.0)
    assert shown("comb", 7e6, heard, replace(found, high_hz=1e12)).high_hz == 7_142_000.0
    hump = shown("hump", 7e6, heard, Found("hump", -1e12, 7.1e6, 0.1, 0.01, -50.0))
    assert (hump.low_hz, hump.high_hz) == (7e6, 7.1e6)


def test_a_hump_is_shown_by_its_edges_and_noise_of_the_mains_has_none() -> None:
    heard, _ = comb(1, 9.0)
    hump = Found("hump", 7.05e6, 7.1e6, 0.1, 0.01, -50.0, over_db=4.0)
    told = shown(
        "hump", 7e6, *(stood_out(Source("hump", [(heard, hump)]), "40 m", 7e6, 7.2e6) or (heard, hump))
    )
    assert (told.low_hz, told.high_hz, told.lines_hz) == (7.05e6, 7.1e6, ())
    mains = Found("mains", 7e6, 7.2e6, 0.2, 0.01, -50.0, 50.0)
    assert stood_out(Source("mains", [(heard, mains)]), "40 m", 7e6, 7.2e6) is None


@pytest.mark.parametrize(("off_hz", "same"), [(49_000.0, True), (51_000.0, False)])
def test_what_is_heard_within_a_quarter_of_its_width_is_of_the_same_tuning(off_hz: float, same: bool) -> None:
    for sign in (1.0, -1.0):
        beside = comb(1, 9.0, start_hz=7e6 + sign * off_hz, first_hz=7.06e6)
        assert (stood_out(Source("comb", [beside]), "40 m", 7e6, 7.2e6) is not None) == same


@pytest.mark.parametrize(("every_hz", "told"), [(400.0, False), (401.0, True)])
def test_a_comb_of_five_hundred_lines_in_a_tuning_is_none(every_hz: float, told: bool) -> None:
    heard, found = comb(1, 9.0, first_hz=7e6)  # its first may stand at the tuning's very edge
    close = replace(found, every_hz=every_hz)
    assert (stood_out(Source("comb", [(heard, close)]), "40 m", 7e6, 7.2e6) is not None) == told


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "told"),
    [(6.9e6, 7e6, False), (6.9e6, 7.001e6, True), (7.2e6, 7.3e6, False), (7.199e6, 7.3e6, True)],
)
def test_a_hump_is_shown_where_some_of_it_lies_in_the_tuning(
    low_hz: float, high_hz: float, told: bool
) -> None:
    heard, _ = comb(1, 9.0)
    hump = Found("hump", low_hz, high_hz, 0.1, 0.01, -50.0, over_db=4.0)
    assert (stood_out(Source("hump", [(heard, hump)]), "40 m", 7e6, 7.2e6) is not None) == told
    assert shown("hump", 7e6, heard, hump, (-90.0, None)).levels_db == (-90.0, None)
    assert shown("comb", 7e6, *comb(1, 9.0), (-90.0, None)).levels_db == (-90.0, None)
