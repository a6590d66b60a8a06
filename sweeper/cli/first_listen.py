"""Finds empty frequencies and carriers by listening: the quietest of a band, and what stands steadily above them.

The receiver is driven through its contract and put back as it was found. It never transmits, and stops when the
receiver says that it does.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import TYPE_CHECKING, Any

from drivers.contracts import Receiver
from drivers.errors import Transmitting
from sweeper.cli.first_bands import FirstBand, first_bands
from sweeper.clock import Clock

if TYPE_CHECKING:
    from sweeper.station import Station

CANDIDATES = 24
ROUNDS = 3
READINGS = 4
WANTED = 2
CARRIERS = 3
"""Carriers wanted of a band: some are off the air by night, or fade."""
CLEAR = 10.0
"""On the meter's own scale, above the empty frequencies; what the analysis asks of a carrier, in decibels."""
NEAR = 0.15
"""Carriers within this share of a band's frequency tell the stage's gain there."""


@dataclass(frozen=True, slots=True)
class Heard:
    """The readings of one stay on a frequency, in the meter's own unit."""

    band: str
    readings: tuple[float, ...]


def floor_of(heard: Sequence[Heard], station: "Station") -> float | None:
    """The value on which the meter rests where noise is weak; None where none was seen."""
    from sweeper.analysis import TakenVisit, meter_seen
    from sweeper.reduction import facts_of

    facts = facts_of(station).meter
    taken = [
        TakenVisit(each.band, "antenna", "bypass", station.receiver.bandwidth_hz, each.readings)
        for each in heard
    ]
    return meter_seen(taken, facts).floor


def listen(
    receiver: Receiver,
    bands: Sequence[FirstBand],
    mode: str,
    bandwidth_hz: int,
    settle_s: float,
    clock: Clock,
    told: Callable[[float], None] = lambda share: None,
    heard: Callable[[Heard], None] = lambda stay: None,
) -> tuple[FirstBand, ...]:
    """The bands with noise channels found now. `RigError` when the receiver fails; it is put back in any case."""
    _listen_only(receiver)
    saved_state = receiver.remember()
    found = []
    try:
        receiver.prepare()
        receiver.set_mode(mode, bandwidth_hz)
        for nth, band in enumerate(bands):
            rounds, stays = _heard(receiver, candidates(*band.listen_hz, bandwidth_hz), settle_s, clock)
            quiet = quietest(rounds, 3 * bandwidth_hz)
            asked = carriers_to_try(band, first_bands())
            carriers, _ = _heard(receiver, asked, settle_s, clock)
            for hz in quiet:
                heard(Heard(band.name, tuple(stays[hz])))
            loudest = max((max(rounds[hz]) for hz in quiet), default=float("inf"))
            found.append(band.with_noise(quiet).with_carriers(on_the_air(carriers, loudest)))
            told((nth + 1) / len(bands))
    finally:
        _restore(receiver, saved_state, clock)
    return tuple(found)


def _listen_only(receiver: Receiver) -> None:
    if receiver.is_transmitting():
        raise Transmitting(
            "receiver",
            "it says that it transmits, so listening has stopped.",
            "Try again when nobody is on the air.",
        )


def _restore(receiver: Receiver, saved_state: Mapping[str, Any], clock: Clock) -> None:
    """Dial and mode do not move under a transmission: its end is waited for, but not for ever."""
    give_up = clock.monotonic() + ON_THE_AIR_S
    while receiver.is_transmitting():
        if clock.monotonic() > give_up:
            raise Transmitting(
                "receiver",
                "it has been on the air for so long that it was left as it stands.",
                "Set it by hand.",
            )
        clock.sleep(1.0)
    receiver.restore(saved_state)


ON_THE_AIR_S = 300.0
"""How long the end of a transmission is waited for before a receiver is left where it was tuned to."""


def candidates(low_hz: int, high_hz: int, bandwidth_hz: int) -> tuple[int, ...]:
    """Dial frequencies over the span, off the whole kilohertz on which carriers stand."""
    step = max((high_hz - low_hz) // CANDIDATES, bandwidth_hz + 600)
    step = -(-step // 1000) * 1000
    return tuple(range(low_hz + 300, high_hz, step))


def quietest(heard: dict[int, list[float]], apart_hz: int, wanted: int = WANTED) -> tuple[int, ...]:
    """The frequencies whose loudest round was lowest, no two nearer than `apart_hz`, from low to high.

    The loudest round and not the mean: a frequency that somebody uses now and then is not empty.
    """
    chosen: list[int] = []
    for hz in sorted(heard, key=lambda each: max(heard[each])):
        if all(abs(hz - other) >= apart_hz for other in chosen):
            chosen.append(hz)
        if len(chosen) == wanted:
            break
    return tuple(sorted(chosen))


def carriers_to_try(band: FirstBand, every: Sequence[FirstBand]) -> tuple[int, ...]:
    """Dial frequencies 1 kHz below where carriers may stand, Hz: the lists' own, and channels of broadcasting bands.

    Of the band itself, and of those of `every` that are near enough to tell the stage's gain there.
    """
    middle = sum(band.range_hz) / 2
    found: set[int] = set(band.carrier_hz)
    for each in every:
        found |= {hz for hz in each.carrier_hz if abs(hz / middle - 1) < NEAR}
        if each.service == "broadcasting" and abs(sum(each.range_hz) / 2 / middle - 1) < NEAR:
            spacing = 9000 if each.range_hz[1] < 2_000_000 else 5000
            channels = range(-(-each.range_hz[0] // spacing) * spacing, each.range_hz[1], spacing)
            wanted = CANDIDATES if each.name == band.name else CANDIDATES // 3
            found |= {hz - 1000 for hz in channels[:: max(len(channels) // wanted, 1)]}
    return tuple(sorted(found))


def on_the_air(heard: dict[int, list[float]], noise: float, wanted: int = CARRIERS) -> tuple[int, ...]:
    """The frequencies whose weakest round stood `CLEAR` above `noise`, strongest first choice, from low to high."""
    clear = [hz for hz in heard if min(heard[hz]) > noise + CLEAR]
    return tuple(sorted(sorted(clear, key=lambda hz: -min(heard[hz]))[:wanted]))


def _heard(
    receiver: Receiver, dial_hz: Sequence[int], settle_s: float, clock: Clock
) -> tuple[dict[int, list[float]], dict[int, list[float]]]:
    """What the meter showed at each dial frequency that the receiver reaches: a mean a round, and every reading."""
    within = receiver.frequency_range_hz()
    heard: dict[int, list[float]] = {}
    every: dict[int, list[float]] = {}
    for _ in range(ROUNDS):
        for hz in dial_hz:
            if within is not None and not within[0] <= hz <= within[1]:
                continue
            _listen_only(receiver)
            receiver.tune(hz)
            clock.sleep(settle_s)
            readings = [receiver.read_power() for _ in range(READINGS)]
            heard.setdefault(hz, []).append(fmean(readings))
            every.setdefault(hz, []).extend(readings)
    return heard, every
