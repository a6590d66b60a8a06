"""Edges: the route changes while the dial stays, and the readings of the second before and after share the fade.

Where the channel of one path's end is that of the next one's beginning, the edge comes with a move that is made anyway.
More of them cost two moves for each there and back, and are made early, while no gain is known: a twentieth of the
relays' rated life goes into them, spread over the first passes of a station.
"""

from collections.abc import Sequence
from itertools import pairwise

from sweeper.station import Station
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, SignalPath, Visit

LIFE_SHARE = 0.05
"""Share of the rated operations that goes into edges: what a relay's rating is uncertain by many times over."""
PASSES = 400
"""Passes that this lasts for at the least: some four nights of passes every ten minutes."""
MOVES = 4
"""Moves of a relay for the edges of one carrier in one pass: there and back, once in either half of the pass."""
TUNED_PASSES = 1_000_000
"""Passes that a switch must outlive before all paths of a channel come while the dial stays: a semiconductor does."""


def stays_tuned(station: Station) -> bool:
    """Whether every path of a channel comes before the dial moves: a hand at the dial, or a switch that never wears."""
    if station.receiver.by_hand:
        return True
    a_pass = 2 * len(station.channels())
    return not station.switch.by_hand and station.switch.rated_operations >= TUNED_PASSES * a_pass


def carriers(channels: Sequence[Channel]) -> tuple[Channel, ...]:
    """The channels with a carrier."""
    return tuple(channel for channel in channels if channel.purpose == "carrier")


def targets(channels: Sequence[Channel]) -> tuple[Channel, ...]:
    """The channels for edges that cost nothing: carriers, and the first noise channel of a band that has none."""
    with_carrier = {channel.band for channel in carriers(channels)}
    seen: set[str] = set()
    chosen = []
    for channel in channels:
        first = channel.band not in seen
        seen.add(channel.band)
        if channel.purpose == "carrier" or (first and channel.band not in with_carrier):
            chosen.append(channel)
    return tuple(chosen)


def more_edges(station: Station, pass_number: int, channels: Sequence[Channel]) -> tuple[Channel, ...]:
    """The carriers of pass `pass_number` (from 1) that get edges of their own, in turn over those there are."""
    possible = carriers(channels)
    many = channels_a_pass(station, len(possible))
    last = last_pass(station, len(possible))
    if last is not None and pass_number > last:
        return ()
    first = (pass_number - 1) * many
    return tuple(possible[(first + n) % len(possible)] for n in range(many))


def channels_a_pass(station: Station, possible: int) -> int:
    """How many of `possible` carriers get edges of their own in a pass: as the station file says, or as wear allows."""
    if stays_tuned(station) or station.switch.by_hand:
        return 0
    told = station.plan.edges_a_pass
    many = max(int(_operations(station) / MOVES / PASSES), 1) if told is None else told
    return min(many, possible)


def last_pass(station: Station, possible: int) -> int | None:
    """The last pass with edges of its own; None where they go on for ever."""
    many = channels_a_pass(station, possible)
    if not many:
        return 0
    return int(_operations(station) / MOVES / many) if station.plan.edges_a_pass is None else None


def _operations(station: Station) -> float:
    return LIFE_SHARE * station.switch.rated_operations


def there_and_back(visit: Visit) -> tuple[Visit, ...]:
    """The visit with its edges: over to the other route and back."""
    other = ANTENNA_STAGE if visit.path == ANTENNA_BYPASS else ANTENNA_BYPASS
    return (visit, Visit(visit.channel, other), visit)


def edges_of(visits: Sequence[Visit]) -> dict[Channel, int]:
    """How many edges each channel has along a pass."""
    found: dict[Channel, int] = {}
    for before, after in pairwise(visits):
        if before.channel == after.channel and _other_route(before.path, after.path):
            found[before.channel] = found.get(before.channel, 0) + 1
    return found


def _other_route(before: SignalPath, after: SignalPath) -> bool:
    return before.source == after.source == "antenna" and before.route != after.route
