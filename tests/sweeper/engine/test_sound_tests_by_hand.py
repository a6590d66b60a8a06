"""What a pass shows of its sound, by levels written down: from where on each fault is told, and what it says."""

from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
import pytest

from sweeper.engine.sound_tests import Sounded, of_its_meter, of_tuning, over_card_db, troubles
from sweeper.spectra.noise_bins import NoiseBins
from sweeper.spectra.rows import Learned
from sweeper.words import (
    ANTENNA_BYPASS,
    ANTENNA_STAGE,
    LOAD_BYPASS,
    LOAD_STAGE,
    Channel,
    Labelled,
    Reading,
    SignalPath,
    Spectrum,
    Visit,
)

NOISE = Channel("40 m", 7_190_000, "noise", 2400)
CARRIER = Channel("40 m", 7_205_000, "carrier", 2400)
OUT, WITHIN, LOAD_OUT, LOAD_WITHIN = PATHS = (ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE)
BINS, LINE = 81, 40
KEEP = np.arange(BINS) != LINE
Heard = dict[Channel, list[Labelled]]


def learned(card: float = 0.0) -> Learned:
    """All bins usable, all but that of the line kept, a level pass band."""
    return Learned(1, NoiseBins(KEEP, np.ones(BINS, np.bool_), np.ones(BINS), 50.0), (), (), card)


def heard(path: SignalPath, noise: float | np.ndarray, line: float = 0.0, segments: int = 10_000) -> Labelled:
    mean = np.full(BINS, 1.0) * noise
    mean[LINE] += line
    return Labelled(0.0, 1.0, path, 7.2e6, Spectrum(0.0, 31.25, mean, None, segments, frozenset()))  # type: ignore[arg-type]


def said(
    heard: Heard, readings: Sequence[Reading] = (), sounded: Sequence[Sounded] = (), card: float = 0.0
) -> str:
    return "; ".join(troubles(sounded, heard, {channel: learned(card) for channel in heard}, readings))


def sounds(*each: tuple[SignalPath, float, float, float]) -> list[Sounded]:
    return [Sounded(Visit(NOISE, path), peak, offset, rms) for path, peak, offset, rms in each]


@pytest.mark.parametrize(("peak_db", "told"), [(-2.9, True), (-3.1, False)])
def test_the_loudest_visit_tells_of_a_level_that_comes_near_full_scale(peak_db: float, told: bool) -> None:
    each = sounds((OUT, 0.1, 0.0, 0.1), (WITHIN, 10 ** (peak_db / 20), 0.0, 0.1), (OUT, 0.2, 0.0, 0.1))
    expected = (
        f"the sound's level (peaks reach {peak_db:.1f} dB of full scale on 40 m, antenna-stage: turn it down)"
    )
    assert said({}, sounded=each) == (expected if told else "")
    assert each[1].peak_db == pytest.approx(peak_db)
    assert sounds((OUT, 0.0, 0.0, 0.0))[0].peak_db == pytest.approx(-120.0)  # silence has a number


@pytest.mark.parametrize(
    ("over_db", "words"),
    [(9.4, "stands 9 dB over the sound card's own"), (10.1, ""), (-2.0, "stands 0 dB over")],
)
def test_the_quietest_noise_stands_ten_decibels_over_the_card(over_db: float, words: str) -> None:
    quiet = heard(LOAD_BYPASS, 10 ** (over_db / 10))
    pieces = {NOISE: [heard(OUT, 1000.0), quiet, heard(LOAD_WITHIN, 1e-3), heard(LOAD_BYPASS, 2000.0)]}
    assert words in said(pieces, card=1.0) and bool(words) == bool(said(pieces, card=1.0))
    assert over_card_db(pieces, {NOISE: learned(1.0)}) == pytest.approx(over_db)


def test_without_a_load_the_antenna_with_the_stage_out_is_the_quietest() -> None:
    pieces = {NOISE: [heard(OUT, 100.0), heard(WITHIN, 1.0)]}
    assert over_card_db(pieces, {NOISE: learned(1.0)}) == pytest.approx(20.0)
    assert over_card_db(pieces, {NOISE: learned(0.0)}) is None and over_card_db({}, {}) is None
    two = pieces | {CARRIER: [heard(OUT, 30.0)]}
    both = {NOISE: learned(1.0), CARRIER: learned(2.0)}
    assert over_card_db(two, both) == pytest.approx(10 * np.log10(15.0))


