"""A pass by sound, on a source in memory: which seconds a visit's spectra belong to, and what is told of each."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from statistics import fmean

import numpy as np
import pytest

from drivers.contracts import Block
from drivers.errors import BadReply
from sweeper.clock import JumpingClock
from sweeper.engine.by_sound import Listening, SoundSettings
from sweeper.words import Channel, SignalPath, Visit
from tests.sweeper.engine.bench import a_clock

RATE_HZ = 12_000
NOISE, CARRIER = Channel("40 m", 7_100_000, "noise", 2400), Channel("31 m", 9_600_000, "carrier", 2400)
SETTINGS = SoundSettings(2.0, 0.25, 1000, 3000.0, gain_held=True)
PATHS = ("antenna-bypass", "antenna-stage", "load-bypass", "antenna-stage", "antenna-bypass")
GAIN_DB = {"antenna-bypass": 0.0, "antenna-stage": 10.0, "load-bypass": -4.0}


@dataclass
class Played:
    """White noise from 300 to 2700 Hz beside a card's own, with a tone at 1 kHz; the path says how loud."""

    clock: JumpingClock
    path: str = PATHS[0]
    tone: float = 0.02
    more: Mapping[str, object] = field(default_factory=dict)
    moving: tuple[str, ...] = ()
    asked: list[tuple[float, float]] = field(default_factory=list)

    def take(self, seconds: float, after_s: float) -> Block:
        self.asked.append((seconds, after_s - self.clock.monotonic()))
        self.clock.sleep(after_s - self.clock.monotonic())
        began_s, count = self.clock.monotonic(), round(seconds * RATE_HZ)
        dice = np.random.default_rng(len(self.asked))
        lines, hz = np.fft.rfft(dice.standard_normal(count)), np.fft.rfftfreq(count, 1 / RATE_HZ)
        noise = np.fft.irfft(np.where((hz > 300.0) & (hz < 2700.0), lines, 0), count)
        tone = self.tone * np.sin(2 * np.pi * 1000.0 * np.arange(count) / RATE_HZ)
        samples = 10 ** (GAIN_DB[self.path] / 20) * (0.01 * noise + tone) + 1e-5 * dice.standard_normal(count)
        self.clock.sleep(seconds)
        told = Block(samples.astype(np.float32), float(RATE_HZ), (began_s, self.clock.monotonic()), (0,))
        return replace(told, **self.more)  # type: ignore[arg-type]

    def unknown(self) -> tuple[str, ...]:
        return self.moving

    def close(self) -> None:
        pass


def heard(
    settings: SoundSettings = SETTINGS, channel: Channel = NOISE, paths: tuple[str, ...] = PATHS,
    source: Played | None = None, listening: Listening | None = None,
) -> Listening:  # fmt: skip
    source = source or Played(a_clock())
    listening = listening or Listening(source, settings, source.clock)
    for path in paths:
        source.path = path
        listening.hear(Visit(channel, SignalPath.parse(path)))
    return listening


def test_a_visit_is_captured_after_the_sounds_delay_and_its_spectrum_has_the_seconds_of_its_capture() -> None:
    source = Played(a_clock())
    began_s = source.clock.now().timestamp()
    (one,) = heard(source=source, paths=PATHS[:1]).heard[NOISE]
    assert source.asked == [(2.0, pytest.approx(0.25))]
    assert (one.time - began_s, one.until - began_s) == pytest.approx((0.25, 2.25))
    assert one.tuning == 7_099_000
    assert one.spectrum.step_hz == pytest.approx(31.25)
    # up to 0.45 of the rate, and the radio frequency of 0 Hz of the sound is that of the dial
    assert one.spectrum.start_hz == pytest.approx(7_099_000, abs=16)
    assert one.spectrum.start_hz + one.spectrum.step_hz * len(one.spectrum.mean) == pytest.approx(
        7_104_400, abs=32
    )
    assert "gap" not in one.spectrum.quality


def test_a_fast_sound_is_looked_at_up_to_six_kilohertz() -> None:
    source = Played(a_clock(), more={"rate_hz": 48_000.0})
    (one,) = heard(source=source, paths=PATHS[:1]).heard[NOISE]
    assert one.spectrum.start_hz + one.spectrum.step_hz * len(one.spectrum.mean) == pytest.approx(
        7_105_000, abs=32
    )


