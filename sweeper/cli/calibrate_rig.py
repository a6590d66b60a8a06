"""The meter, or the receiver's sound, read at the rig for a calibration. What is made of the readings is elsewhere."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from sweeper.cli.calibrate_pad import Read, by_hand, by_relay
from sweeper.cli.options import open_store
from sweeper.clock import Clock, SystemClock
from sweeper.errors import UserFacingError
from sweeper.words import ANTENNA_BYPASS, Channel, Visit

if TYPE_CHECKING:
    from sweeper.analysis import PadStep
    from sweeper.daemon.rig.instruments import Rig
    from sweeper.station import Station
    from sweeper.store import Store

READINGS = 32
SPECTRA = 4
"""As many readings of the receiver's sound, each of hundreds of a meter's."""


@contextmanager
def meter_at_rig(
    station: "Station",
    store: "Store",
    hz: int | None,
    path: str | None = None,
    *,
    of_noise: bool = False,
    clock: Clock | None = None,
) -> "Iterator[Read]":
    """The receiver on its channel through a path (the rest if left out), as a call that reads the meter.

    Each call may name another path. Receiver and relays are restored at the end. `of_noise`: what is to be read is
    noise, not a generator's carrier, where it is read from the receiver's sound.
    """
    from sweeper.daemon.rig.borrow import borrowed_rig

    clock = clock or SystemClock()
    with borrowed_rig(station, store, clock) as rig:
        rig.receiver.prepare()
        if path is not None:
            rig.switch.select(path)
            clock.sleep(station.switch.settle_s)
        channel = station.channels()[0]
        rig.receiver.set_mode(station.receiver.mode, channel.bandwidth_hz)
        at_hz = hz if hz is not None else channel.hz
        rig.receiver.tune(station.receiver.dial_hz(at_hz))
        if rig.samples is not None:
            yield _by_sound(
                station, rig, clock, replace(channel, hz=at_hz, purpose="noise" if of_noise else "carrier")
            )
            return

        def read(other: str | None = None) -> tuple[float, ...]:
            if other is not None:
                rig.switch.select(other)
                clock.sleep(station.switch.settle_s)
            clock.sleep(station.receiver.settle_s)
            values = []
            for _ in range(READINGS):
                clock.sleep(station.receiver.interval_s)
                values.append(rig.receiver.read_power())
            return tuple(values)

        yield read


def steps_at_rig(
    station: "Station",
    station_file: Path,
    data: Path | None,
    hz: int | None,
    step_db: float,
    *,
    by_stage: bool,
) -> "list[PadStep]":
    """Levels with a step of `step_db` and without, read at the rig; below 0 where it is a stage that takes away."""
    step = station.receiver.meter.step_db
    with (
        open_store(station, station_file, data, read_only=False) as store,
        meter_at_rig(station, store, hz) as read,
    ):
        return by_relay(read, step_db, step) if by_stage else by_hand(read, step_db, step)


def _by_sound(station: "Station", rig: "Rig", clock: Clock, channel: Channel) -> "Read":
    """The same where levels come from the receiver's sound: what stands at the channel's place, as a carrier's row."""
    from sweeper.daemon.rig.instruments import measurement_settings
    from sweeper.engine.by_sound import Listening

    sound = measurement_settings(station).sound
    assert sound is not None and rig.samples is not None
    listening = Listening(rig.samples, sound, clock)
    listening.allowed(rig.receiver.prepare())
    visit = Visit(channel, ANTENNA_BYPASS)

    def read(other: str | None = None) -> tuple[float, ...]:
        if other is not None:
            rig.switch.select(other)
            clock.sleep(station.switch.settle_s)
        values: list[float] = []
        for _ in range(SPECTRA):
            listening.hear(visit)
            values += [row.reading for row in listening.last(visit, 0)]
        if not values:
            raise UserFacingError(
                "No level can be told in this sound: is the pass band whole, and nothing clipped?"
            )
        return tuple(values)

    return read