@pytest.mark.parametrize(
    ("jump", "rms", "other", "told"),
    [(0.0021, (0.0100, 0.9), WITHIN, True), (-0.0021, (0.9, 0.0100), WITHIN, True),
     (0.0019, (0.001, 0.001), WITHIN, False), (0.0021, (0.0110, 0.9), WITHIN, False), (0.5, (0.01, 0.01), OUT, False)],
)  # fmt: skip
def test_a_zero_that_jumps_with_the_relays_by_two_thousandths_and_a_fifth_of_the_sound_is_told(
    jump: float, rms: tuple[float, float], other: SignalPath, told: bool
) -> None:
    """0.0021 is more than a fifth of 0.0100 and less than one of 0.0110: of the quieter of the two visits."""
    each = sounds((OUT, 0.1, 0.3, rms[0]), (other, 0.1, 0.3 + jump, rms[1]))
    words = said({}, sounded=each)
    assert bool(words) == told
    if told:
        assert "the sound's zero (it jumps by 0.002 of full scale with the relays" in words
        more = said({}, sounded=[*each, *sounds((LOAD_OUT, 0.1, 0.9, rms[0]))])
        assert f"it jumps by {0.6 - jump:.3f} of full scale" in more


def tilted(step_db: float) -> np.ndarray:
    """Half of the bins lifted by half of that, half lowered."""
    return 10 ** (np.where(np.arange(BINS) < LINE, 0.5, -0.5) * step_db / 10)


@pytest.mark.parametrize(
    ("step_db", "segments", "told"),
    [(3.2, 10_000, True), (3.1, 10_000, False), (-3.2, 10_000, True), (3.2, 53, True), (3.2, 51, False)],
)
def test_a_filter_whose_shape_changes_by_one_and_a_half_decibels_rms_is_named(
    step_db: float, segments: int, told: bool
) -> None:
    """Smoothed over a tenth of 80 bins, a step has 0.952 of half its height, 1.52 or 1.48 dB: 62 places whole, nine on
    the way, at 0.8, 0.6, 0.4 and 0.2 twice. Four standard errors of 51 segments are 4 · 4.34 · √(4/510) = 1.54 dB, of
    53 they are 1.51."""
    for path in (OUT, WITHIN):
        for few in ((segments, 9999), (9999, segments)):
            pair = [heard(path, 1.0, segments=few[0]), heard(path, 3.0 * tilted(step_db), segments=few[1])]
            words = said({NOISE: pair, CARRIER: pair})
            assert words.count("its shape changed within the pass on 40 m") == int(told)


def test_a_filter_is_told_by_the_first_and_the_last_visit_through_one_path_of_the_antenna() -> None:
    bent = tilted(9.0)
    assert said({NOISE: [heard(OUT, bent)]}) == ""
    assert said({NOISE: [heard(OUT, 1.0), heard(WITHIN, bent)]}) == ""
    assert said({NOISE: [heard(LOAD_OUT, 1.0), heard(LOAD_OUT, bent)]}) == ""
    assert said({NOISE: [heard(OUT, 1.0), heard(OUT, bent), heard(OUT, 2.0)]}) == ""
    assert "filter" in said(
        {CARRIER: [heard(OUT, 1.0)], NOISE: [heard(OUT, 1.0), heard(OUT, 1.0), heard(OUT, bent)]}
    )


def row(channel: Channel, path: SignalPath, power: float, flags: str = "") -> Reading:
    when = datetime(2026, 3, 1, 20, tzinfo=UTC)
    return Reading(when, 1, channel, path, float(10 * np.log10(power)), None, flags)


def noise_rows(*powers: float, channel: Channel = NOISE) -> list[Reading]:
    """Noise by path: the antenna out and in, the load out and in."""
    return [row(channel, path, power) for path, power in zip(PATHS, powers, strict=False)]


def carrier_rows(*powers: float) -> list[Reading]:
    return [row(CARRIER, (OUT, WITHIN)[nth % 2], power) for nth, power in enumerate(powers)]


HELD = carrier_rows(1e4, 1e4, 1e4, 1e4)


