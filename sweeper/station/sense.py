"""What must fit together in a station file: each mistake has its sentence.

Works on a whole `Station` and on one of which parts are None because they did not validate.
"""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

from drivers.contracts import links_of
from drivers.links.identity import same_instrument
from sweeper.station.lines import Place
from sweeper.station.moments import MomentError, parse_duration, parse_moment
from sweeper.station.sense_edges import edges
from sweeper.words import SIDEBANDS, SignalPath

Finding = tuple[Place, str, str]
LEAST_DB_A_DB, MOST_DB_A_DB = 0.1, 10.0
"""No S-meter shows a decibel as less or more: S-units of 1.5 to 10 dB are 0.25 to 1.7 (common practice)."""


def check(station: Any) -> Iterator[Finding]:
    """Every mistake as (place, what, mend)."""
    yield from _receiver(station.receiver)
    yield from _switch(station.switch)
    yield from _own_links(station.receiver, station.switch)
    yield from _bands(station.bands, station.receiver)
    yield from _noise_source(station)
    yield from _windows(station.schedule)


def _receiver(receiver: Any) -> Iterator[Finding]:
    if receiver is None:
        return
    lowest, highest = receiver.range_hz or (0, 1)
    if lowest >= highest:
        yield (
            ("receiver", "range_hz"),
            "the range ends below where it begins.",
            "Write [lowest, highest] in hertz.",
        )
    yield from _audio(receiver)
    if receiver.spectrum is not None and receiver.options is not None:
        if not hasattr(receiver.options, "for_spectrum"):
            yield (
                ("receiver", "spectrum"),
                f"the driver {receiver.driver} gives no samples of a band.",
                "Leave spectrum out; driver: soapy and driver: iq-tcp have one.",
            )
        if receiver.audio is not None:
            yield (
                ("receiver", "spectrum"),
                "levels come from sound or from samples.",
                "Leave one of the two out.",
            )
    if getattr(receiver, "driver", None) == "dial-by-hand" and receiver.audio is None:
        yield (
            ("receiver", "audio"),
            "a receiver whose dial is set by hand has no meter that could be read.",
            "Add an audio section: levels then come from its sound (docs/audio.md).",
        )
    meter = receiver.meter
    if meter is None:
        return
    yield from _numbers(receiver, meter)
    for index, (before, after) in enumerate(pairwise(meter.curve or ())):
        if after[0] <= before[0] or after[1] <= before[1]:
            yield (
                ("receiver", "meter", "curve", index + 1),
                f"the curve folds back: {after[0]:g} → {after[1]:g} dBm after {before[0]:g} → {before[1]:g} dBm.",
                "Readings and dBm must both rise from pair to pair; measure the odd point again.",
            )
    if len(meter.curve or ()) == 1:
        yield ("receiver", "meter", "curve"), "one pair makes no curve.", "Give at least two pairs, or none."
    if "s9_dbm" in meter.model_fields_set and meter.unit not in (None, "dB-over-S9"):
        yield (
            ("receiver", "meter", "s9_dbm"),
            f"S9 is a level of meters in dB over S9, and this one reads in {meter.unit}.",
            "Leave it out, or write unit: dB-over-S9.",
        )
    ends = [reading for reading, _ in meter.curve or ()]
    if len(ends) > 1 and meter.floor is not None and meter.floor >= max(ends):
        yield (
            ("receiver", "meter", "floor"),
            f"the floor, {meter.floor:g}, lies above all that the curve knows, up to {max(ends):g}.",
            "The floor is the lowest value that the meter shows, in the unit of the curve's readings.",
        )
    if len(ends) > 1 and meter.top is not None and meter.top <= min(ends):
        yield (
            ("receiver", "meter", "top"),
            f"the top, {meter.top:g}, lies below all that the curve knows, from {min(ends):g} on.",
            "The top is the highest value that the meter shows, in the unit of the curve's readings.",
        )
    if meter.floor is not None and meter.top is not None and meter.floor >= meter.top:
        yield (
            ("receiver", "meter", "floor"),
            "the meter's floor is not below its top.",
            "Swap or mend the two values.",
        )


