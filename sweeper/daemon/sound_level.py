"""The level of a receiver's sound as it stands, several times a second, while a person turns the knob that sets it."""

import math
import threading
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from drivers.contracts import Block
from drivers.errors import BadReply, Unsupported
from drivers.waiting import bounded
from sweeper.clock import Clock
from sweeper.daemon.rig.borrow import borrowed_rig
from sweeper.daemon.rig.instruments import measurement_settings
from sweeper.engine.sound_tests import MOST_PEAK_DB, OVER_CARD_DB
from sweeper.station import Station
from sweeper.store import Store
from sweeper.words import ANTENNA_STAGE, LOAD_BYPASS, SignalPath

EACH_S = 0.25
ON_A_PATH_S = 4.0
"""Long enough to turn a knob, short enough to see both ends."""
LONGEST_S = 600.0


@dataclass(frozen=True, slots=True)
class Level:
    """Of full scale, dB. `over_card_db`: noise over the sound card's own, None where that is not to be seen."""

    path: SignalPath
    rms_db: float
    peak_db: float
    over_card_db: float | None

    @property
    def advice(self) -> str:
        """What to turn, or that nothing need be turned."""
        if self.peak_db > MOST_PEAK_DB:
            return "turn it down"
        if self.path.route == "bypass" and self.over_card_db is not None and self.over_card_db < OVER_CARD_DB:
            return "turn it up"
        return "right"


def levels(station: Station, store: Store, clock: Clock, stop: threading.Event) -> Iterator[Level]:
    """On the quietest path and on the loudest in turn, until `stop` or for ten minutes; then all is put back.

    `Unsupported` where the station file says nothing of sound. Silence is a level of −120 dB.
    """
    sound = measurement_settings(station).sound
    if sound is None:
        raise Unsupported("sound", "the station file has no audio section.", "See docs/audio.md.")
    noise = next(each for each in station.channels() if each.purpose == "noise")
    quiet = LOAD_BYPASS if LOAD_BYPASS in station.paths() else SignalPath.parse(station.switch.rest)
    ends_s = clock.monotonic() + LONGEST_S
    with bounded(stop=stop), borrowed_rig(station, store, clock) as rig:
        assert rig.samples is not None
        rig.receiver.prepare()
        rig.receiver.set_mode(station.receiver.mode, noise.bandwidth_hz)
        rig.receiver.tune(sound.dial_hz(noise.hz))
        while True:
            for path in (quiet, ANTENNA_STAGE):
                rig.switch.select(str(path))
                until_s = clock.monotonic() + ON_A_PATH_S
                after_s = clock.monotonic() + sound.delay_s
                while clock.monotonic() < until_s:
                    if stop.is_set() or clock.monotonic() > ends_s:
                        return
                    try:
                        block = rig.samples.take(EACH_S, after_s)
                    except BadReply:  # silence: the person has yet to turn it up
                        yield Level(path, -120.0, -120.0, None)
                    else:
                        yield level_of(block, path, sound.filter_hz)


def level_of(block: Block, path: SignalPath, filter_hz: float) -> Level:
    """The level of a block. Its card is heard from 1.15 times `filter_hz` up."""
    samples = block.samples.real.astype(np.float64)
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    hz = np.fft.rfftfreq(len(samples), 1.0 / block.rate_hz)
    beyond = power[(hz > 1.15 * filter_hz) & (hz < 2.0 * filter_hz)]
    inside = power[(hz > 0.3 * filter_hz) & (hz < 0.8 * filter_hz)]
    over_db = None
    if len(beyond) > 20 and beyond.mean() > 0.0:
        over_db = 10.0 * math.log10(max(float(np.median(inside) / np.median(beyond)), 1e-3))
    rms, peak = float(np.sqrt(np.mean(samples**2))), float(np.abs(samples).max())
    return Level(path, 20.0 * math.log10(max(rms, 1e-6)), 20.0 * math.log10(max(peak, 1e-6)), over_db)