def test_in_the_lower_side_band_radio_frequency_falls_as_the_tone_rises() -> None:
    settings = replace(SETTINGS, mode="LSB")
    (one,) = heard(settings, paths=PATHS[:1]).heard[NOISE]
    loudest_hz = one.spectrum.start_hz + one.spectrum.step_hz * np.argmax(one.spectrum.mean)
    assert one.tuning == 7_101_000 and loudest_hz == pytest.approx(NOISE.hz, abs=32)


def test_pieces_of_a_visit_lie_one_after_another_within_its_own_seconds() -> None:
    source = Played(a_clock())
    began_s = source.clock.now().timestamp()
    pieces = heard(replace(SETTINGS, gain_held=False), CARRIER, PATHS[:2], source).heard[CARRIER]
    first, second = ([one for one in pieces if str(one.path) == path] for path in PATHS[:2])
    for visit, at_s in ((first, began_s + 0.25), (second, began_s + 2.5)):
        assert visit[0].time == pytest.approx(at_s, abs=0.001)
        assert at_s + 1.6 < visit[-1].until <= at_s + 2.0 + 1e-6
        assert all(one.until - one.time == pytest.approx(0.25, abs=0.04) for one in visit)
        assert [one.time for one in visit] == sorted({one.time for one in visit}) and len(visit) >= 6


@pytest.mark.parametrize(
    ("held", "vouched", "unknown", "by_ratio"),
    [(True, False, (), False), (True, False, ("AGC",), True), (True, True, ("AGC",), False),
     (False, True, (), True), (False, False, (), True), (True, False, ("noise blanker",), False)],
)  # fmt: skip
def test_levels_need_a_gain_that_is_known_to_be_held(
    held: bool, vouched: bool, unknown: tuple[str, ...], by_ratio: bool
) -> None:
    source = Played(a_clock(), moving=("Mic Boost",))
    listening = Listening(source, replace(SETTINGS, gain_held=held, vouched=vouched), source.clock)
    assert listening.by_ratio == (not held)
    assert listening.allowed(unknown) == ("Mic Boost",)
    assert listening.by_ratio == by_ratio
    told = " ".join(listening.troubles(()))
    assert ("agc_off: true" in told) == by_ratio


def test_rows_come_in_the_order_of_time_and_show_what_the_stage_does() -> None:
    source = Played(a_clock())
    listening = Listening(source, SETTINGS, source.clock)
    for path in PATHS:
        for channel in (NOISE, CARRIER):
            heard(channel=channel, paths=(path,), source=source, listening=listening)
    found = listening.readings(7)
    assert [row.time for row in found] == sorted(row.time for row in found)
    assert {row.pass_number for row in found} == {7}
    for channel in (NOISE, CARRIER):
        means = [
            fmean(row.reading for row in found if row.channel.band == channel.band and str(row.path) == path
                  and row.channel.purpose == channel.purpose)
            for path in ("antenna-bypass", "antenna-stage")
        ]  # fmt: skip
        assert means[1] - means[0] == pytest.approx(10.0, abs=0.3)
    assert [band for band, _ in listening.spectra()] == ["40 m", "31 m"] * 5
    times = [one.time for _, one in listening.spectra()]
    assert times == sorted(times)


def test_the_envelope_is_kept_with_the_stage_out_alone() -> None:
    spectra = heard(paths=PATHS[:3]).heard[NOISE]
    kept = {str(one.path): one.spectrum.envelope is not None for one in spectra}
    assert kept == {"antenna-bypass": True, "antenna-stage": False, "load-bypass": True}


def test_what_was_lost_nobody_knows_where_is_no_visit_and_a_gap_amid_it_is_told() -> None:
    with pytest.raises(BadReply, match="nobody knows where"):
        heard(source=Played(a_clock(), more={"unplaced": True}), paths=PATHS[:1])
    (one,) = heard(source=Played(a_clock(), more={"gaps": (0, 9000)}), paths=PATHS[:1]).heard[NOISE]
    assert "gap" in one.spectrum.quality


def test_peak_zero_and_strength_of_each_visit_are_those_of_its_samples() -> None:
    samples = np.tile(np.array([0.5, -0.7, 0.1, 0.5], np.float32), 6000)
    (one,) = heard(source=Played(a_clock(), more={"samples": samples}), paths=PATHS[:1]).sounded
    assert one.peak == pytest.approx(0.7) and one.offset == pytest.approx(0.1)
    assert one.rms == pytest.approx(0.5) and str(one.visit.path) == "antenna-bypass"


