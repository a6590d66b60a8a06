"""What reaches the simulated receiver follows physics that is written down elsewhere."""

import math
import statistics
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
import skrf

from sweeper.simulation import World, saltmarsh
from sweeper.simulation.world.hardware import BARE, Stage, attenuator
from sweeper.simulation.world.town import Broadcasters, Carrier
from sweeper.simulation.world.world import Listening

pytestmark = pytest.mark.slow

EVENING = datetime(2026, 3, 1, 20, tzinfo=UTC).timestamp()


def quiet() -> World:
    """Saltmarsh without broadcasters, carriers and storms' crashes: noise alone."""
    scenario = saltmarsh().scenario
    return World(
        replace(scenario, broadcasters=(), carriers=(), sky=replace(scenario.sky, crashes_per_s=0.0))
    )


def test_a_load_reads_kt0b_times_the_receivers_noise_factor() -> None:
    # kT0 = -173.98 dBm/Hz (SI value of k), -140.17 dBm in 2400 Hz.
    world = quiet()
    truth = world.truth("10 m", 20, [date(2026, 3, 1)])
    watts = [
        world.power_w(EVENING, Listening(28_070_000, "USB", 2400, "load", "bypass")) for _ in range(4000)
    ]
    dbm = 10 * math.log10(statistics.fmean(watts) * 1000)
    assert dbm == pytest.approx(-140.17 + truth.receiver_noise_figure_db, abs=0.05)


def test_readings_of_noise_scatter_as_the_radiometer_formula_says() -> None:
    # sigma = 4.34 / sqrt(B tau) dB (Dicke 1946), for B tau well above 1.
    world = quiet()
    levels = [
        10 * math.log10(world.power_w(EVENING, Listening(7_038_500, "USB", 2400, "antenna", "bypass")))
        for _ in range(6000)
    ]
    assert statistics.stdev(levels) == pytest.approx(4.34 / math.sqrt(2400 * 0.02), rel=0.05)


def test_the_chains_noise_is_what_a_reference_library_makes_of_the_cascade() -> None:
    # scikit-rf's noise of cascaded two-ports (Friis): stage with its relays, then the receiver's own noise added.
    world = quiet()
    hz = 14_113_200.0
    relays, stage, receiver = world.scenario.relays, world.scenario.stage, world.scenario.receiver
    frequency = skrf.Frequency(hz, hz, 1, unit="hz")
    media = skrf.media.DefinedGammaZ0(frequency, z0=50)
    gain = stage.gain_at(hz, 0.0)
    amplifier = skrf.Network(frequency=frequency, s=[[[0, 0], [math.sqrt(gain), 0]]], z0=50)
    amplifier.set_noise_a(frequency, nfmin_db=10 * math.log10(1 + stage.kelvin / 290), gamma_opt=0, rn=1e-9)
    contacts = media.attenuator(10 * math.log10(relays.stage_passes), db=True)
    # A pad at 290 K has a noise figure of its own loss (any text on receivers; common practice).
    contacts.set_noise_a(frequency, nfmin_db=-10 * math.log10(relays.stage_passes), gamma_opt=0, rn=1e-9)
    figure = 10 * math.log10(float((amplifier**contacts).nf(50)[0]))
    whole = 10 ** (figure / 10) + receiver.noise_k(hz) / 290 / (gain * relays.stage_passes)
    means = world.means(EVENING, Listening(hz - 1200, "USB", 2400, "load", "stage"))
    expected_w = 1.380649e-23 * 290 * 2400 * whole * gain * relays.stage_passes
    assert means.noise_w == pytest.approx(expected_w, rel=1e-6)


def test_no_stage_gives_more_than_the_noise_rise_allows() -> None:
    # S/N lost at noise rise Y is Y - 10 log10(10^(Y/10) - 1): Y = 4 -> 2.20 dB, 10 -> 0.46 dB.
    scenario = quiet().scenario
    # One noise channel a band: means over channels need not obey what each of them does.
    world = World(replace(scenario, channels=scenario.channels[::3]))
    for band in {c.band for c in world.scenario.channels if c.purpose == "noise"}:
        for hour in range(24):
            truth = world.truth_at(band, [datetime(2026, 3, 1, hour, tzinfo=UTC)])
            if truth.noise_rise_db > 0.01:
                rise = truth.noise_rise_db
                lost_db = rise - 10 * math.log10(10 ** (rise / 10) - 1)
                assert truth.snr_change_db <= lost_db + 0.001


@pytest.mark.parametrize(("order", "slope"), [(2, 2.0), (3, 3.0)])
def test_products_rise_by_their_order_for_every_decibel(order: int, slope: float) -> None:
    # Slopes of intermodulation 2:1 and 3:1 (any receiver text; common practice).
    stage = Stage(((1e6, 30.0),), 300.0, second_order_w=1.0, third_order_w=1.0)
    strong = [Broadcasters(7.2e6, 7.4e6, 1.0)]
    where_hz = {2: 14.6e6, 3: 7.1e6}[order]
    low, high = (stage.products_w_per_hz(where_hz, strong, [watts]) for watts in (1e-6, 1e-5))
    assert 10 * math.log10(high / low) == pytest.approx(10 * slope)


