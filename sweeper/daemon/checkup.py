"""A look at the rig before the first night: each part read, nothing left changed.

Every item is a finding in words. The receiver's tuning and the relays are put back whatever happens.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import fmean

from drivers.contracts import Receiver, Switch
from drivers.errors import BadReply, Refused, RigError, Stuck, Unsupported
from drivers.receivers.hamlib_meters import HasTwoMeters
from sweeper import analysis
from sweeper.clock import Clock
from sweeper.daemon.meter_check import against_the_file, finer_meter
from sweeper.daemon.rig.borrow import borrowed_rig
from sweeper.daemon.rig.instruments import Rig, open_receiver, open_switch
from sweeper.daemon.settle_check import unsettled
from sweeper.engine import same_dial
from sweeper.reduction import facts_of
from sweeper.station import Station
from sweeper.store import Store
from sweeper.words import ANTENNA_STAGE, Channel, SignalPath

LOOK_READINGS = 8


@dataclass(frozen=True, slots=True)
class Item:
    """One thing looked at: which part, whether all is well, and what was found, in words.

    `about_meter`: it is what the meter shows of itself, which no mending changes but another meter or a calibration.
    `floor` goes with it, where the meter was seen resting on one, in its own unit.
    """

    part: str
    well: bool
    found: str
    about_meter: bool = False
    floor: float | None = None


def check_rig(station: Station, store: Store, clock: Clock) -> Iterator[Item]:
    """Look at switch and receiver, then at both together; each item comes as soon as it is known."""
    answers = [_switch(station), _receiver(station)]
    yield from answers
    if not all(item.well for item in answers):
        return
    try:
        with borrowed_rig(station, store, clock) as rig:
            yield _transmitter(rig.receiver)
            unknown = rig.receiver.prepare()
            if unknown:
                named = ", ".join(unknown)
                yield Item(
                    "receiver", True, f"cannot tell about {named}: set by hand; the findings carry a flag"
                )
            tunable: list[Channel] = []
            yield from _channels(station, rig.receiver, clock, tunable)
            yield from _lone_channels(station)
            if rig.samples is None:
                yield from _paths(station, rig.receiver, rig.switch, clock, tunable)
            else:
                yield from _sound(station, rig, clock, tunable, unknown)
    except RigError as fault:
        yield _broken(fault)
    else:
        yield Item("restoring", True, f"relays at {station.switch.rest}, receiver in its saved state")


def _transmitter(receiver: Receiver) -> Item:
    """It has just been asked whether it transmits, where it can tell."""
    if receiver.tells_transmit():
        return Item("transmitter", True, "off, as the receiver says")
    return Item("transmitter", True, "not asked: this receiver cannot tell; make sure that none can be keyed")


def _switch(station: Station) -> Item:
    try:
        switch = open_switch(station)
        try:
            return Item(
                "switch", True, f"{switch.identify()} answers, relays at {switch.selected() or 'no path'}"
            )
        finally:
            switch.close()
    except RigError as fault:
        return _broken(fault)


def _receiver(station: Station) -> Item:
    try:
        receiver = open_receiver(station)
        try:
            if station.receiver.by_hand:
                return Item("receiver", True, receiver.identify())
            at = receiver.tuning()
            return Item("receiver", True, f"{receiver.identify()} answers, at {at.hz} Hz {at.mode}")
        finally:
            receiver.close()
    except RigError as fault:
        return _broken(fault)


def _broken(fault: RigError, where: str = "") -> Item:
    return Item(fault.part, False, f"{where}{fault.what} {fault.mend}".strip())


NOT_TAKEN = (Refused, Unsupported, Stuck)
"""What a receiver says of a value that it cannot be set to; it answers all the same, so the rest can be looked at."""


def _range_hz(receiver: Receiver) -> tuple[int, int] | None:
    try:
        return receiver.frequency_range_hz()
    except (*NOT_TAKEN, BadReply):
        return None


def _channels(station: Station, receiver: Receiver, clock: Clock, tunable: list[Channel]) -> Iterator[Item]:
    """Tune to every channel and time the stay; those that can be tuned to are added to `tunable`."""
    mode, range_hz = station.receiver.mode, _range_hz(receiver)
    began = clock.monotonic()
    # by hand the first will do: somebody would have to turn the dial to each
    for channel in station.channels()[: 1 if station.receiver.by_hand else None]:
        where = f"{channel.band}, {channel.hz} Hz: "
        if range_hz is not None and not range_hz[0] <= channel.hz <= range_hz[1]:
            span = f"{range_hz[0]} to {range_hz[1]} Hz"
            yield Item(
                "tuning", False, f"{where}outside the receiver's range, {span}. Leave the channel out."
            )
            continue
        try:
            receiver.set_mode(mode, channel.bandwidth_hz)
        except NOT_TAKEN as fault:
            yield _broken(
                fault, f"it does not take mode {mode} with {channel.bandwidth_hz} Hz; see receiver.mode. "
            )
            return
        try:
            receiver.tune(dial_hz := station.receiver.dial_hz(channel.hz))
        except NOT_TAKEN as fault:
            yield _broken(fault, where)
            continue
        clock.sleep(station.receiver.settle_s)
        at = receiver.frequency_hz()
        if not same_dial(at, dial_hz):
            yield Item("tuning", False, f"told to go to {dial_hz} Hz, the receiver says {at} Hz")
        tunable.append(channel)
    if not tunable:
        return
    each_s = (clock.monotonic() - began) / len(tunable)
    yield Item("tuning", True, f"{len(tunable)} channels, {each_s:.2f} s each")
    if station.receiver.audio is not None:
        return
    values = _readings(station, receiver, clock)
    began = clock.monotonic()
    receiver.read_power()
    one_s = clock.monotonic() - began
    yield Item(
        "meter", True, f"reads {fmean(values):.1f} {station.receiver.meter.unit}, {one_s:.3f} s a reading"
    )


def _sound(
    station: Station, rig: Rig, clock: Clock, channels: Sequence[Channel], unknown: Sequence[str]
) -> Iterator[Item]:
    from sweeper.daemon.sound_check import check_sound  # arrays take long to load

    for part, well, found in check_sound(station, rig, clock, channels, unknown):
        yield Item(part, well, found)


def _lone_channels(station: Station) -> Iterator[Item]:
    """Bands whose one noise channel has no fellow to show that a signal sits on it."""
    noise = [channel.band for channel in station.channels() if channel.purpose == "noise"]
    lone = [band for band in dict.fromkeys(noise) if noise.count(band) == 1]
    if lone:
        yield Item(
            "channels",
            True,
            f"only one for noise on {', '.join(lone)}: a second, a few kHz away, would show a signal that sits on one",
        )


def _paths(
    station: Station, receiver: Receiver, switch: Switch, clock: Clock, channels: Sequence[Channel]
) -> Iterator[Item]:
    """Select every path; the meter must notice the stage on some of the channels."""
    moved = []
    taken: list[analysis.TakenVisit] = []
    noise = {channel.band: channel for channel in reversed(channels) if channel.purpose == "noise"}
    for path in station.paths():
        switch.select(str(path))
        clock.sleep(station.switch.settle_s)
        stands = switch.selected()
        yield Item(f"path {path}", stands == str(path), f"relays stand at {stands or 'an unknown path'}")
        if stands == str(path):
            taken += [_taken(station, receiver, clock, noise[band], path) for band in sorted(noise)]
    if not channels:
        return
    places = [channel for channel in channels if channel.purpose == "noise"]
    if late := unsettled(station, receiver, switch, clock, places):
        yield Item("settling", False, late)
        return  # what it showed so far tells nothing of meter, stage or relays
    if taken:
        shown = [value for visit in taken for value in visit.readings]
        yield from (Item("meter", False, told) for told in against_the_file(station, shown))
        if isinstance(receiver, HasTwoMeters) and (told := finer_meter(receiver)):
            yield Item("meter", True, told, about_meter=True)
        seen = analysis.meter_seen(taken, facts_of(station).meter)
        yield from (Item("meter", True, sentence, True, seen.floor) for sentence in seen.sentences)
    for channel in channels:
        receiver.set_mode(station.receiver.mode, channel.bandwidth_hz)
        receiver.tune(channel.hz)
        levels = []
        for side in (station.switch.rest, str(ANTENNA_STAGE)):
            switch.select(side)
            clock.sleep(max(station.switch.settle_s, station.receiver.settle_s))
            levels.append(fmean(_readings(station, receiver, clock)))
        moved.append(abs(levels[1] - levels[0]))
        if moved[-1] >= NOTICED_DB:
            yield Item("relay and meter", True, f"on {channel.band} the reading moves by {moved[-1]:.1f} dB")
            return
    yield Item(
        "relay and meter",
        False,
        f"on no channel does the reading move by {NOTICED_DB:.0f} dB with the stage: a dead relay, a stage without "
        f"supply, or a meter that stands still. Listen while you switch by hand.",
    )


def _taken(
    station: Station, receiver: Receiver, clock: Clock, channel: Channel, path: SignalPath
) -> analysis.TakenVisit:
    receiver.set_mode(station.receiver.mode, channel.bandwidth_hz)
    receiver.tune(channel.hz)
    clock.sleep(station.receiver.settle_s)
    readings = tuple(_readings(station, receiver, clock))
    return analysis.TakenVisit(channel.band, path.source, path.route, channel.bandwidth_hz, readings)


NOTICED_DB = 2.0
"""More than two steps of a 1 dB meter: what chance does not do to a mean of eight readings."""


def _readings(station: Station, receiver: Receiver, clock: Clock) -> list[float]:
    values = []
    for _ in range(LOOK_READINGS):
        values.append(receiver.read_power())
        clock.sleep(station.receiver.interval_s)
    return values
