"""What was heard, by blocks written down: where spectra lie in time, which path they are of, what is counted."""

import numpy as np
import pytest

from drivers.contracts import Block
from sweeper.attended.heard import Heard
from sweeper.attended.stays import Stay
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS

RATE_HZ, BLOCK = 8000.0, 1200
LEVEL_S = 0.064
"""Four segments that begin 128 samples apart."""


def block(samples: np.ndarray, at_s: float, loose_s: float = 0.0, **more: object) -> Block:
    captured = at_s - loose_s, at_s + len(samples) / RATE_HZ + loose_s
    return Block(samples, RATE_HZ, captured, **more)  # type: ignore[arg-type]


def listening(seconds: float, louder_from_s: float = np.inf, start_s: float = 50.0, **more: float) -> Heard:
    """Noise from 0 to 4 kHz, four times its power from an instant on."""
    heard = Heard()
    count = round(seconds * RATE_HZ)
    noise = np.random.default_rng(1).standard_normal(count) * 0.01
    noise[np.arange(count) / RATE_HZ >= louder_from_s - start_s] *= 2.0
    for first in range(0, count, BLOCK):
        heard.take(block(noise[first : first + BLOCK].astype(np.float32), start_s + first / RATE_HZ, **more))
    return heard


def test_levels_asked_for_on_the_way_are_those_of_the_whole() -> None:
    """Also across the moment from which the pass band is known."""
    on_the_way, whole = Heard(), listening(6.0)
    noise = np.random.default_rng(1).standard_normal(round(6.0 * RATE_HZ)) * 0.01
    for first in range(0, len(noise), BLOCK):
        on_the_way.take(block(noise[first : first + BLOCK].astype(np.float32), 50.0 + first / RATE_HZ))
        on_the_way.levels()
    for name in ("floor_db", "total_db"):
        np.testing.assert_array_equal(getattr(on_the_way.levels(), name), getattr(whole.levels(), name))


def test_spectra_lie_where_their_samples_were_captured() -> None:
    """Level n takes samples 512·n to 512·n + 640, pairs of them a spectrum; 0.85 s at both ends of a stay."""
    heard = listening(10.0)
    stay = Stay(ANTENNA_STAGE, 51.0, 56.0)
    found = heard.labelled([stay])
    assert {one.path for one in found} == {ANTENNA_STAGE} and {one.tuning for one in found} == {None}
    for one in found:
        nth = (one.time - 50.0) / LEVEL_S
        assert nth == pytest.approx(round(nth), abs=1e-6)
        assert one.until - one.time == pytest.approx((512 + 640) / RATE_HZ)
        assert one.time >= 51.0 and one.until <= 56.0
        assert one.until <= 51.0 + LEVEL_S + 0.85 or one.time >= 56.0 - LEVEL_S - 0.08 - 0.85
        assert one.spectrum.segments == 8
    assert len(found) == 12
    starts = sorted(one.time for one in found)
    assert starts[0] == pytest.approx(50.0 + 16 * LEVEL_S) and np.diff(starts).min() > 0.127


def test_a_stay_shorter_than_both_ends_is_taken_whole_and_none_without_a_spectrum() -> None:
    heard = listening(10.0)
    short = heard.labelled([Stay(ANTENNA_BYPASS, 51.0, 52.0)])
    assert len(short) == 7
    assert heard.labelled([Stay(ANTENNA_BYPASS, 51.0, 51.1)]) == []
    assert heard.labelled([Stay(ANTENNA_BYPASS, 70.0, 80.0)]) == []
    two = heard.labelled([Stay(ANTENNA_BYPASS, 51.0, 52.0), Stay(ANTENNA_STAGE, 52.0, 53.0)])
    assert [one.path for one in two] == [ANTENNA_BYPASS] * 7 + [ANTENNA_STAGE] * 7


def test_loose_bounds_of_capture_leave_out_what_may_reach_over_a_change() -> None:
    """Samples that may have been captured 0.3 s earlier or later stay so far inside."""
    heard = listening(10.0, loose_s=0.3)
    found = heard.labelled([Stay(ANTENNA_BYPASS, 51.0, 56.0)])
    assert found and min(one.time for one in found) >= 51.0 and max(one.until for one in found) <= 56.0
    tight = listening(10.0).labelled([Stay(ANTENNA_BYPASS, 51.0, 56.0)])
    assert len(found) < len(tight)


