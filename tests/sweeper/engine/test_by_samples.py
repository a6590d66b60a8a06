"""A pass by samples of whole bands, on a source in memory: levels, places, what is kept and what is told."""

from dataclasses import dataclass, field, replace
from threading import Event

import numpy as np
import pytest

from drivers.contracts import Block
from drivers.errors import BadReply
from sweeper.clock import JumpingClock
from sweeper.engine import measure_pass
from sweeper.engine.by_samples import SampledSettings, Sampling
from sweeper.spectra.grouped import in_groups
from sweeper.words import Channel, SignalPath, Visit
from tests.sweeper.engine.bench import SETTINGS, Board, Dial, Kept, a_clock

RATE_HZ, SECONDS = 64_000.0, 0.5
BAND = Channel("10 m", 28_100_000, "noise", 60_000)
EDGES_HZ = (28_070_000, 28_130_000)
TONE_HZ = 28_112_000
LINES_HZ: tuple[int, ...] = ()
POWERS = {"antenna-bypass": 1e-4, "antenna-stage": 1e-3, "load-bypass": 4e-5, "load-stage": 3e-4}
PATHS = ("antenna-bypass", "antenna-stage", "load-bypass", "antenna-stage", "antenna-bypass")


@dataclass
class Samples:
    """Complex noise of a power of each path's, a tone of a frequency on air, and what a converter of few bits adds."""

    clock: JumpingClock
    path: str = PATHS[0]
    centre_hz: float = float(BAND.hz)
    tone: float = 0.0
    step_noise: float = 0.0
    more: dict[str, object] = field(default_factory=dict)
    moving: tuple[str, ...] = ()
    took: int = 0

    def take(self, seconds: float, after_s: float) -> Block:
        self.took += 1
        dice = np.random.default_rng(self.took)
        count = round(seconds * RATE_HZ)
        parts = dice.standard_normal((2, count)) * np.sqrt((POWERS[self.path] + self.step_noise) / 2)
        at = np.arange(count) / RATE_HZ
        samples = parts[0] + 1j * parts[1] + self.tone * np.exp(2j * np.pi * (TONE_HZ - self.centre_hz) * at)
        began_s = self.clock.monotonic()
        assert after_s <= began_s
        self.clock.sleep(seconds)
        told = Block(samples.astype(np.complex64), RATE_HZ, (began_s, self.clock.monotonic()), (0,))
        return replace(told, step_noise=self.step_noise, **self.more)

    def unknown(self) -> tuple[str, ...]:
        return self.moving

    def close(self) -> None:
        pass


def sampled(shift_hz: int = 0, step_hz: float = 31.25) -> SampledSettings:
    return SampledSettings(
        SECONDS, step_hz, {BAND: EDGES_HZ}, {BAND: (EDGES_HZ,)}, {BAND: LINES_HZ}, shift_hz
    )


def heard(source: Samples, settings: SampledSettings, paths: tuple[str, ...] = PATHS) -> Sampling:
    sampling = Sampling(source, settings, source.clock)
    source.centre_hz = BAND.hz + settings.shift_hz
    for path in paths:
        source.path = path
        visit = Visit(BAND, SignalPath.parse(path))
        sampling.hear(visit)
        sampling.shown(visit, None)
        assert sampling.last(visit, 7) == []
    return sampling


def test_rows_read_the_density_of_each_paths_noise_in_the_order_of_time() -> None:
    """281 Hz of noise spread evenly over 64 kHz, and the middle of each half second."""
    source = Samples(a_clock())
    began_s = source.clock.now().timestamp()
    sampling = heard(source, sampled())
    found = sampling.readings(7)
    times = [row.time.timestamp() - began_s for row in found]
    assert times == sorted(times) and set(times) == {0.25, 0.75, 1.25, 1.75, 2.25}
    assert {row.pass_number for row in found} == {7}
    for path in POWERS:
        levels = [row.reading for row in found if str(row.path) == path and row.channel.purpose == "noise"]
        if path in PATHS:
            expected_db = 10 * np.log10(POWERS[path] * 281 / RATE_HZ)
            assert np.mean(levels) == pytest.approx(expected_db, abs=0.1)
    assert sampling.troubles(found) == ()
    assert all(EDGES_HZ[0] < row.channel.hz < EDGES_HZ[1] for row in found)


