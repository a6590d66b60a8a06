"""What a pass shows of planted noise: samples made here, by a generator that shares no line with the finders."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from drivers.contracts import Block
from sweeper.noise.in_pass import in_pass
from sweeper.noise.seen import Found, Heard
from sweeper.spectra.axis import Axis, axis_of
from sweeper.spectra.quiet import with_envelope
from sweeper.spectra.welch import spectrum
from sweeper.words import ANTENNA_BYPASS, LOAD_BYPASS, Labelled, SignalPath, Spectrum

pytestmark = pytest.mark.slow

RATE_HZ, SECONDS, CENTRE_HZ = 256_000.0, 0.5, 7_100_000.0
COUNT = int(RATE_HZ * SECONDS)
SWELL = {
    "cos": lambda turn: 1.0 + np.cos(2 * np.pi * turn),
    "arc": lambda turn: (turn % 1.0 < 0.2) / 0.2,
    "arc once a cycle": lambda turn: (turn / 2 % 1.0 < 0.2) / 0.2,
    "half of the time": lambda turn: (turn % 1.0 < 0.5) / 0.5,
    "rectified sine": lambda turn: np.abs(np.sin(np.pi * turn)) * np.pi / 2,
}


def axis(width_hz: float) -> Axis:
    edges = (-width_hz / 2, width_hz / 2)
    return axis_of(RATE_HZ, real=False, centre_hz=CENTRE_HZ, band_hz=edges, step_hz=31.25)


def noise(dice: np.random.Generator) -> np.ndarray:
    return (dice.standard_normal(COUNT) + 1j * dice.standard_normal(COUNT)) / np.sqrt(2)


def heard_samples(
    seed: int,
    mains: float = 0.0,
    swell: str = "cos",
    hump: float = 0.0,
    lines: dict[float, float] | None = None,
) -> np.ndarray:
    """Noise of power 1, a share of it with the mains; a hump from 20 to 70 kHz of so many times its density more; and
    lines of a power, over the noise in a bin, by their frequency.
    """
    dice = np.random.default_rng(seed)
    time = np.arange(COUNT) / RATE_HZ + dice.uniform()
    wave = np.sqrt(1 - mains) * noise(dice)
    wave += np.sqrt(mains * SWELL[swell](100.04 * time % 2.0)) * noise(dice)
    if hump:
        hz = np.fft.fftfreq(COUNT, 1 / RATE_HZ)
        wave += np.sqrt(hump) * np.fft.ifft(np.fft.fft(noise(dice)) * ((hz > 20e3) & (hz < 70e3)))
    for hz, over in (lines or {}).items():
        wave += np.sqrt(over * 2.0 * 31.25 / RATE_HZ) * np.exp(2j * np.pi * hz * time)
    return wave.astype(np.complex64)


def labelled(path: SignalPath, samples: np.ndarray, width_hz: float = 230e3) -> Labelled:
    block = Block(samples, RATE_HZ, (0.0, SECONDS))
    where = axis(width_hz)
    one = with_envelope(spectrum([block], where), block, where)
    return Labelled(1000.0, 1000.5, path, CENTRE_HZ, one)


def a_pass(load: float | None = 0.25, **planted: object) -> Heard:
    """Two visits to the antenna and one to the load, whose noise has the power `load`."""
    made = [heard_samples(seed, **planted) for seed in (1, 2)]  # type: ignore[arg-type]
    spectra = [("40 m", labelled(ANTENNA_BYPASS, samples)) for samples in made]
    if load is not None:
        spectra.append(("40 m", labelled(LOAD_BYPASS, np.float32(np.sqrt(load)) * heard_samples(3))))
    (heard,) = in_pass(7, spectra)
    return heard


def only(heard: Heard) -> Found:
    (found,) = heard.found
    return found


def test_steady_noise_has_no_kind_and_its_receiver_is_told() -> None:
    heard = a_pass()
    assert heard.found == () and heard.mains_read
    assert heard.receiver == pytest.approx(0.25, abs=0.01)
    assert heard.noise_db == pytest.approx(10 * np.log10(230 / 256 * 2.0), abs=0.1)


def test_without_a_load_the_receiver_is_not_told() -> None:
    assert a_pass(load=None).receiver is None


@pytest.mark.parametrize("swell", list(SWELL))
def test_a_fifth_that_comes_with_the_mains_is_read_within_five_points(swell: str) -> None:
    found = only(a_pass(mains=0.2, swell=swell))
    assert found.kind == "mains" and found.share == pytest.approx(0.2, abs=0.05)
    assert found.every_hz == pytest.approx(50.0, abs=0.3) and not found.on_load


def test_hum_on_the_load_too_is_the_receivers() -> None:
    spectra = [
        ("40 m", labelled(path, heard_samples(seed, mains=0.3)))
        for seed, path in enumerate([ANTENNA_BYPASS, ANTENNA_BYPASS, LOAD_BYPASS])
    ]
    (heard,) = in_pass(1, spectra)
    assert only(heard).on_load


def test_a_comb_is_found_with_spacing_and_share() -> None:
    places = {-114_000.0 + n * 21_312.0: 8.0 for n in range(11)}
    found = only(a_pass(lines=places))
    assert found.kind == "comb" and found.lines >= 10
    assert found.every_hz == pytest.approx(21_312.0, rel=1e-3)
    assert found.first_hz == pytest.approx(CENTRE_HZ - 114_000.0, abs=16.0)
    bins = 230e3 / 31.25
    # a line's power fills the window's two bins
    assert found.share == pytest.approx(11 * 8.0 * 2.0 / bins, rel=0.15)


def test_a_hump_is_found_between_its_edges() -> None:
    found = only(a_pass(hump=2.0))
    assert found.kind == "hump"
    assert found.low_hz == pytest.approx(CENTRE_HZ + 20e3, abs=2100)
    assert found.high_hz == pytest.approx(CENTRE_HZ + 70e3, abs=2100)
    assert found.share == pytest.approx(100 / (230 + 100), abs=0.02)
    assert found.over_db == pytest.approx(10 * np.log10(3.0), abs=0.3)


def test_a_line_that_stays_on_the_load_is_a_birdie_and_a_station_is_not() -> None:
    lines = {12_345.0: 100.0}
    spectra = [("40 m", labelled(ANTENNA_BYPASS, heard_samples(n, lines=lines))) for n in (1, 2)]
    (with_load,) = in_pass(1, [*spectra, ("40 m", labelled(LOAD_BYPASS, heard_samples(3, lines=lines)))])
    found = only(with_load)
    assert found.kind == "birdie" and found.low_hz == pytest.approx(CENTRE_HZ + 12_345.0, abs=40)
    (without,) = in_pass(1, [*spectra, ("40 m", labelled(LOAD_BYPASS, heard_samples(3)))])
    assert without.found == ()


def test_a_void_spectrum_and_the_stage_tell_nothing() -> None:
    one = labelled(ANTENNA_BYPASS, heard_samples(1))
    void = replace(one, spectrum=replace(one.spectrum, quality=frozenset({"void"})))
    assert in_pass(1, [("40 m", void)]) == []


def test_a_narrow_tuning_tells_its_mains_alone() -> None:
    spectra = [("40 m", labelled(ANTENNA_BYPASS, heard_samples(n, mains=0.3), 2400.0)) for n in range(8)]
    (heard,) = in_pass(1, spectra)
    assert only(heard).share == pytest.approx(0.3, abs=0.08)


@pytest.mark.parametrize("strength", [1.0, 2.0, 5.0])
def test_keying_in_step_with_the_mains_is_not_the_mains(strength: float) -> None:
    """Dots of 60 ms are six half cycles long; a steady carrier beside withholds nothing."""
    time = np.arange(COUNT) / RATE_HZ
    made = []
    keyed = strength * (time % 0.12 < 0.06) * np.exp(2j * np.pi * 300.0 * time)
    for seed in range(8):
        made.append(
            ("40 m", labelled(ANTENNA_BYPASS, (heard_samples(seed) + keyed).astype(np.complex64), 2400.0))
        )
    (heard,) = in_pass(1, made)
    assert heard.found == () and not heard.mains_read
    steady = [
        ("40 m", labelled(ANTENNA_BYPASS, heard_samples(n, mains=0.3, lines={300.0: 1e4}), 2400.0))
        for n in range(8)
    ]
    (heard,) = in_pass(1, steady)
    assert [found.kind for found in heard.found] == ["mains"]


def keyed(time: np.ndarray) -> np.ndarray:
    """Hard dots of 60 ms: what they spill keeps time with 100 Hz."""
    return (time % 0.12 < 0.06) * np.exp(2j * np.pi * 30_000.0 * time)


def reversals(time: np.ndarray) -> np.ndarray:
    """Steps of phase at the rate of a hundred bits a second."""
    bits = np.where(np.random.default_rng(int(time[0] * 1e6)).random(200) < 0.5, -1.0, 1.0)
    return bits[((time - time[0]) * 100).astype(int)] * np.exp(2j * np.pi * -20_000.0 * time)


def many_dots(time: np.ndarray) -> np.ndarray:
    places = np.random.default_rng(5).uniform(-110e3, 110e3, 12)
    return (time % 0.12 < 0.06) * np.exp(2j * np.pi * places[:, None] * time).sum(axis=0)


@pytest.mark.parametrize(
    ("sent", "strength"), [(keyed, 10.0), (keyed, 40.0), (reversals, 40.0), (many_dots, 10.0)]
)
def test_what_signals_spill_in_step_with_the_mains_is_not_the_mains(
    sent: Callable[[np.ndarray], np.ndarray], strength: float
) -> None:
    """It falls off with the distance from its signal, and noise of the mains does not."""
    made = []
    for seed in range(3):
        time = np.arange(COUNT) / RATE_HZ + 7.3 * seed
        both = heard_samples(seed) + strength * sent(time)
        made.append(("40 m", labelled(ANTENNA_BYPASS, both.astype(np.complex64))))
    (heard,) = in_pass(1, made)
    assert [found.kind for found in heard.found if found.kind == "mains"] == []


def test_mains_noise_beside_strong_carriers_is_read_all_the_same() -> None:
    carriers = {-80_000.0: 1e6, 12_345.0: 1e5, 70_000.0: 1e4}
    found = [
        each
        for each in a_pass(mains=0.2, swell="rectified sine", lines=carriers).found
        if each.kind == "mains"
    ]
    assert [each.share for each in found] == [pytest.approx(0.2, abs=0.05)]


def combs_of(first_hz: float, every_hz: float, moved_hz: float = 0.0) -> list[str]:
    """What equally strong lines across the tuning pass for, each `moved_hz` off the one before."""
    places = np.arange(first_hz, CENTRE_HZ + 110e3, every_hz) - CENTRE_HZ
    places += moved_hz * np.arange(len(places))
    return [
        found.kind
        for found in a_pass(lines=dict.fromkeys(places.tolist(), 100.0)).found
        if found.kind == "comb"
    ]


OF_ONE_RASTER_HZ = (20_000.0, 18_000.0, 50_000.0 / 3)
"""Whole channels of 5, 9 and 8⅓ kHz apart, each of one of these rasters only."""


@pytest.mark.parametrize("beside_hz", [0.0, 700.0, 2_300.0])
@pytest.mark.parametrize("every_hz", OF_ONE_RASTER_HZ)
def test_stations_whole_channels_apart_are_no_supply(every_hz: float, beside_hz: float) -> None:
    """None between them, and wherever their raster begins or the dial stands."""
    assert combs_of(np.ceil((CENTRE_HZ - 108e3) / every_hz) * every_hz + beside_hz, every_hz) == []


@pytest.mark.parametrize("every_hz", OF_ONE_RASTER_HZ)
def test_a_supply_that_has_drifted_past_their_channels_is_none_of_them(every_hz: float) -> None:
    assert combs_of(np.ceil((CENTRE_HZ - 108e3) / every_hz) * every_hz, every_hz, moved_hz=25.0) == ["comb"]


@pytest.mark.parametrize(("moved_hz", "kinds"), [(0.0, []), (25.0, ["comb"])])
def test_land_mobile_on_every_third_channel_of_a_wide_tuning_is_no_supply(
    moved_hz: float, kinds: list[str]
) -> None:
    """Channels of 12.5 kHz; a supply beside them drifts."""
    power = np.random.default_rng(4).gamma(60, 1 / 60, 32_768)
    lines = np.arange(0.02e6, 1.02e6, 37_500.0 + moved_hz) / 31.25
    power[np.rint(lines).astype(int)] += 100.0
    one = Spectrum(30e6, 31.25, power.astype(np.float32), None, 60, 62.5)
    (heard,) = in_pass(1, [("10 m", Labelled(1000.0, 1000.5, ANTENNA_BYPASS, 30.5e6, one))])
    assert [found.kind for found in heard.found] == kinds
