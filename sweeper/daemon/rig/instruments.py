"""From a station to its open instruments, through the drivers' entry points."""

import math
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from drivers.contracts import Receiver, SampleSource, Switch, links_of
from drivers.errors import Refused, Transmitting
from drivers.links.identity import same_instrument
from drivers.waiting import bounded
from sweeper.engine import MeasurementSettings, Meter
from sweeper.engine.settings import LEAVE_S, PATIENCE_S
from sweeper.station import Station, sections
from sweeper.station.drivers import driver
from sweeper.words import SignalPath

if TYPE_CHECKING:
    from sweeper.engine.by_samples import SampledSettings
    from sweeper.engine.by_sound import SoundSettings

WIDE_HZ = 1500
"""A pass band that bins of 31.25 Hz part finely enough; a narrower one takes finer bins."""


@dataclass(frozen=True, slots=True)
class Rig:
    """A receiver and a switch, open and ready; `samples` where levels are read from its sound, or from its samples."""

    receiver: Receiver
    switch: Switch
    samples: SampleSource | None = None


class AskingSwitch:
    """A switch that moves to any path but the rest only after the receiver has said that it does not transmit."""

    def __init__(self, switch: Switch, receiver: Receiver, rest: str) -> None:
        self._switch = switch
        self._receiver = receiver
        self._rest = rest

    def identify(self) -> str:
        return self._switch.identify()

    def select(self, path: str) -> int:
        """`Transmitting` when the receiver is on the air: nothing was moved."""
        if path != self._rest and self._receiver.is_transmitting():
            raise Transmitting("receiver", "it says that its transmitter is on; nothing was switched.")
        return self._switch.select(path)

    def selected(self) -> str | None:
        return self._switch.selected()

    def close(self) -> None:
        self._switch.close()


@contextmanager
def open_rig(station: Station) -> Iterator[Rig]:
    """Both instruments, closed at the end whatever happens. `RigError` when one cannot be reached.

    The switch opens first: if the receiver cannot be reached, the relays can still be put to rest. Whoever moves it
    from its rest has the receiver asked first, whether they think of it or not.
    """
    with ExitStack() as closing:
        with bounded(math.inf if station.switch.by_hand else PATIENCE_S):
            switch = open_switch(station)
            closing.callback(switch.close)
            receiver = open_receiver(station)
            closing.callback(receiver.close)
            samples = open_samples(station)
            if samples is not None:
                closing.callback(samples.close)
            if station.receiver.spectrum is not None:
                samples = cast(SampleSource, receiver)
        yield Rig(receiver, AskingSwitch(switch, receiver, str(station.switch.rest)), samples)


def open_receiver(station: Station) -> Receiver:
    """The station's receiver; `RigError` when it cannot be reached."""
    receiver: Receiver = driver(station.receiver.driver).open(station.receiver.options)
    return receiver


def open_samples(station: Station) -> SampleSource | None:
    """The receiver's sound, where levels are read from it; `RigError` when it cannot be captured."""
    audio = station.receiver.audio
    if audio is None:
        return None
    from drivers.samples.sound import open_sound  # arrays take long to load

    return open_sound({"device": audio.device, "rate_hz": audio.rate_hz, "channel": audio.channel})


def open_switch(station: Station) -> Switch:
    """The station's relay board; `RigError` when it cannot be reached, or is where the receiver is."""
    for board in links_of(station.switch.options):
        for receiver in links_of(station.receiver.options):
            if same_instrument(board, receiver, look_up=True):
                raise Refused(
                    "switch",
                    f"{board} is where the receiver is ({receiver}); nothing was sent there.",
                    "Write the relay board's own link.",
                )
    switch: Switch = driver(station.switch.driver).open(station.switch.options)
    return switch