@pytest.mark.parametrize(
    ("powers", "told"),
    [
        ((2.0, 1.0 + 10**0.61, 1.0, 1.0), "steps noise by 6 dB"),
        ((2.0, 1.0 + 10**0.59, 1.0, 1.0), ""),
        ((2.0, 0.1 + 10**-0.61, 1.0, 0.1), "steps noise by -6 dB"),
        ((2.0, 0.1 + 10**-0.59, 1.0, 0.1), ""),
        ((1.99, 20.0, 1.0, 1.0), ""),  # not clear of the load with the stage out
        ((2.0, 19.9, 1.0, 10.0), ""),  # nor in
        ((2.0, 20.1, 1.0, 10.0), "steps noise by 10 dB"),
        ((2.0, 20.0, 1.0), ""),  # no load with the stage in
    ],
)
def test_a_carrier_that_stands_while_noise_steps_by_six_decibels_is_held(
    powers: tuple[float, ...], told: str
) -> None:
    """The stage's step by noise: what the antenna adds to the load, in over out; both twice the load at least."""
    words = said({}, [*noise_rows(*powers), *HELD])
    assert told in words and bool(told) == bool(words)
    if told:
        assert "leaves the carrier within 0.0 dB: the gain control is on, or something clips" in words


STEP = noise_rows(2.0, 11.0, 1.0, 1.0)
"""Of 10 dB."""


@pytest.mark.parametrize(
    ("carrier", "held"),
    [
        ((1e4, 1e4, 1e4, 1e4 * 10**0.29), True),
        ((1e4, 1e4, 1e4, 1e4 * 10**0.301), False),
        ((1e4, 1e4, 1e4), False),
        ((111.0, 111.0, 111.0, 111.0), True),
        ((21.0, 111.0, 21.0, 111.0), False),  # spread by 7 dB
        ((111.0, 109.0, 111.0, 111.0), False),  # less than ten times the noise with the stage in
    ],
)
def test_a_held_carrier_is_clear_of_noise_and_within_three_decibels_in_four_stays(
    carrier: tuple[float, ...], held: bool
) -> None:
    assert ("leaves the carrier within" in said({}, [*STEP, *carrier_rows(*carrier)])) == held


def test_only_a_bands_own_rows_count_and_none_with_a_flag() -> None:
    other = Channel("31 m", 9_500_000, "carrier", 2400)
    wild = [row(other, OUT, 1e9), row(CARRIER, LOAD_OUT, 1e9), row(NOISE, WITHIN, 1e9, "clipped")]
    elsewhere = noise_rows(2.0, 2.0, 1.0, 1.0, channel=Channel("31 m", 9_500_000, "noise", 2400))
    words = said({}, [*elsewhere, *STEP, *HELD, *wild])
    assert words.startswith(
        "gain (on 40 m the stage steps noise by 10 dB and leaves the carrier within 0.0 dB"
    )
    assert words.count("gain (on") == 1
    mean = [
        row(NOISE, path, power) for path, power in ((OUT, 1.0), (OUT, 3.0), (WITHIN, 1.0), (WITHIN, 21.0))
    ]
    assert "by 10 dB" in said({}, [*mean, *STEP[2:], *HELD])


def beside(out: float, within: float, load_out: float, load_within: float, line: float = 1e5) -> Heard:
    each = zip(PATHS, (out, within, load_out, load_within), strict=True)
    return {CARRIER: [heard(path, noise, line if path.source == "antenna" else 0.0) for path, noise in each]}


@pytest.mark.parametrize(
    ("levels", "words"),
    [
        ((2.0, 11.0, 1.0, 1.0), ""),
        ((2.0, 5.4, 1.0, 1.0), "steps noise by 10 dB and by 3 dB less beside the carrier"),
        ((2.0, 5.6, 1.0, 1.0), ""),  # 11 due: 2.9 dB short
        ((0.70, 1.0, 1.0, 1.0), "noise beside the carrier sinks under that of the load"),
        ((2.0, 0.70, 1.0, 1.0), "noise beside the carrier sinks under that of the load"),
        ((0.73, 1.0, 1.0, 1.0), ""),  # what the antenna seems to take off is none of the stage's
        ((0.73, 0.73, 1.0, 1.0), ""),
    ],
)
def test_the_step_of_noise_beside_a_loud_carrier_is_that_of_the_band(
    levels: tuple[float, float, float, float], words: str
) -> None:
    """Ten times the antenna's own share over the load, within 3 dB; a load 1.4 times the antenna says that it sank."""
    found = said(beside(*levels), STEP)
    assert words in found and bool(words) == bool(found)