def test_a_route_alone_is_read_as_if_the_other_had_sounded_the_same() -> None:
    """Noise of 0.01 rms over 12 kHz's half, of which 281 Hz are read: −40 dB and 281/6000 of it."""
    source = Played(a_clock())
    listening = heard(replace(SETTINGS, seconds=30.0), source=source, paths=PATHS[:1])
    wanted_db = 20 * math.log10(0.01) + 10 * math.log10(281 / 6000)
    assert listening.noise_db(NOISE) == pytest.approx(wanted_db, abs=0.1)
    assert listening.noise_db(CARRIER) is None
    source.path = "antenna-stage"
    visit = Visit(NOISE, SignalPath.parse(source.path))
    listening.hear(visit)
    rows = listening.last(visit, 7)
    assert {str(row.path) for row in rows} == {"antenna-stage"} and {row.pass_number for row in rows} == {7}
    assert fmean(row.reading for row in rows if row.channel.purpose == "noise") == pytest.approx(
        wanted_db + 10.0, abs=0.1
    )
    narrow = heard(replace(SETTINGS, filter_hz=500.0), paths=PATHS[:1])
    assert narrow.noise_db(NOISE) is None


def test_a_tuning_in_which_no_noise_can_be_told_is_named_and_costs_the_others_nothing() -> None:
    source = Played(a_clock())
    listening = Listening(source, SETTINGS, source.clock)
    for path in PATHS:
        heard(channel=CARRIER, paths=(path,), source=source, listening=listening)
    heard(channel=NOISE, paths=PATHS[:1], source=source, listening=listening)
    assert {row.channel.band for row in listening.readings(7)} == {"31 m"}
    (unheard,) = listening.unheard
    assert unheard.startswith("noise on 40 m, 7100 kHz (") and unheard in listening.troubles(())


def test_of_ratios_no_level_and_no_lines_are_told() -> None:
    source = Played(a_clock())
    settings = replace(SETTINGS, gain_held=False)
    listening = heard(settings, CARRIER, source=source)
    heard(settings, NOISE, source=source, listening=listening)
    rows = listening.readings(7)
    assert {(row.channel.purpose, row.channel.band) for row in rows} == {("ratio", "31 m")}
    assert {row.channel.hz for row in rows} == {CARRIER.hz}
    assert listening.spectra() == [] and listening.stood() == {}


def test_lines_that_are_read_lie_in_the_pass_band_and_beside_the_carrier_that_is_named() -> None:
    """At 1 kHz the channel, so that 300 to 2700 Hz are 7099.3 to 7101.7 kHz, and in LSB 7098.3 to 7100.7 kHz."""
    places = (
        7_098_200,
        7_098_400,
        7_099_200,
        7_099_400,
        7_099_800,
        7_100_600,
        7_100_800,
        7_101_600,
        7_101_800,
    )
    known = {"40 m": dict.fromkeys(places, 3.0)}
    settings = replace(SETTINGS, known=known)
    assert settings.lines_hz(NOISE) == (7_099_400, 7_099_800, 7_100_600, 7_100_800, 7_101_600)
    assert replace(settings, mode="LSB").lines_hz(NOISE) == (
        7_098_400, 7_099_200, 7_099_400, 7_099_800, 7_100_600,
    )  # fmt: skip
    assert settings.lines_hz(replace(NOISE, purpose="carrier")) == (
        7_099_400,
        7_100_600,
        7_100_800,
        7_101_600,
    )
    assert settings.lines_hz(CARRIER) == ()


def test_a_meter_beside_the_sound_is_named_where_it_sees_another_stage() -> None:
    source = Played(a_clock())
    for shown_db, told in ((10.0, False), (30.0, True), (None, False)):
        listening = Listening(source, SETTINGS, source.clock)
        for path in PATHS:
            heard(paths=(path,), source=source, listening=listening)
            shown = None if shown_db is None else shown_db * path.endswith("stage") - 80.0
            listening.shown(Visit(NOISE, SignalPath.parse(path)), shown)
        said = " ".join(listening.troubles(listening.readings(7)))
        assert ("its own meter moves by" in said) == told