def test_products_fall_where_sums_and_differences_do_and_nowhere_else() -> None:
    stage = Stage(((1e6, 30.0),), 300.0, second_order_w=1.0, third_order_w=1.0)
    strong = [Broadcasters(6.0e6, 6.1e6, 1.0), Broadcasters(9.5e6, 9.6e6, 1.0)]
    heard = {
        mhz: stage.products_w_per_hz(mhz * 1e6, strong, [1e-6, 1e-6]) > 0
        for mhz in (2.55, 3.5, 12.1, 13.05, 15.6, 5.0)
    }
    # 2 x 6.05 - 9.55 = 2.55; 9.55 - 6.05 = 3.5; 2 x 6.05 = 12.1; 2 x 9.55 - 6.05 = 13.05; 6.05 + 9.55 = 15.6
    assert heard == {2.55: True, 3.5: True, 12.1: True, 13.05: True, 15.6: True, 5.0: False}


def test_asking_again_gives_the_same_means_in_any_order() -> None:
    places = [
        (7_038_500, "antenna", "stage"),
        (28_070_000, "load", "bypass"),
        (9_999_000, "antenna", "bypass"),
    ]
    once = [
        saltmarsh(3).means(EVENING, Listening(hz, "USB", 2400, source, route)) for hz, source, route in places
    ]
    world = saltmarsh(3)
    again = [world.means(EVENING, Listening(hz, "USB", 2400, *path)) for hz, *path in reversed(places)]
    assert again[::-1] == once


def test_saltmarsh_holds_every_kind_of_band_that_a_demo_must_show() -> None:
    world = saltmarsh()
    night = [date(2026, 3, 1)]
    assert len(world.bands) >= 8
    by_day, by_night = (world.truth("80 m", hour, night).snr_change_db for hour in (14, 19))
    assert by_day > 2.0 > 1.5 > by_night
    assert abs(world.truth("31 m", 1, night).snr_change_db) < 0.8
    overloaded = {band for band in world.bands if world.truth(band, 19, night).overload}
    assert overloaded == {"40 m"}
    assert world.truth("40 m", 19, night).snr_change_db < -1.0
    assert not any(world.truth(band, 14, night).overload for band in world.bands)
    # Too near the worthwhile 1 dB to call after one night.
    assert world.truth("15 m", 20, night).snr_change_db == pytest.approx(1.0, abs=0.15)


def test_fading_carriers_swing_by_20_db_within_minutes() -> None:
    world = saltmarsh()
    levels = [
        10
        * math.log10(world.power_w(EVENING + 0.5 * n, Listening(7_204_000, "USB", 2400, "antenna", "bypass")))
        for n in range(2400)
    ]
    assert float(np.ptp(levels)) > 20.0


def test_the_receivers_own_preamplifier_can_be_the_stage() -> None:
    world = quiet()
    front = world.scenario.receiver.preamplifier
    when = datetime(2026, 3, 1, 20, tzinfo=UTC)
    truth = world.truth_at("10 m", [when], front)
    assert truth.gain_db == pytest.approx(10.0)
    # Friis: the receiver's noise counts a tenth behind ten decibels, and the preamplifier adds its own.
    own = world.scenario.receiver.noise_k(28_071_200) / 290
    figure = 1 + front.kelvin / 290
    mean_w = {
        gain: statistics.fmean(
            world.power_w(when.timestamp(), Listening(28_070_000, "USB", 2400, "load", "bypass", end))
            for _ in range(4000)
        )
        for gain, end in ((1, BARE), (10, front))
    }
    expected = 10 * (figure + own / 10) / (1 + own)
    assert 10 * math.log10(mean_w[10] / mean_w[1]) == pytest.approx(10 * math.log10(expected), abs=0.1)


def test_a_pad_has_a_noise_figure_of_its_own_loss() -> None:
    # Any text on receivers; common practice. The pad at 290 K.
    pad = attenuator(6.0)
    assert 10 * math.log10(1 + pad.kelvin / 290) == pytest.approx(6.0)


@pytest.mark.parametrize(("band", "hour"), [("40 m", 20), ("40 m", 4), ("10 m", 14), ("80 m", 15)])
def test_the_truth_is_what_a_weak_signal_would_find(band: str, hour: int) -> None:
    """S/N by its definition: the same signal in and out, the stage in and out, powers averaged for long."""
    scenario = saltmarsh().scenario
    when = datetime(2026, 3, 1 + (hour < 12), hour, 30, tzinfo=UTC)
    place = next(c for c in scenario.channels if c.band == band and c.purpose == "noise")
    calm = replace(scenario, carriers=(), sky=replace(scenario.sky, crashes_per_s=0.0))
    signal = replace(calm, carriers=(Carrier(place.hz + 1200, 1e-6),), channels=(place,))
    seconds = when.timestamp()

    def power_w(world: World, route: str) -> float:
        return statistics.fmean(
            world.power_w(seconds, Listening(place.hz, "USB", 2400, "antenna", route)) for _ in range(30_000)
        )

    ratio = {}
    for route in ("bypass", "stage"):
        noise_w = power_w(World(calm), route)
        ratio[route] = (power_w(World(signal), route) - noise_w) / noise_w
    change_db = 10 * math.log10(ratio["stage"] / ratio["bypass"])
    assert change_db == pytest.approx(World(signal).truth_at(band, [when]).snr_change_db, abs=0.15)
