"""The change is found across the edges, whatever fades, whatever the AGC does; and the larger error where it is due."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from sweeper.ab import NoNoise, Terms, compare
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, Labelled, SignalPath, Spectrum

pytestmark = pytest.mark.slow

BINS, STEP_HZ, SEGMENTS = 120, 31.25, 7


def _told(
    rng: np.random.Generator,
    edges: int = 40,
    gain_db: float = 12.0,
    noise_db: float = 10.0,
    agc: bool = False,
    lines: tuple[tuple[int, float], ...] = ((30, 40.0), (75, 30.0)),
    new: tuple[int, ...] = (),
    load: bool = False,
    gone: tuple[int, ...] = (),
) -> list[Labelled]:
    """Labelled spectra at the edges of a chain that is switched each 5 s: lines that fade."""
    paths: list[SignalPath] = []
    for nth in range(edges + 1):
        paths.append(ANTENNA_BYPASS if nth % 2 == 0 else ANTENNA_STAGE)
        if load and nth % 4 == 0:
            paths += [LOAD_BYPASS, ANTENNA_BYPASS]
    return list(_spectra(rng, paths, gain_db, noise_db, agc, lines, new, gone))


def _spectra(
    rng: np.random.Generator, paths: list[SignalPath], gain_db: float, noise_db: float, agc: bool,
    lines: tuple[tuple[int, float], ...], new: tuple[int, ...], gone: tuple[int, ...],
) -> Iterator[Labelled]:  # fmt: skip
    fade = rng.standard_normal(len(lines))
    for nth, path in enumerate(paths):
        for half in (0, 1):
            fade = rng.standard_normal(len(lines)) * 0.6
            slope = rng.standard_normal(len(lines)) * 0.3
            for frame in range(5):
                at = 5.0 * nth + (0.1 if half == 0 else 4.25) + 0.13 * frame
                staged = path.route == "stage"
                noise = 10 ** ((noise_db if staged else 0.0) / 10)
                if path.source == "load":
                    noise *= 0.1
                power = np.full(BINS, noise)
                for (place, snr_db), level, way in zip(lines, fade, slope, strict=True):
                    if path.source == "antenna":
                        g = 10 ** ((gain_db if staged else 0.0) / 10)
                        line = g * 10 ** (snr_db / 10) * np.exp(level + way * frame * 0.13)
                        power[place - 3 : place + 4] += line * np.array([0.01, 0.2, 0.7, 1.0, 0.7, 0.2, 0.01])
                for place in new if staged else gone:
                    power[place - 1 : place + 2] += noise * 10 ** (rng.uniform(0.6, 1.6))
                power = power * rng.gamma(SEGMENTS, 1 / SEGMENTS, BINS)
                if agc:
                    power = power / power.sum()
                spectrum = Spectrum(0.0, STEP_HZ, power.astype(np.float32), None, SEGMENTS, 2 * STEP_HZ)
                yield Labelled(at, at + 0.13, path, None, spectrum)


def test_the_change_lies_in_its_interval_and_gain_is_noise_and_change_together() -> None:
    found = compare(_told(np.random.default_rng(1)))
    assert found.snr_change_db is not None and found.noise_change_db is not None and found.gain_db is not None
    assert found.snr_change_db.low < 2.0 < found.snr_change_db.high
    assert found.noise_change_db.value == pytest.approx(10.0, abs=0.1)
    assert found.gain_db.value == pytest.approx(
        found.noise_change_db.value + found.snr_change_db.value, abs=0.2
    )
    assert found.edges == 40


def test_sides_that_lie_further_apart_than_is_asked_are_not_compared() -> None:
    """Three seconds more before one of twelve changes."""
    told = _told(np.random.default_rng(1), edges=12)
    late = next(nth for nth, one in enumerate(told) if one.time > 30.0 and one.path == ANTENNA_STAGE)
    later = [replace(one, time=one.time + 3.0, until=one.until + 3.0) for one in told[late:]]
    edges = [compare([*told[:late], *later], Terms(apart_s=apart_s)).edges for apart_s in (2.0, 4.0)]
    assert edges == [11, 12]


@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    held = [
        (it := compare(_told(np.random.default_rng(seed), edges=16)).snr_change_db) is not None
        and it.low < 2.0 < it.high
        for seed in range(30)
    ]
    assert sum(held) >= 26  # 28.5 of 30 expected; fewer has a chance of 1.6 %; test_pooled.py counts hundreds


def test_with_agc_only_the_ratio_is_told() -> None:
    found = compare(_told(np.random.default_rng(2), agc=True))
    assert found.noise_change_db is None and found.gain_db is None
    assert "agc" in found.flags
    assert found.snr_change_db is not None and found.snr_change_db.low < 2.0 < found.snr_change_db.high


def test_lines_that_only_the_stage_has_are_overload_and_no_good_news_is_told() -> None:
    found = compare(_told(np.random.default_rng(3), gain_db=16.0, new=(50, 100)))
    assert "overload" in found.flags
    assert found.verdict == "undecided"
    assert "overload" not in compare(_told(np.random.default_rng(3), gain_db=16.0)).flags


def test_the_load_tells_the_noise_rise_and_what_no_stage_can_exceed() -> None:
    found = compare(_told(np.random.default_rng(4), load=True))
    assert found.noise_rise_db is not None and found.cap_db is not None
    assert found.noise_rise_db.value == pytest.approx(10.0, abs=0.1)
    assert found.cap_db == pytest.approx(0.46, abs=0.03)  # L(10 dB) = 0.46 dB


def test_a_load_that_was_looked_at_first_tells_the_noise_rise_as_well() -> None:
    rng = np.random.default_rng(9)
    paths = [LOAD_BYPASS, SignalPath("load", "stage")]
    paths += [ANTENNA_BYPASS if nth % 2 == 0 else ANTENNA_STAGE for nth in range(21)]
    found = compare(list(_spectra(rng, paths, 12.0, 10.0, False, ((30, 40.0), (75, 30.0)), (), ())))
    assert found.noise_rise_db is not None and found.cap_db is not None
    assert found.noise_rise_db.low < 10.0 < found.noise_rise_db.high
    assert 0.4 < found.cap_db < 1.0


def test_a_line_that_does_not_step_with_the_others_is_not_counted() -> None:
    rng = np.random.default_rng(5)
    told = _told(rng, lines=((20, 40.0), (40, 38.0), (60, 36.0), (80, 34.0)))
    for one in told:
        one.spectrum.mean[97:104] += np.float32(3000.0) * np.array(
            [0.01, 0.2, 0.7, 1.0, 0.7, 0.2, 0.01], np.float32
        )
    found = compare(told)
    assert "birdie" in found.flags
    assert found.snr_change_db is not None and found.snr_change_db.low < 2.0 < found.snr_change_db.high


def _with_line(told: list[Labelled], place: int, power: float) -> list[Labelled]:
    for one in told:
        shape = np.array([0.01, 0.2, 0.7, 1.0, 0.7, 0.2, 0.01], np.float32)
        one.spectrum.mean[place - 3 : place + 4] += np.float32(power) * shape
    return told


@pytest.mark.parametrize("noise_db", [10.0, -6.0, 3.0])
def test_the_receivers_own_line_alone_tells_nothing_of_the_stage(noise_db: float) -> None:
    rng = np.random.default_rng(7)
    found = compare(_with_line(_told(rng, noise_db=noise_db, lines=()), 60, 300.0))
    assert (found.verdict, found.snr_change_db) == ("undecided", None)
    assert "birdie" in found.flags
    assert "the receiver's own or hum" in found.reason
    assert [carrier.kind for carrier in found.carriers] == ["birdie"]


def test_hum_beside_a_carrier_does_not_pull_its_change() -> None:
    told = _told(np.random.default_rng(8), lines=((30, 30.0),))
    for place in (60, 75, 90):
        told = _with_line(told, place, 500.0)
    found = compare(told)
    assert "birdie" in found.flags
    assert found.snr_change_db is not None and found.snr_change_db.low < 2.0 < found.snr_change_db.high


def test_a_steady_line_that_steps_with_the_noise_counts() -> None:
    told = _told(np.random.default_rng(9), lines=())
    for one in told:
        _with_line([one], 60, 1000.0 * (10**1.2 if one.path == ANTENNA_STAGE else 1.0))
    found = compare(told, Terms(gain_known=True))
    assert "birdie" not in found.flags
    assert found.snr_change_db is not None and found.snr_change_db.value == pytest.approx(2.0, abs=0.2)


def test_a_tuning_whose_noise_cannot_be_told_from_its_signals_gets_no_finding() -> None:
    rng = np.random.default_rng(10)
    told = _told(rng, lines=())
    signals = np.where(np.arange(BINS) % 10 == 5, 1.0, rng.uniform(2.0, 8.0, BINS)).astype(np.float32)
    for one in told:
        one.spectrum.mean[:] *= signals
    found = compare(told)
    assert "occupied" in found.flags
    assert (found.verdict, found.snr_change_db, found.noise_change_db) == ("undecided", None, None)
    assert "cannot be told apart" in found.reason


def test_too_few_edges_are_called_too_few() -> None:
    found = compare(_told(np.random.default_rng(11), edges=2))
    assert found.snr_change_db is None
    assert "2 switchings with clean sound" in found.reason and "at least 4 are needed" in found.reason


def test_silence_and_one_route_are_nothing_to_compare() -> None:
    told = _told(np.random.default_rng(6))
    with pytest.raises(NoNoise):
        compare([one for one in told if one.path == ANTENNA_BYPASS])
    with pytest.raises(NoNoise):
        compare([], Terms())


def test_signals_in_step_with_the_switch_are_no_overload_and_tell_nothing() -> None:
    found = compare(_told(np.random.default_rng(3), new=(45, 50, 60), gone=(90, 100)))
    assert "in-step" in found.flags and "overload" not in found.flags
    assert found.verdict == "undecided" and found.snr_change_db is None and found.noise_change_db is None
    assert "in step with the switch" in found.reason


def _fading_on(seed: int, agc: bool) -> list[Labelled]:
    """Sixteen edges 30 s apart, a carrier that fades across them as a straight line in ln power. True change: 2 dB."""
    rng, found = np.random.default_rng(seed), []
    for nth in range(16):
        slope, level = rng.normal(0.0, 0.5), np.exp(rng.normal(0.0, 1.0)) * 3e3
        for side in (-1, 1):
            staged = (nth % 2 == 0) == (side > 0)
            noise, through = (10.0, 10**1.2) if staged else (1.0, 1.0)
            for frame in range(6)[::side]:
                from_edge_s = side * (0.25 + 0.112 * frame)
                line = np.zeros(BINS)
                shape = np.array([0.01, 0.2, 0.7, 1.0, 0.7, 0.2, 0.01])
                line[57:64] = through * level * np.exp(slope * from_edge_s) * shape
                power = noise * rng.gamma(SEGMENTS, 1 / SEGMENTS, BINS) + line
                power += np.sqrt(2.0 * noise * line / SEGMENTS) * rng.standard_normal(BINS)
                power = power / power.sum() if agc else power
                at = 30.0 * (nth + 1) + from_edge_s
                spectrum = Spectrum(0.0, STEP_HZ, power.astype(np.float32), None, SEGMENTS, 2 * STEP_HZ)
                path = ANTENNA_STAGE if staged else ANTENNA_BYPASS
                found.append(Labelled(at - 0.056, at + 0.056, path, None, spectrum))
    return sorted(found, key=lambda each: each.time)


def test_where_the_gain_stands_still_the_noise_of_a_whole_side_makes_it_sharper() -> None:
    """Noise of one spectrum scatters by 1/√(110 bins · 7), 4 %, and a line through six of them multiplies that."""
    halves: dict[bool, list[float]] = {True: [], False: []}
    held = 0
    for seed in range(12):
        sequence = _fading_on(seed, agc=False)
        for known in (True, False):
            change = compare(sequence, Terms(gain_known=known)).snr_change_db
            assert change is not None
            halves[known].append((change.high - change.low) / 2.0)
            held += change.low < 2.0 < change.high
    assert held >= 20  # 22.8 of 24 expected; fewer has a chance of 1 %
    assert np.median(halves[True]) < 0.8 * np.median(halves[False])


def test_with_an_agc_the_noise_of_each_spectrum_is_taken() -> None:
    held = 0
    for seed in range(12):
        found = compare(_fading_on(seed, agc=True))
        assert "agc" in found.flags and found.snr_change_db is not None
        held += found.snr_change_db.low < 2.0 < found.snr_change_db.high
    assert held >= 10  # 11.4 of 12 expected; fewer has a chance of 2 %
