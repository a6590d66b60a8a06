"""What edges buy and what they cost: relay operations, seconds, nights until a gain is known."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, lcm

from sweeper.plan.budget import visit_s
from sweeper.plan.edges import MOVES, carriers, channels_a_pass, edges_of, last_pass, targets
from sweeper.plan.order import one_pass
from sweeper.station import Station
from sweeper.words import Channel

EDGE_SE_DB = 2.5
"""What one edge leaves open of a gain, dB: a carrier 20 dB over noise that fades by 0.15 Hz (simulated carriers,
`tests/benchmarks/edges.py`: 1.5 dB there and back within a second, 2.5 dB alone; at 0.4 Hz about 4 dB)."""
VISITS_SE_DB = 4.0
"""What a pass without edges leaves open: visits minutes apart, each as deep in a fade as chance has it (ibid.)."""
KNOWN_DB = 0.5
"""A gain known to this, at 95 %, decides what is worth a decibel."""


@dataclass(frozen=True, slots=True)
class EdgeBudget:
    """Edges on the carrier that gets fewest, while the first passes last and after them.

    `operations_a_pass` and `seconds_a_pass` are those that edges of their own add, for `passes` passes (None: always,
    0: never). `nights` until the gain of one fading carrier is known to ±`KNOWN_DB`; `later_nights` from passes after
    those, whose edges cost nothing; `nights_without` from visits alone.
    """

    edges_a_night: float
    operations_a_pass: float
    seconds_a_pass: float
    passes: int | None
    nights: int
    later_nights: int
    nights_without: int


def edge_budget(station: Station, passes_a_night: float) -> EdgeBudget | None:
    """At so many passes a night; None where no carrier is read, or a hand moves the switch and takes its time."""
    channels = station.channels()
    heard = carriers(channels)
    if not heard or station.switch.by_hand or passes_a_night <= 0:
        return None
    last = last_pass(station, len(heard))
    period = min(lcm(station.plan.load_every, station.plan.noise_every, len(targets(channels)), 2), 1000)
    later = 0 if last is None else -(-last // period) * period
    first_edges, later_edges = (
        _edges_a_pass(station, heard, offset, period) * passes_a_night for offset in (0, later)
    )
    more = channels_a_pass(station, len(heard))
    return EdgeBudget(
        edges_a_night=first_edges,
        operations_a_pass=MOVES * more,
        seconds_a_pass=MOVES * more * (visit_s(station) + station.switch.settle_s),
        passes=last,
        nights=nights_until_known(passes_a_night, first_edges),
        later_nights=nights_until_known(passes_a_night, later_edges),
        nights_without=nights_until_known(passes_a_night, 0.0),
    )


def _edges_a_pass(station: Station, heard: Sequence[Channel], offset: int, period: int) -> float:
    """Of the carrier that has fewest, over `period` passes after `offset` of them."""
    counted = [edges_of(one_pass(station, offset + n)) for n in range(1, period + 1)]
    return min(sum(each.get(carrier, 0) for each in counted) for carrier in heard) / period


def nights_until_known(passes_a_night: float, edges_a_night: float) -> int:
    """Nights until a gain is known to ±`KNOWN_DB` at 95 %, from the edges and the visits of a night."""
    weight = edges_a_night / EDGE_SE_DB**2 + passes_a_night / VISITS_SE_DB**2
    return max(ceil((1.96 / KNOWN_DB) ** 2 / weight - 1e-9), 1)