def _numbers(receiver: Any, meter: Any) -> Iterator[Finding]:
    """What the meter's numbers are said to be."""
    if getattr(receiver.options, "level", "") == "RAWSTR" and meter.unit != "raw":
        yield (
            ("receiver", "meter", "unit"),
            f"RAWSTR is the receiver's own number, and no {meter.unit}.",
            "Write unit: raw, or level: STRENGTH.",
        )
    if meter.curve_from == "table" and not meter.curve:
        yield (
            ("receiver", "meter", "curve_from"),
            "there is no curve that could be from a table.",
            "Write the table's pairs of reading and dBm as curve, or leave curve_from out.",
        )
    if meter.unit != "dB-over-S9":
        return
    for index, (before, after) in enumerate(pairwise(meter.curve or ())):
        if after[0] > before[0] and after[1] > before[1]:
            slope = (after[1] - before[1]) / (after[0] - before[0])
            if not LEAST_DB_A_DB <= slope <= MOST_DB_A_DB:
                yield (
                    ("receiver", "meter", "curve", index + 1),
                    f"by the curve a decibel shown would be {slope:.3g} dB from {before[0]:g} to {after[0]:g}.",
                    "Readings come first in each pair, dBm second; measure the odd point again.",
                )


def _audio(receiver: Any) -> Iterator[Finding]:
    """Sound needs a detector that keeps power as it is."""
    if receiver.audio is None or receiver.mode is None:
        return
    mode = receiver.mode.upper()
    if mode == "AM":
        yield (
            ("receiver", "mode"),
            "in AM the detector bends what it hears: a signal as strong as its noise reads a decibel off.",
            "Write mode: USB; a carrier then sounds tone_hz above the dial, and whoever listened in AM gets it back.",
        )
    elif mode not in SIDEBANDS:
        yield (
            ("receiver", "mode"),
            f"levels cannot be read from sound in {receiver.mode}.",
            f"One of {', '.join(SIDEBANDS)}.",
        )
    if receiver.meter is not None and receiver.meter.unit != "raw":
        yield (
            ("receiver", "meter", "unit"),
            f"with audio levels are in decibels of full scale, not in {receiver.meter.unit}.",
            "Leave meter out: the receiver's own meter is read beside the sound, and only held against it.",
        )
    tone_hz, width_hz = receiver.audio.tone_hz, receiver.bandwidth_hz
    if mode in ("USB", "LSB") and tone_hz and width_hz and tone_hz > width_hz:
        yield (
            ("receiver", "audio", "tone_hz"),
            f"{tone_hz} Hz does not come through a pass band of {width_hz} Hz.",
            "Write 1000.",
        )


def _own_links(receiver: Any, switch: Any) -> Iterator[Finding]:
    """What is meant for relays must not reach a receiver, under whatever name its link is written."""
    if receiver is None or switch is None:
        return
    for ours in links_of(receiver.options):
        for theirs in links_of(switch.options):
            if same_instrument(ours, theirs):
                yield (
                    ("switch", "link"),
                    f"{theirs} is where the receiver is ({ours}); it would take what is meant for relays for commands.",
                    "Write the relay board's own link. For the receiver's own preamplifier: driver: own-stage.",
                )


def _switch(switch: Any) -> Iterator[Finding]:
    if switch is None:
        return
    if switch.settle_s == 0 and switch.driver != "person":
        yield (
            ("switch", "settle_s"),
            "a real relay bounces for some milliseconds, and readings taken meanwhile belong to no path.",
            "Give at least the operate time of its data sheet, such as 0.03.",
        )
    if switch.rest is not None and switch.rest != "antenna-bypass":
        yield (
            ("switch", "rest"),
            f"the rest path is {switch.rest!r}, but at rest the antenna goes straight to the receiver, as by hand.",
            "Write rest: antenna-bypass, wired so that it is the state of the relays without power.",
        )
    if switch.paths is None:
        return
    named = {}
    for name, setting in switch.paths.items():
        place = ("switch", "paths", name)
        try:
            named[str(SignalPath.parse(name))] = setting
        except ValueError as error:
            yield place, f"{error}.", "Rename it, or leave it out."
            continue
        if not setting:
            yield (
                place,
                "this path sets no relays, so nobody knows how they would stand.",
                "Name every relay with on or off.",
            )
    for needed in ("antenna-bypass", "antenna-stage"):
        if needed not in named:
            yield (
                ("switch", "paths"),
                f"the path {needed} is missing; the whole measurement rests on it.",
                "Add it.",
            )
    yield from _same_relays(switch, named)