def test_levels_and_shown_spectra_follow_the_power() -> None:
    heard = listening(12.0, louder_from_s=56.0)
    assert heard.knows_pass_band
    levels = heard.levels()
    assert (levels.start_s, levels.every_s) == (pytest.approx(50.0 + 0.04 - 0.032), LEVEL_S)
    before, after = levels.between(51.0, 55.0), levels.between(57.0, 61.0)
    assert np.median(after.floor_db) - np.median(before.floor_db) == pytest.approx(6.02, abs=0.3)
    assert np.mean(after.total_db) - np.mean(before.total_db) == pytest.approx(6.02, abs=0.2)
    stays = [Stay(ANTENNA_BYPASS, 50.0, 56.0), Stay(ANTENNA_STAGE, 56.1, 62.0)]
    out, within = heard.shown(stays, ANTENNA_BYPASS), heard.shown(stays, ANTENNA_STAGE)
    assert out is not None and within is not None
    assert within.power.mean() / out.power.mean() == pytest.approx(4.0, rel=0.05)
    assert (out.hz[0], out.hz[1] - out.hz[0]) == (125.0, 31.25)
    every, last = heard.shown(stays, None), heard.shown(stays, None, 5.0)
    assert every is not None and last is not None
    assert every.power.mean() / out.power.mean() == pytest.approx(2.5, rel=0.05)
    assert last.power.mean() / out.power.mean() == pytest.approx(4.0, rel=0.05)
    assert heard.shown(stays, LOAD_BYPASS) is None and heard.shown(stays, ANTENNA_BYPASS, 5.0) is None
    whole = heard.spectrum()
    assert whole is not None and whole.mean.mean() == pytest.approx(every.power.mean(), rel=1e-3)
    assert whole.segments == 4 * len(levels.floor_db)


def test_the_pass_band_is_known_after_two_seconds() -> None:
    assert not listening(1.9).knows_pass_band and listening(2.3).knows_pass_band
    assert listening(1.9).pass_band.all()
    silent = Heard()
    for at in range(30):
        silent.take(block(np.zeros(BLOCK, np.float32), at * 0.15))
    assert silent.pass_band.all() and silent.knows_pass_band


def test_what_the_receivers_filter_lets_through_is_the_pass_band_and_levels_are_of_it() -> None:
    """Noise of 1e-4 in each bin from 300 to 2700 Hz, and a thousandth of it beside: the floor is that of the former."""
    count = round(6.0 * RATE_HZ)
    lines = np.fft.rfft(np.random.default_rng(2).standard_normal(count))
    hz = np.fft.rfftfreq(count, 1 / RATE_HZ)
    noise = np.fft.irfft(lines * np.where((hz > 300.0) & (hz < 2700.0), 0.01, 0.01 / 1000**0.5), count)
    heard = Heard()
    for first in range(0, count, BLOCK):
        heard.take(block(noise[first : first + BLOCK].astype(np.float32), first / RATE_HZ))
    shown = heard.shown([], None)
    assert shown is not None
    inside = shown.hz[heard.pass_band]
    assert (
        inside.min() > 300.0 and inside.max() < 2700.0 and len(inside) > 0.85 * 2400.0 / 31.25
    )  # less its ends
    mean_db = 10 * np.log10(shown.power[(shown.hz > 400.0) & (shown.hz < 2600.0)].mean())
    assert np.median(heard.levels().floor_db) == pytest.approx(
        mean_db, abs=2.5
    )  # a lower quartile lies below a mean


def test_seconds_of_silence_and_clipping_are_counted() -> None:
    heard = Heard()
    for at, (samples, clipped) in enumerate(
        ((np.ones(800), 0.25), (np.zeros(1600), 0.0), (np.zeros(0), 0.0))
    ):
        heard.take(block(samples.astype(np.float32), 0.1 * at, clipped=clipped))
    assert (heard.seconds, heard.silent_s, heard.clipped_s) == pytest.approx((0.3, 0.2, 0.025))
    assert heard.until_s == pytest.approx(0.2)
    assert Heard().spectrum() is None and Heard().shown([], None) is None
    assert len(Heard().levels().floor_db) == 0


