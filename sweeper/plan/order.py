"""The order of visits in a pass: bypass, stage, stage, bypass, so that linear drift cancels and relays move least."""

from collections.abc import Collection, Iterator, Sequence
from itertools import combinations, pairwise, permutations

from sweeper.plan.edges import more_edges, stays_tuned, targets, there_and_back
from sweeper.station import Station
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, SignalPath, Visit

_ABBA = (ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS)


def one_pass(station: Station, pass_number: int, bands: Collection[str] | None = None) -> tuple[Visit, ...]:
    """The visits of pass `pass_number` (from 1), of `bands` (None, or none of the station's: all).

    Every channel comes through one path before a relay moves, there and back through the channels by turns, so that
    each change of route finds the dial where it stays, on another channel in each pass; `edges` says which get more.
    Where a person sets the dial, or no relay wears, it is the other way round: every path on one channel.
    """
    channels = station.channels()
    if bands is not None:
        channels = tuple(each for each in channels if each.band in bands) or channels
    order = path_order(station, pass_number)
    if stays_tuned(station):
        return tuple(Visit(channel, path) for channel in channels for path in order)
    more = more_edges(station, pass_number, channels)
    channels = _ending_with_a_target(channels, pass_number)
    visits: list[Visit] = []
    for path, forth in zip(order, _ways(order), strict=True):
        for channel in channels if forth else channels[::-1]:
            visit = Visit(channel, path)
            here = path == ANTENNA_BYPASS and channel in more
            visits += there_and_back(visit) if here else (visit,)
    return tuple(visits)


def _ending_with_a_target(channels: tuple[Channel, ...], pass_number: int) -> tuple[Channel, ...]:
    """The channels in their order, begun such that in this pass's turn a channel for edges comes last."""
    turns = targets(channels)
    after = channels.index(turns[pass_number % len(turns)]) + 1
    return channels[after:] + channels[:after]


def _ways(order: Sequence[SignalPath]) -> Iterator[bool]:
    """Whether each path goes forth through the channels or back: antenna paths by turns, so that drift cancels on every
    channel; what comes between them back from where the dial stands."""
    forth = of_antenna = False
    for path in order:
        if path.source == "antenna":
            forth = of_antenna = not of_antenna
        else:
            forth = not forth
        yield forth


def path_order(station: Station, pass_number: int) -> tuple[SignalPath, ...]:
    """The paths of pass `pass_number` (from 1) in the order in which they are set.

    Load and noise paths come in every so many passes, the first pass among them, where they cost the fewest
    relay moves. That may set the last bypass further from the middle than the first; every other
    such pass runs backwards, so that drift cancels over two.
    """
    if pass_number < 1:
        raise ValueError(f"passes count from 1, not {pass_number}")
    rhythms = {"load": station.plan.load_every, "noise": station.plan.noise_every}
    due = [source for source, every in rhythms.items() if (pass_number - 1) % every == 0]
    extras = [path for path in station.paths() if path.source in due]
    order = min(_placements(extras), key=lambda paths: (relay_moves(station, paths), _imbalance(paths)))
    backwards = extras and (pass_number - 1) // min(rhythms[path.source] for path in extras) % 2
    return order[::-1] if backwards else order


def relay_moves(station: Station, paths: Sequence[SignalPath]) -> int:
    """How many relays move from rest through `paths` and back to rest; by hand, how many changes of the switch."""
    rest = SignalPath.parse(station.switch.rest)
    return sum(len(moved(station, before, after)) for before, after in pairwise((rest, *paths, rest)))


def moved(station: Station, before: SignalPath, after: SignalPath) -> frozenset[str]:
    """The relays that move from one path to another. A switch without named relays counts as one."""
    if before == after:
        return frozenset()
    was, now = station.switch.relays_of(before), station.switch.relays_of(after)
    if station.switch.by_hand or was is None or now is None:
        return frozenset({"switch"})
    return frozenset(relay for relay in was | now if was.get(relay) != now.get(relay))


def _placements(extras: Sequence[SignalPath]) -> Iterator[tuple[SignalPath, ...]]:
    """Every way to put each extra path once among bypass, stage, stage, bypass."""
    length = len(_ABBA) + len(extras)
    for order in permutations(extras):
        for places in combinations(range(length), len(extras)):
            extra, antenna = iter(order), iter(_ABBA)
            yield tuple(next(extra) if n in places else next(antenna) for n in range(length))


def _imbalance(paths: Sequence[SignalPath]) -> int:
    """How far the middle of the stage visits lies from the middle of the bypass visits, in half visits."""
    places = {
        path: [n for n, each in enumerate(paths) if each == path] for path in (ANTENNA_BYPASS, ANTENNA_STAGE)
    }
    return abs(sum(places[ANTENNA_STAGE]) - sum(places[ANTENNA_BYPASS]))
