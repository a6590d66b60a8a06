"""The instruments' common state: where the dial stands, how the relays lie, and what the meter shows.

One bench is shared by a simulated receiver and a simulated relay board, so that what the receiver hears depends on
the relays at that moment of the clock.
"""

import math
import threading
from typing import Literal

from sweeper.clock import Clock
from sweeper.simulation.world.hardware import BARE, FrontEnd, attenuator
from sweeper.simulation.world.world import Listening, World

S9_W = (50e-6) ** 2 / 50.0
"""S9 is 50 microvolts in 50 ohms: IARU Region 1 Technical Recommendation R.1."""


class Bench:
    """State of dial, relays and meter, safe to use from the threads of several wires.

    Coil 0 puts the stage in, coil 1 the load in the antenna's place, coil 2 the noise source.
    """

    def __init__(self, world: World, clock: Clock, coils: int = 8) -> None:
        self._world = world
        self._clock = clock
        self._lock = threading.Lock()
        self._receiver = world.scenario.receiver
        self.hz = 7_074_000
        self.mode = "LSB"
        self.bandwidth_hz = 2400
        self.transmitting = False
        self.refused_hz: set[int] = set()
        self.frozen = False
        self.attenuator_db = 0
        self.preamplifier = False
        self.slow_agc = False
        self.agc_off = False
        self.rf_gain = 1.0
        self._coils = [False] * coils
        self._stuck: set[int] = set()
        self._source, self._route = "antenna", "bypass"
        self._moved_at = -math.inf
        self._read_at = -math.inf
        self._level_db = self._receiver.floor_db
        self.relay_operations = 0

    # the dial

    def tune(self, hz: int) -> bool:
        """Set the dial; False where the receiver refuses."""
        if hz in self.refused_hz or not self._receiver.lowest_hz <= hz <= self._receiver.highest_hz:
            return False
        self.hz = hz
        return True

    def turn_dial(self, hz: int, mode: str | None = None) -> None:
        """Somebody turns the dial by hand."""
        self.hz = hz
        self.mode = mode or self.mode

    # the relays

    @property
    def coils(self) -> tuple[bool, ...]:
        """Whether each relay's coil is energised, by number of the relay less one."""
        return tuple(self._coils)

    @property
    def path(self) -> str:
        """The path that the relays connect to the receiver."""
        return f"{self._source}-{self._route}"

    def set_coil(self, number: int, on: bool) -> None:
        """Drive one relay; one that sticks stays where it is. IndexError beyond the last."""
        with self._lock:
            if number in self._stuck or self._coils[number] == on:
                return
            self._coils[number] = on
            self.relay_operations += 1
            self._moved_at = self._clock.monotonic()
            self._route = "stage" if self._coils[0] else "bypass"
            self._source = "noise" if self._coils[2] else "load" if self._coils[1] else "antenna"

    def stick(self, number: int) -> None:
        """From now on this relay stays where it lies."""
        self._stuck.add(number)

    def loosen(self, number: int) -> None:
        """End what `stick` began: the relay follows its coil again."""
        self._stuck.discard(number)

    def heard_through(self) -> tuple[str, str]:
        """What the receiver is connected to at this moment: source (``open`` while a relay moves) and route."""
        with self._lock:
            moving = self._clock.monotonic() - self._moved_at < self._world.scenario.relays.operate_s
            return ("open" if moving else self._source), self._route

    @property
    def agc(self) -> Literal["off", "fast", "slow"]:
        """How its gain control stands."""
        return "off" if self.agc_off else "slow" if self.slow_agc else "fast"

    # the meter

    @property
    def front_end(self) -> FrontEnd:
        """What the receiver's own attenuator and preamplifier make of what comes in."""
        if self.attenuator_db:
            return attenuator(self.attenuator_db)
        return self._receiver.preamplifier if self.preamplifier else BARE

    def level_db(self) -> float:
        """What the meter's needle shows: dB over S9, before steps and ends. It moves only when time does."""
        with self._lock:
            now = self._clock.monotonic()
            passed_s = now - self._read_at
            if self.frozen or passed_s <= self._receiver.refresh_s:
                return self._level_db
            source = "open" if now - self._moved_at < self._world.scenario.relays.operate_s else self._source
            now_s = self._clock.now().timestamp()
            at = Listening(self.hz, self.mode, self.bandwidth_hz, source, self._route, self.front_end)
            watts = self._world.power_w(now_s, at)
            target_db = 10.0 * math.log10(watts / S9_W) + self._receiver.error_db
            if self.rf_gain < 1.0:  # turned back, the control holds the needle up
                target_db = max(target_db, self._receiver.floor_db + 100.0 * (1.0 - self.rf_gain))
            lag_s = self._receiver.slow_agc_s if self.slow_agc else self._receiver.lag_s
            left = math.exp(-passed_s / lag_s) if lag_s else 0.0
            self._level_db = target_db + left * (self._level_db - target_db)
            self._read_at = now
            return self._level_db

    def strength_db(self) -> float:
        """The needle after the meter's own steps, between its ends."""
        receiver = self._receiver
        level_db = round(self.level_db() / receiver.step_db) * receiver.step_db
        return min(max(level_db, receiver.floor_db), receiver.top_db)

    def reboot_receiver(self) -> None:
        """Power lost and back: the dial where the maker left it."""
        self.hz, self.mode, self.bandwidth_hz = 14_000_000, "USB", 2400
        self.transmitting = False
        self.attenuator_db, self.preamplifier, self.rf_gain = 0, False, 1.0
        self.slow_agc = self.agc_off = False

    def reboot_board(self) -> None:
        """Power lost and back: every relay falls open."""
        for number in range(len(self._coils)):
            self.set_coil(number, False)