def test_a_block_with_a_zero_in_it_is_no_silence_and_one_too_short_for_a_spectrum_shows_none() -> None:
    heard = Heard()
    heard.take(block(np.array([0.0, 1.0, -1.0, 0.0], np.float32), 0.0))
    assert (heard.silent_s, heard.spectrum(), heard.shown([], None)) == (0.0, None, None)
    assert heard.seconds == pytest.approx(4 / RATE_HZ)


def test_what_is_there_for_two_thirds_of_the_time_is_no_part_of_the_pass_band() -> None:
    """Noise from 300 to 2000 Hz all the time, and a signal from 2500 to 3500 Hz that comes and goes."""
    count = round(6.0 * RATE_HZ)
    hz = np.fft.rfftfreq(count, 1 / RATE_HZ)
    steady, comes = (
        np.fft.irfft(np.fft.rfft(np.random.default_rng(seed).standard_normal(count)) * inside, count)
        for seed, inside in ((4, (hz > 300.0) & (hz < 2000.0)), (5, (hz > 2500.0) & (hz < 3500.0)))
    )
    sound = (
        steady
        + comes * (np.arange(count) // 2000 % 3 < 2)
        + 1e-4 * np.random.default_rng(6).standard_normal(count)
    )
    heard = Heard()
    for first in range(0, count, BLOCK):
        heard.take(block(sound[first : first + BLOCK].astype(np.float32), first / RATE_HZ))
    shown = heard.shown([], None)
    assert shown is not None and heard.knows_pass_band
    assert shown.hz[heard.pass_band].max() < 2100.0


def test_clipped_spectra_say_so() -> None:
    heard = Heard()
    for at in range(20):
        noise = np.random.default_rng(at).standard_normal(BLOCK).astype(np.float32)
        heard.take(block(noise, 0.15 * at, clipped=0.01 if at > 12 else 0.0))
    found = heard.labelled([Stay(ANTENNA_BYPASS, 0.0, 3.0)])
    assert ["clipped" in one.spectrum.quality for one in found] == [
        one.until > 13 * 0.15 + 1e-6 for one in found
    ]


def test_a_source_that_changes_its_rate_or_kind_is_refused() -> None:
    for other in (
        Block(np.zeros(99, np.float32), 8001.0, (0.0, 0.1)),
        block(np.zeros(99, np.complex64), 0.0),
    ):
        heard = listening(1.0)
        with pytest.raises(ValueError, match="changed its rate"):
            heard.take(other)


@pytest.mark.parametrize(
    ("dial_hz", "mode", "start_hz", "tone_hz"),
    [(None, None, 125.0, 1000.0), (None, "LSB", 125.0, 1000.0), (7e6, "USB", 7e6 + 125.0, 7_001_000.0),
     (7e6, "lsb", 7e6 - 3656.25, 6_999_000.0), (7e6, None, 7e6 + 125.0, 7_001_000.0)],
)  # fmt: skip
def test_radio_frequencies_are_made_of_audio_where_the_dial_is_known(
    dial_hz: float | None, mode: str | None, start_hz: float, tone_hz: float
) -> None:
    """From 100 Hz to 0.46 of the rate; the lower side band counts down from the dial."""
    heard = Heard(dial_hz, mode)
    heard.take(block(np.cos(2 * np.pi * 1000.0 * np.arange(8000) / RATE_HZ).astype(np.float32), 0.0))
    shown = heard.shown([], None)
    assert shown is not None and shown.hz[0] == start_hz
    assert shown.hz[np.argmax(shown.power)] == tone_hz


def test_samples_of_a_band_are_kept_to_47_hundredths_of_their_rate() -> None:
    heard = Heard(7e6)
    heard.take(block(np.exp(2j * np.pi * 1000.0 * np.arange(8000) / RATE_HZ).astype(np.complex64), 0.0))
    shown = heard.shown([], None)
    assert shown is not None and (shown.hz[0], shown.hz[-1]) == (7e6 - 3750.0, 7e6 + 3750.0)
    assert shown.hz[np.argmax(shown.power)] == 7_001_000.0