def _same_relays(switch: Any, paths: dict[str, Any]) -> Iterator[Finding]:
    seen: dict[Any, str] = {}
    for name, setting in paths.items():
        if not setting:
            continue
        relays = (
            frozenset(switch.options.relays_of(name)) if switch.options is not None else _canonical(setting)
        )
        if relays in seen:
            yield (
                ("switch", "paths", name),
                f"it sets the relays exactly as {seen[relays]} does, so the two are one path.",
                "Check the wiring table of the board and mend one of the two.",
            )
        seen.setdefault(relays, name)


def _canonical(setting: Any) -> Any:
    if isinstance(setting, dict):
        return frozenset((str(relay), str(state)) for relay, state in setting.items())
    return str(setting)


def _bands(bands: Any, receiver: Any) -> Iterator[Finding]:
    first_band: dict[str, int] = {}
    first_channel: dict[tuple[int, str], str] = {}
    for index, band in enumerate(bands or ()):
        if band is None:
            continue
        place: Place = ("bands", index)
        if band.name in first_band:
            yield (
                (*place, "name"),
                f"there are two bands called {band.name!r}.",
                "Rename one, or join their channels.",
            )
        if band.name is not None:
            first_band.setdefault(band.name, index)
        if band.channels is not None:
            yield from edges(place, band, receiver)
        channels = [channel for channel in band.channels or () if channel is not None]
        if channels and not any(channel.purpose in ("noise", None) for channel in channels):
            yield (
                (*place, "channels"),
                f"the band {band.name!r} has no noise channel, so its noise is never measured.",
                "Add an empty frequency with for: noise.",
            )
        for number, channel in enumerate(band.channels or ()):
            if channel is not None and channel.hz is not None:
                yield from _channel((*place, "channels", number), channel, band.name, receiver, first_channel)


def _channel(
    place: Place, channel: Any, band: str, receiver: Any, seen: dict[tuple[int, str], str]
) -> Iterator[Finding]:
    written = receiver.range_hz if receiver is not None else None
    known = getattr(receiver.options, "range_hz", None) if receiver is not None else None
    for limits_hz, mend in (
        (written, "Leave the channel out, or mend receiver.range_hz."),
        (known, "Leave the channel out: its driver can tune no further."),
    ):
        if limits_hz and limits_hz[0] < limits_hz[1] and not limits_hz[0] <= channel.hz <= limits_hz[1]:
            yield (
                (*place, "hz"),
                f"{channel.hz} Hz is outside the receiver's range, {limits_hz[0]} to {limits_hz[1]} Hz.",
                mend,
            )
            break
    key = (channel.hz, str(channel.purpose))
    if key in seen:
        yield (
            (*place, "hz"),
            f"{channel.hz} Hz is measured twice (first in {seen[key]!r}).",
            "Leave one of them out.",
        )
    seen.setdefault(key, band)


def _noise_source(station: Any) -> Iterator[Finding]:
    if station.switch is None or not station.switch.paths:
        return
    for name in ("noise-bypass", "noise-stage"):
        if name in station.switch.paths and station.noise_source is None:
            yield (
                ("switch", "paths", name),
                "there is a noise path, but nothing says how strong its noise source is.",
                "Add a section noise_source with its enr_db.",
            )
            return


def _windows(windows: Any) -> Iterator[Finding]:
    for index, window in enumerate(windows or ()):
        if window is None:
            continue
        wanted = [("every", window.every), ("from", window.begin), ("to", window.end)]
        wanted += [("at", moment) for moment in window.at or ()]
        for key, text in wanted:
            if text is None:
                continue
            try:
                if key == "every":
                    parse_duration(text)
                else:
                    parse_moment(text)
            except MomentError as error:
                yield ("schedule", index, key), str(error), error.mend
