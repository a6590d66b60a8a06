"""What measuring costs: time, readings and relay life."""

from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from math import lcm

from sweeper.plan.edges import carriers, last_pass
from sweeper.plan.order import moved, one_pass
from sweeper.station import Station
from sweeper.words import SignalPath


def visit_s(station: Station) -> float:
    """Seconds that a visit takes, after the relays have settled."""
    receiver = station.receiver
    taken = receiver.settle_s + receiver.readings * receiver.interval_s
    if receiver.audio is not None:
        taken += receiver.audio.delay_s + receiver.audio.seconds
    if receiver.spectrum is not None:
        taken += receiver.spectrum.seconds
    return taken


@dataclass(frozen=True, slots=True)
class Budget:
    """The cost of a station's plan. Means over the rhythm of load and noise paths, after its first passes (`edges`).

    `changes_a_pass` counts changes of path, also those made by hand, `relay_operations_a_day` every move of every
    relay; `relay_years` is the life of the relay that moves most, each move counted as one operation, which is
    twice as strict as a data sheet that counts on and off as one. None where nothing moves.
    """

    visits_a_pass: float
    changes_a_pass: float
    seconds_a_pass: float
    passes_a_day: float
    readings_a_night: float
    relay_operations_a_day: float
    busiest_relay: str | None
    relay_years: float | None


def budget(station: Station, passes_a_day: float | None = None) -> Budget:
    """The budget at `passes_a_day` (from the schedule); None: one pass after another without a break.

    Seconds a pass are the settle times and the readings; slow links add to them.
    """
    rest = SignalPath.parse(station.switch.rest)
    long = min(lcm(station.plan.load_every, station.plan.noise_every, 2), 2000)  # beyond, a sample is as good
    first = last_pass(station, len(carriers(station.channels()))) or 0
    begin = -(-first // long) * long + 1
    cycle = range(begin, begin + long)
    visits, hands, changes, moves = 0, 0, 0, Counter[str]()
    for number in cycle:
        along = [visit.path for visit in one_pass(station, number)]
        visits += len(along)
        for before, after in pairwise((rest, *along, rest)):
            hands += before != after
            relays = moved(station, before, after)
            changes += bool(relays)
            moves.update(relays)
    seconds = (visits * visit_s(station) + changes * station.switch.settle_s) / len(cycle)
    at_most = 86_400 / seconds if seconds > 0 else float("inf")
    passes = at_most if passes_a_day is None else min(passes_a_day, at_most)
    busiest = max(moves, key=lambda relay: moves[relay], default=None)
    a_day_of_busiest = moves[busiest] / len(cycle) * passes if busiest is not None else 0.0
    return Budget(
        visits_a_pass=visits / len(cycle),
        changes_a_pass=hands / len(cycle),
        seconds_a_pass=seconds,
        passes_a_day=passes,
        readings_a_night=passes * visits / len(cycle) * station.receiver.readings,
        relay_operations_a_day=passes * moves.total() / len(cycle),
        busiest_relay=busiest,
        relay_years=station.switch.rated_operations / a_day_of_busiest / 365.25 if a_day_of_busiest else None,
    )