@pytest.mark.parametrize("shift_hz", [0, 700, -1500])
def test_a_line_keeps_its_frequency_wherever_the_samples_are_centred(shift_hz: int) -> None:
    sampling = heard(Samples(a_clock(), tone=0.3), sampled(shift_hz))
    for one in sampling.seen[BAND]:
        assert one.tuning == BAND.hz + shift_hz
        spectrum = one.spectrum
        assert spectrum.start_hz == pytest.approx(EDGES_HZ[0], abs=spectrum.step_hz)
        assert spectrum.start_hz + spectrum.step_hz * len(spectrum.mean) == pytest.approx(
            EDGES_HZ[1], abs=2 * spectrum.step_hz
        )
        assert spectrum.start_hz + spectrum.step_hz * np.argmax(spectrum.mean) == pytest.approx(
            TONE_HZ, abs=spectrum.step_hz
        )
        assert spectrum.mean.max() == pytest.approx(
            0.09, rel=0.18
        )  # between two bins it reads 0.83 dB less (Harris)
        assert "gap" not in spectrum.quality


def test_a_gap_at_the_beginning_is_none_and_one_amid_a_visit_is() -> None:
    source = Samples(a_clock(), more={"gaps": (0, 9_000)})
    assert "gap" in heard(source, sampled(), PATHS[:1]).seen[BAND][0].spectrum.quality
    second = Samples(a_clock(), more={"gaps": (1,)})
    assert "gap" in heard(second, sampled(), PATHS[:1]).seen[BAND][0].spectrum.quality


def test_the_rhythm_of_noise_is_kept_of_what_tells_its_kind_antenna_and_load_without_the_stage() -> None:
    seen = heard(Samples(a_clock()), sampled(), (*PATHS, "load-stage")).seen[BAND]
    kept = {str(one.path) for one in seen if one.spectrum.envelope is not None}
    assert kept == {"antenna-bypass", "load-bypass"}


def test_what_is_kept_has_a_thousand_bins_at_the_most_each_the_mean_of_its_neighbours() -> None:
    sampling = heard(Samples(a_clock(), tone=0.3), sampled())
    kept = [(band, replace(one, spectrum=in_groups(one.spectrum))) for band, one in sampling.spectra()]
    assert [(band, str(one.path)) for band, one in kept] == [("10 m", path) for path in PATHS]
    fine, coarse = sampling.seen[BAND][1].spectrum, kept[1][1].spectrum
    assert len(fine.mean) in (1920, 1921) and len(coarse.mean) == 960
    assert coarse.step_hz == 2 * fine.step_hz and coarse.low is None
    assert coarse.start_hz == pytest.approx(fine.start_hz + fine.step_hz / 2)
    assert coarse.mean[300] == pytest.approx((fine.mean[600] + fine.mean[601]) / 2)
    assert coarse.mean[-1] == pytest.approx((fine.mean[1918] + fine.mean[1919]) / 2)
    few = in_groups(heard(Samples(a_clock()), sampled(step_hz=62.5)).spectra()[0][1].spectrum)
    assert len(few.mean) <= 1000 and few.step_hz == pytest.approx(62.5)


def test_what_the_converters_steps_add_is_taken_off_and_never_more_than_half() -> None:
    """An ideal converter's steps are white: step²/12 (W. R. Bennett, Bell Syst. Tech. J. 27 (1948) 446)."""
    plain = heard(Samples(a_clock()), sampled(), PATHS[:1]).seen[BAND][0].spectrum
    stepped = heard(Samples(a_clock(), step_noise=3e-5), sampled(), PATHS[:1]).seen[BAND][0].spectrum
    assert stepped.mean.mean() == pytest.approx(plain.mean.mean(), rel=0.01)
    raw = plain.mean * 1.3  # the same dice
    assert (stepped.mean / raw).min() == pytest.approx(0.5, abs=1e-3)
    assert np.all(stepped.mean >= 0.499 * raw)


@pytest.mark.parametrize(("over", "refused", "coarse"), [(2.9, True, False), (3.2, False, True), (11.0, False, True),
                                                         (13.0, False, False)])  # fmt: skip
def test_samples_that_move_by_less_than_half_a_step_tell_no_level(
    over: float, refused: bool, coarse: bool
) -> None:
    """A whole step rms has twelve times the power of step²/12, half a step a quarter of that."""
    source = Samples(a_clock(), step_noise=POWERS["antenna-bypass"] / over)
    sampling = Sampling(source, sampled(), source.clock)
    visit = Visit(BAND, SignalPath.parse("antenna-bypass"))
    if refused:
        with pytest.raises(
            BadReply, match="on 10 m, antenna-bypass, its samples move by less than half a step"
        ):
            sampling.hear(visit)
        return
    sampling.hear(visit)
    assert any("raise gain_db" in each and "10 m" in each for each in sampling.troubles(())) == coarse