def measurement_settings(station: Station, pass_number: int = 1, lines: object = None) -> MeasurementSettings:
    """How the engine is to measure at this station in a pass. `lines`: those that stood before, as they were kept."""
    receiver, switch = station.receiver, station.switch
    return MeasurementSettings(
        mode=receiver.mode,
        settle_s=receiver.settle_s,
        switch_settle_s=switch.settle_s,
        readings=receiver.readings,
        interval_s=receiver.interval_s,
        rest=SignalPath.parse(str(switch.rest)),
        leave_s=math.inf if switch.by_hand else LEAVE_S,
        visit_s=math.inf if switch.by_hand or receiver.by_hand else PATIENCE_S + longest_visit_s(station),
        meter=Meter(
            in_dbm=receiver.meter.unit == "dBm",
            curve=tuple((point[0], point[1]) for point in receiver.meter.curve),
            floor=receiver.meter.floor,
            top=receiver.meter.top,
        ),
        sound=_sound_settings(receiver, lines),
        sampled=_sampled_settings(station, pass_number, lines),
    )


def _sampled_settings(station: Station, pass_number: int, lines: object) -> "SampledSettings | None":
    told = station.receiver.spectrum
    if told is None:
        return None
    from sweeper.engine.by_samples import SampledSettings  # arrays take long to load
    from sweeper.spectra.lines import CENTRE_MOVES_HZ, known_of, to_read

    shift_hz = CENTRE_MOVES_HZ if pass_number % 2 else -CENTRE_MOVES_HZ
    known, here = known_of(lines), station.tunings()
    return SampledSettings(
        told.seconds,
        told.step_hz,
        {channel: each.edges_hz for channel, each in here.items()},
        {channel: each.noise_hz for channel, each in here.items()},
        {
            channel: to_read(known.get(channel.band, {}), each.edges_hz)
            if each.carriers_hz is None
            else tuple(hz for hz in each.carriers_hz if each.edges_hz[0] < hz < each.edges_hz[1])
            for channel, each in here.items()
        },
        shift_hz,
    )


def _sound_settings(receiver: sections.Receiver, lines: object) -> "SoundSettings | None":
    audio, mode = receiver.audio, receiver.mode.upper()
    if audio is None:
        return None
    from sweeper.engine.by_sound import PITCH_HZ, SoundSettings  # arrays take long to load
    from sweeper.spectra.lines import known_of
    from sweeper.spectra.rows import BEYOND_HZ, FIRST_HZ, LOWEST_HZ

    in_cw = mode in ("CW", "CWR")
    tone_hz = audio.tone_hz if "tone_hz" in audio.model_fields_set or not in_cw else PITCH_HZ
    first_hz = max(tone_hz - receiver.bandwidth_hz / 2, LOWEST_HZ) if in_cw else FIRST_HZ
    last_hz = tone_hz + receiver.bandwidth_hz / 2 if in_cw else FIRST_HZ + receiver.bandwidth_hz
    return SoundSettings(
        seconds=audio.seconds,
        delay_s=audio.delay_s,
        tone_hz=tone_hz,
        first_hz=first_hz,
        filter_hz=last_hz + BEYOND_HZ,
        gain_held=audio.agc_off or _switches_gain_control_off(receiver.options),
        vouched=audio.agc_off,
        mode=mode,
        step_hz=31.25 if receiver.bandwidth_hz >= WIDE_HZ else 7.8125,
        known=known_of(lines),
    )


def _switches_gain_control_off(options: object) -> bool:
    settings = getattr(options, "settings", {})
    return "off" in (
        getattr(options, "agc", ""),
        settings.get("agc", "") if isinstance(settings, dict) else "",
    )


def longest_visit_s(station: Station) -> float:
    """What a visit takes with instruments that answer, and a person at the switch who takes their time; seconds."""
    receiver = station.receiver
    people = [each.options for each in (station.switch, receiver) if each.by_hand]
    person_s = sum(float(getattr(options, "timeout_s", 0.0)) for options in people)
    reading_s = max(float(getattr(receiver.options, "averaging_s", 0.0)), 0.5)
    return (
        person_s
        + receiver.settle_s
        + station.switch.settle_s
        + receiver.readings * (receiver.interval_s + reading_s)
        + (0.0 if receiver.audio is None else receiver.audio.seconds + receiver.audio.delay_s)
        + (0.0 if receiver.spectrum is None else 2.0 * receiver.spectrum.seconds)
    )
