"""The simulated world: what power reaches the receiver at any instant, on any frequency, through any path.

Means are pure functions of time, frequency, path and seed; only the noise of a single reading is drawn. Everything
is in watts, volts and kelvins, and nothing here knows how readings are reduced: this is what the analysis is
checked against.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple

from sweeper.simulation.world.chance import Draws
from sweeper.simulation.world.devices import Device, kelvin_at, strength
from sweeper.simulation.world.hardware import (
    BARE,
    BOLTZMANN_J_PER_K,
    Antenna,
    FrontEnd,
    Receiver,
    Relays,
    Stage,
    along,
)
from sweeper.simulation.world.sky import Sky
from sweeper.simulation.world.town import Appliance, Broadcasters, Carrier, ManMade
from sweeper.words import Channel

_KEPT = 2_000
OVERLOAD = 10**0.1
"""From this factor on, products of the stage in its noise count as overload: 1 dB."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What is so, on a band over some instants: decibels, averaged over them; no reading went into it."""

    gain_db: float
    snr_change_db: float
    noise_rise_db: float
    stage_noise_figure_db: float
    receiver_noise_figure_db: float
    products_db: float
    """How far intermodulation lifts the noise behind the stage."""
    overload: bool


class Listening(NamedTuple):
    """How the receiver is set (`hz`: its dial) and through which path it hears which source."""

    hz: float
    mode: str
    bandwidth_hz: float
    source: str
    route: str
    front: FrontEnd = BARE


@dataclass(frozen=True, slots=True)
class Means:
    """What stands at the receiver's input during one minute: watts in the pass band.

    `carriers` holds (mean watts, carrier); crashes come `crash_rate_hz` a second with `crash_w` on average.
    """

    noise_w: float
    carriers: tuple[tuple[float, Carrier], ...]
    crash_w: float
    crash_rate_hz: float


@dataclass(frozen=True, slots=True)
class Scenario:
    """Everything that makes up a simulated station and its surroundings."""

    name: str
    seed: int
    sky: Sky
    settlement: ManMade
    appliances: tuple[Appliance, ...]
    carriers: tuple[Carrier, ...]
    broadcasters: tuple[Broadcasters, ...]
    antenna: Antenna
    relays: Relays
    stage: Stage
    receiver: Receiver
    channels: tuple[Channel, ...]
    first_evening: datetime
    load_k: float = 290.0
    source_k: float = 290.0 * (1.0 + 10.0**1.5)
    mode: str = "USB"
    devices: tuple[Device, ...] = ()