def test_bands_whose_gain_is_too_coarse_are_named_in_one_order_whatever_came_first() -> None:
    bands = ("6 m", "40 m", "10 m", "80 m", "17 m", "20 m", "12 m")
    source = Samples(a_clock(), step_noise=POWERS["antenna-bypass"] / 3.2)
    channels = [replace(BAND, band=band) for band in bands]
    settings = replace(sampled(), edges_hz=dict.fromkeys(channels, EDGES_HZ))
    sampling = Sampling(source, settings, source.clock)
    for channel in channels:
        sampling.hear(Visit(channel, SignalPath.parse("antenna-bypass")))
    named = [each.split(" (")[0].removeprefix("the gain on ") for each in sampling.troubles(())]
    assert named == sorted(bands)


def test_samples_that_stand_still_or_went_missing_are_no_visit() -> None:
    for more, said in (
        ({"samples": np.full(32_000, 0.2 + 0.1j, np.complex64)}, "all alike"),
        ({"samples": np.full(32_000, np.nan, np.complex64)}, "all alike"),
        ({"unplaced": True}, "nobody knows where"),
    ):
        source = Samples(a_clock(), more=more)
        with pytest.raises(BadReply, match=said):
            heard(source, sampled(), PATHS[:1])


def test_a_tuning_of_one_route_gives_no_rows_and_is_named() -> None:
    sampling = heard(Samples(a_clock()), sampled(), ("antenna-bypass", "load-bypass"))
    assert sampling.readings(7) == ()
    assert sampling.troubles(()) == ("noise on 10 m, 28100 kHz (samples of one route only)",)


def test_what_the_source_cannot_read_back_is_told_once() -> None:
    source = Samples(a_clock(), moving=("gain", "AGC"))
    assert Sampling(source, sampled(), source.clock).allowed(("AGC",)) == ("gain",)


def test_a_pass_by_samples_stores_rows_and_spectra_and_asks_no_meter() -> None:
    class Switched(Board):
        def select(self, path: str) -> int:
            source.path = path
            return super().select(path)

    clock, kept, dial = a_clock(), Kept(), Dial()
    source = Samples(clock, moving=("gain",))
    visits = [Visit(BAND, SignalPath.parse(path)) for path in PATHS]
    settings = replace(SETTINGS, sampled=sampled(shift_hz=700))
    source.centre_hz = BAND.hz + 700
    record = measure_pass(7, visits, dial, Switched(), clock, settings, kept, Event(), samples=source)
    assert record.outcome == "done", record.because
    assert "read_power" not in dial.calls and record.unknown_settings == ("noise blanker", "gain")
    rows = kept.records[0][1]
    assert {str(row.path) for row in rows} == set(PATHS) and len(kept.spectra) == len(PATHS)
    assert [each and each.spectrum for each in kept.heard] == [one.spectrum for _, one in kept.spectra]
    stage, bypass = (
        np.mean([row.reading for row in rows if str(row.path) == path]) for path in (PATHS[1], PATHS[0])
    )
    assert stage - bypass == pytest.approx(10.0, abs=0.1)


def test_a_pass_tells_which_lines_stood_and_reads_those_that_stood_before() -> None:
    paths = (*PATHS, "load-bypass")
    sampling = heard(Samples(a_clock(), tone=0.3), sampled(), paths)
    assert not [row for row in sampling.readings(7) if row.channel.purpose == "carrier"]
    # the tone of this source is on the load as well, and so the receiver's own
    assert sampling.stood() == {"10 m": ()}
    known = replace(sampled(), lines_hz={BAND: (TONE_HZ,)})
    found = heard(Samples(a_clock(), tone=0.3), known, paths).readings(7)
    carriers = [row for row in found if row.channel.purpose == "carrier"]
    assert len(carriers) == len(paths) and {row.channel.hz for row in carriers} == {TONE_HZ}
    assert np.mean([row.reading for row in carriers]) == pytest.approx(10 * np.log10(0.09), abs=0.5)


def test_a_stream_that_stands_still_for_a_part_of_a_visit_tells_no_level() -> None:
    moves = np.random.default_rng(1).standard_normal(32_000).astype(np.complex64) * 0.01
    assert not Block(moves, 1.0, (0.0, 1.0)).pauses()
    for first, many in ((0, 2000), (15_000, 2000), (30_000, 2000), (15_000, 17_000)):
        frozen = moves.copy()
        frozen[first : first + many] = frozen[first]
        source = Samples(a_clock(), more={"samples": frozen})
        with pytest.raises(BadReply, match="stood still for a while"):
            heard(source, sampled())
    assert not Block(moves[:40], 1.0, (0.0, 1.0)).pauses(), "too few to tell"