@pytest.mark.parametrize(("within", "told"), [(0.23, True), (0.21, False)])
def test_an_attenuators_step_is_short_where_noise_falls_by_less(within: float, told: bool) -> None:
    """A step of −10 dB makes 0.11 of it due; 0.23 are 3.2 dB more, 0.21 are 2.8."""
    attenuated = noise_rows(2.0, 0.11, 1.0, 0.01)
    assert ("by 3 dB less beside the carrier" in said(beside(2.0, within, 1.0, 0.01), attenuated)) == told


@pytest.mark.parametrize(("line", "told"), [(1470.0, True), (1450.0, False)])
def test_a_carrier_is_loud_from_ten_times_all_the_noise_on(line: float, told: bool) -> None:
    """81 bins of 2: the sum with the line has to be ten times 162."""
    assert bool(said(beside(2.0, 1.1, 1.0, 1.0, line), STEP)) == told


def test_noise_beside_a_carrier_needs_all_four_paths_and_is_their_mean() -> None:
    whole = beside(2.0, 1.1, 1.0, 1.0)[CARRIER]
    for path in PATHS:
        assert said({CARRIER: [one for one in whole if one.path != path]}, STEP) == ""
    assert said({NOISE: whole}, STEP) == ""
    assert said({CARRIER: [*whole, heard(WITHIN, 20.9, 1e5)]}, STEP) == ""


@pytest.mark.parametrize(("by_hz", "noise", "carrier"), [(0, True, True), (1, True, False), (-3000, True, False),
                                                         (3000, True, False), (3001, False, False)])  # fmt: skip
def test_rows_within_three_kilohertz_come_of_a_tuning_for_noise_and_the_very_line_of_one_for_a_carrier(
    by_hz: int, noise: bool, carrier: bool
) -> None:
    for channel, told in ((NOISE, noise), (CARRIER, carrier)):
        moved = Channel("40 m", channel.hz + by_hz, channel.purpose, 300)
        assert of_tuning(moved, channel) == told
        assert not of_tuning(Channel("31 m", channel.hz, channel.purpose, 300), channel)
    assert not of_tuning(Channel("40 m", CARRIER.hz, "noise", 300), CARRIER)


def test_of_several_tunings_the_middle_step_is_held_against_the_meters() -> None:
    """Steps of sound 10, 2 and 10, of the meter 2, 10 and 2 dB: 10 beside 2; a tuning that the meter did not see in
    both routes says nothing."""
    shown, rows = {}, []
    for nth, (sound, meter) in enumerate([(10.0, 2.0), (2.0, 10.0), (10.0, 2.0), (-30.0, None)]):
        channel = Channel("40 m", 7_200_000 + 10_000 * nth, "carrier", 2400)
        shown[channel, "antenna-bypass"] = (-3.0, 3.0)
        if meter is not None:
            shown[channel, "antenna-stage"] = (meter,)
        rows += [row(channel, OUT, 1.0), row(channel, WITHIN, 10 ** (sound / 10))]
    assert of_its_meter(shown, rows, 3.0) == (
        "gain (with the stage its own meter moves by +2 dB, its sound by +10 dB)",
    )


@pytest.mark.parametrize(
    ("by_meter", "sound", "told"),
    [(1.5, 1e-9, True), (1.4375, 1e-9, False), (3.0, 1.0, True), (2.9375, 1.0, False)],
)
def test_from_half_and_from_all_of_what_is_clearly_apart_on_the_meter_says_otherwise(
    by_meter: float, sound: float, told: bool
) -> None:
    """Three decibels are apart; the sound falls by 90, or stays as it is."""
    shown = {(CARRIER, "antenna-bypass"): (0.0,), (CARRIER, "antenna-stage"): (by_meter,)}
    rows = [row(CARRIER, OUT, 1.0), row(CARRIER, WITHIN, sound)]
    assert bool(of_its_meter(shown, rows, 3.0)) == told