class World:
    """A scenario and its random numbers. Only the fast noise of the readings depends on what was read before.

    `devices_as_noise`: with the devices' broad noise in the levels, for whoever asks for the truth.
    """

    def __init__(self, scenario: Scenario, devices_as_noise: bool = False) -> None:
        self.scenario, self._devices_as_noise = scenario, devices_as_noise
        self._draws = Draws(scenario.seed)
        self._means: dict[tuple[Listening, int], Means] = {}
        self.unplugged: set[str] = set()

    @property
    def bands(self) -> tuple[str, ...]:
        """Band names in their order."""
        return tuple(dict.fromkeys(channel.band for channel in self.scenario.channels))

    @property
    def first_evening(self) -> datetime:
        """When a first simulated night may well begin: an afternoon, UTC."""
        return self.scenario.first_evening

    def power_w(self, time_s: float, at: Listening) -> float:
        """Power at the receiver's input averaged over its time constant, receiver noise included: one draw, W.

        `time_s` is Unix time. Noise averaged over bandwidth B and time t is gamma distributed
        (chi-squared with 2Bt degrees of freedom); a carrier adds to the voltage of one of them.
        """
        key = (at, int(time_s // 60))
        means = self._means.get(key)
        if means is None:
            if len(self._means) >= _KEPT:
                self._means.clear()
            means = self._means[key] = self.means(time_s, at)
        draws = self._draws
        averaging_s = self.scenario.receiver.averaging_s
        shape = at.bandwidth_hz * averaging_s
        scale_w = means.noise_w / shape
        seed = self.scenario.seed
        carrier_w = 0.0
        for mean_w, carrier in means.carriers:
            carrier_w += mean_w * carrier.fading(seed, time_s)
        if carrier_w:
            voltage = math.sqrt(carrier_w) + math.sqrt(scale_w / 2.0) * draws.normal()
            power = voltage * voltage + scale_w * draws.gamma(max(shape - 0.5, 0.1))
        else:
            power = scale_w * draws.gamma(shape)
        if means.crash_rate_hz and draws.uniform() < means.crash_rate_hz * averaging_s:
            power += means.crash_w * draws.exponential() ** 2
        return power

    def means(self, time_s: float, at: Listening) -> Means:
        """What the minute of `time_s` holds, on average."""
        scenario = self.scenario
        low_hz, high_hz = pass_band(at.hz, at.mode, at.bandwidth_hz)
        middle_hz = (low_hz + high_hz) / 2.0
        signal_gain, noise_k = self._chain(time_s, middle_hz, at.source, at.route, at.front)
        noise_w = BOLTZMANN_J_PER_K * noise_k * at.bandwidth_hz
        if at.source != "antenna":
            return Means(noise_w, (), 0.0, 0.0)
        carriers = tuple(
            (watts * signal_gain, carrier)
            for carrier in scenario.carriers
            if low_hz <= carrier.hz <= high_hz and carrier.stands(scenario.seed, time_s)
            if (watts := carrier.mean_watts(scenario.seed, time_s)) > 0.0
        )
        crash_k = (
            300.0
            * along(scenario.antenna.efficiency, middle_hz)
            * self.scenario.sky.atmospheric_k(middle_hz, time_s)
        )
        return Means(
            noise_w,
            carriers,
            BOLTZMANN_J_PER_K * crash_k * at.bandwidth_hz * signal_gain,
            scenario.sky.crash_rate_hz(time_s),
        )

    @property
    def devices(self) -> tuple[Device, ...]:
        """Those that are plugged in: `unplugged` holds names, and somebody may change it at any time."""
        return tuple(each for each in self.scenario.devices if each.name not in self.unplugged)

    def signal_gain(self, time_s: float, at: Listening) -> float:
        """Power gain from the terminals of the path's source to the mixer."""
        return self._chain(time_s, at.hz, at.source, at.route, at.front)[0]

    def _input_k(self, time_s: float, hz: float, source: str) -> float:
        scenario = self.scenario
        if source == "load":
            return scenario.load_k
        if source == "noise":
            return scenario.source_k
        kelvin = scenario.sky.noise_k(hz, time_s) + scenario.settlement.noise_k(hz, time_s)
        for appliance in scenario.appliances:
            kelvin += appliance.noise_k(hz, time_s)
        own_k = sum(
            kelvin_at(each, hz) * strength(each, scenario.seed, scenario.sky.longitude_deg, time_s)
            for each in (self.devices if self._devices_as_noise else ())
        )
        return scenario.antenna.noise_k(kelvin, hz) + own_k

    def _chain(
        self, time_s: float, hz: float, source: str, route: str, front: FrontEnd = BARE
    ) -> tuple[float, float]:
        """From the source's terminals to the mixer: (power gain, noise there in kelvin with the receiver's own)."""
        gain, noise_k = self._route(time_s, hz, source, route)
        own_k = self.scenario.receiver.noise_k(hz)
        return gain * front.gain, front.gain * (noise_k + front.kelvin) + own_k

    def _route(self, time_s: float, hz: float, source: str, route: str) -> tuple[float, float]:
        """From the source's terminals to the receiver's socket: (power gain, noise there in kelvin)."""
        scenario, relays = self.scenario, self.scenario.relays
        if source == "open":  # a relay on its way from one contact to the other
            return 0.0, relays.kelvin
        input_k = self._input_k(time_s, hz, source)
        if route == "bypass":
            passed = relays.bypass_passes
            return passed, passed * input_k + (1.0 - passed) * relays.kelvin
        stage = scenario.stage
        strong_w = [block.watts(time_s) for block in scenario.broadcasters] if source == "antenna" else []
        gain = relays.stage_passes * stage.gain_at(hz, sum(strong_w))
        if strong_w:
            input_k += stage.products_w_per_hz(hz, scenario.broadcasters, strong_w) / BOLTZMANN_J_PER_K
        added_k = (1.0 - relays.stage_passes) * relays.kelvin
        return gain, gain * (input_k + stage.kelvin) + added_k

    def truth(self, band: str, hour_utc: int, nights: Sequence[date]) -> Truth:
        """The truth of one hour of the day, averaged over nights named by the day they begin on."""
        start = timedelta(hours=hour_utc)
        # A night runs from local mean noon to noon: hours before that noon belong to the day after its name.
        noon_utc_h = 12.0 - self.scenario.sky.longitude_deg / 15.0
        next_day = timedelta(days=1 if hour_utc + 0.5 < noon_utc_h else 0)
        times = [
            datetime(night.year, night.month, night.day, tzinfo=UTC)
            + next_day
            + start
            + timedelta(minutes=minutes)
            for night in nights
            for minutes in range(2, 60, 5)
        ]
        return self.truth_at(band, times)

    def truth_at(self, band: str, times: Iterable[datetime], front: FrontEnd | None = None) -> Truth:
        """The truth over the given instants, on the band's noise channels. ValueError for an unknown band.

        With `front`, that part of the receiver is what is switched, and the relays stay in bypass.
        """
        places = [c for c in self.scenario.channels if c.band == band and c.purpose == "noise"]
        if not places:
            raise ValueError(f"{band!r} has no noise channel; the bands are {', '.join(self.bands)}")
        gains, changes, rises, stage_figures, receiver_figures, products = [], [], [], [], [], []
        quiet = World(replace(self.scenario, broadcasters=()), self._devices_as_noise)
        switched = ("stage", BARE) if front is None else ("bypass", front)
        for time in times:
            for place in places:
                low_hz, high_hz = pass_band(place.hz, self.scenario.mode, place.bandwidth_hz)
                hz, time_s = (low_hz + high_hz) / 2.0, time.timestamp()
                passed, bypass_k = self._chain(time_s, hz, "antenna", "bypass")
                amplified, stage_k = self._chain(time_s, hz, "antenna", *switched)
                clean_k = quiet._chain(time_s, hz, "antenna", *switched)[1]
                load_k = self._chain(time_s, hz, "load", "bypass")[1]
                weak_gain, load_stage_k = quiet._chain(time_s, hz, "load", *switched)
                own_k = self.scenario.receiver.noise_k(hz)
                gains.append(_db(amplified / passed))
                changes.append(_db(amplified / passed) - _db(stage_k / bypass_k))
                rises.append(_db(bypass_k / load_k))
                products.append(_db(stage_k / clean_k))
                receiver_figures.append(_db(load_k / 290.0))
                stage_figures.append(_db((load_stage_k - own_k) / (weak_gain / passed) / 290.0))
        worst = _mean(products)
        return Truth(
            gain_db=_mean(gains),
            snr_change_db=_mean(changes),
            noise_rise_db=_mean(rises),
            stage_noise_figure_db=_mean(stage_figures),
            receiver_noise_figure_db=_mean(receiver_figures),
            products_db=worst,
            overload=worst >= _db(OVERLOAD),
        )


def pass_band(hz: float, mode: str, bandwidth_hz: float) -> tuple[float, float]:
    """Lowest and highest frequency that a receiver on that dial and mode hears."""
    if mode in ("USB", "PKTUSB", "RTTY"):
        return hz, hz + bandwidth_hz
    if mode in ("LSB", "PKTLSB", "RTTYR"):
        return hz - bandwidth_hz, hz
    return hz - bandwidth_hz / 2.0, hz + bandwidth_hz / 2.0


def _db(ratio: float) -> float:
    return 10.0 * math.log10(ratio)


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)
