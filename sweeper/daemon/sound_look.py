"""The rig and its sound while a check looks at it, and what every look at it needs."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from drivers.contracts import SampleSource
from sweeper.clock import Clock
from sweeper.daemon.rig.instruments import Rig
from sweeper.engine.by_sound import SoundSettings
from sweeper.engine.sound_tests import of_tuning
from sweeper.station import Station
from sweeper.words import Channel, Reading, SignalPath

Finding = tuple[str, bool, str]
"""(part, whether all is well, words)."""
NOTICED_DB = 2.0
"""What chance does not do to two seconds of sound."""


@dataclass(frozen=True, slots=True)
class Look:
    station: Station
    rig: Rig
    clock: Clock
    samples: SampleSource
    sound: SoundSettings

    def tune(self, hz: int) -> None:
        self.rig.receiver.tune(hz)
        self.clock.sleep(self.station.receiver.settle_s)

    def select(self, path: SignalPath) -> str | None:
        self.rig.switch.select(str(path))
        self.clock.sleep(self.station.switch.settle_s)
        return self.rig.switch.selected()


def level_of_channel(readings: Sequence[Reading], channel: Channel, path: SignalPath) -> float | None:
    """Mean of what a channel's tuning reads on a path, dB: its carrier, or its noise cells."""
    mine = [each.reading for each in readings if each.path == path and of_tuning(each.channel, channel)]
    return fmean(mine) if mine else None
