"""A season in minutes: nights of passes at jump speed, on real protocols, under every fault that a shack knows.

What goes wrong is drawn from a seed, happens at simulated moments and is mended at later ones. The simulated
station, its servers and the daemon's own loop live in this one process, since they share a clock that jumps.
"""

import contextlib
import gc
import os
import random
import re
import resource
import subprocess
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from sweeper.clock import JumpingClock
from sweeper.daemon.run.campaign import Campaign
from sweeper.daemon.run.loop import keep_schedule
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.orders import Orders
from sweeper.daemon.run.schedule_cursor import after_of
from sweeper.daemon.run.states import Doing
from sweeper.schedule import next_times
from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.serve import Served
from sweeper.station import Station, load
from sweeper.store import Store
from sweeper.words import Labelled, PassRecord, Reading, Visit
from tests.whole.unattended import STATION

SCHEDULE = "schedule: [{every: 1 h, from: sunset - 1 h, to: sunrise + 1 h}]\n"
LISTENER = (6_155_000, "AM")


@dataclass
class Fault:
    """One kind of mishap: how it begins, how it ends, and how long it lasts in simulated minutes."""

    name: str
    begin: Callable[[], None]
    end: Callable[[], None]
    minutes: tuple[float, float]
    happened: int = 0


@dataclass
class Told:
    """What the season left, for the tests and the table."""

    nights: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)
    rss_mb: list[float] = field(default_factory=list)
    handles: list[int] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    restarts: int = 0
    readings: int = 0


class Gremlins(Observer):
    """Lets faults begin and end as simulated time goes by; looks on like any other observer."""

    def __init__(
        self, clock: JumpingClock, faults: Sequence[Fault], chance: random.Random, a_night: float
    ) -> None:
        self._clock = clock
        self._faults = faults
        self._chance = chance
        self._mean_gap_s = 12 * 3600 / a_night
        self._next_s = clock.monotonic() + chance.expovariate(1 / self._mean_gap_s)
        self._ends: list[tuple[float, Fault]] = []
        self.quiet = False

    def alive(self) -> None:
        self._act()

    def visited(self, visit: Visit, readings: Sequence[Reading], heard: Labelled | None = None) -> None:
        self._act()

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        self._act()
        if doing == "stopping":
            # Whoever restarts the computer makes room first: what waits in memory for a disk would be lost.
            for _, fault in self._ends:
                if fault.name == "disk full":
                    fault.end()

    def calm(self) -> None:
        """End whatever is under way and begin nothing more."""
        self.quiet = True
        for _, fault in self._ends:
            fault.end()
        self._ends.clear()

    def _act(self) -> None:
        now_s = self._clock.monotonic()
        for end in [end for end in self._ends if end[0] <= now_s]:
            self._ends.remove(end)
            end[1].end()
        if now_s >= self._next_s and not self.quiet:
            self._next_s = now_s + self._chance.expovariate(1 / self._mean_gap_s)
            fault = self._chance.choice(self._faults)
            if any(under_way is fault for _, under_way in self._ends):
                return
            fault.happened += 1
            fault.begin()
            self._ends.append((now_s + 60 * self._chance.uniform(*fault.minutes), fault))


def run_season(
    folder: Path, nights: int, seed: int, faults_a_night: float = 3.0, look_every: int = 1
) -> Told:
    """So many nights from the scenario's first evening, restarted now and then as a computer is."""
    chance, told = random.Random(seed), Told()
    world = saltmarsh(seed=1)
    clock = JumpingClock(world.first_evening)
    begins, ends = clock.now(), clock.now() + timedelta(days=nights)
    with small_disk(folder) as (data, fill, free), serve(world, clock) as served:
        station = _station(folder, served)
        served.receiver.turn_dial(*LISTENER)
        steps: list[tuple[datetime, datetime]] = []
        faults = _faults(served, clock, chance, steps, fill, free)
        gremlins = Gremlins(clock, faults, chance, faults_a_night)
        night = _EachNight(clock, told, look_every)
        while clock.now() < ends:
            until = min(clock.now() + timedelta(days=chance.randint(1, 12)), ends)
            with Store(data, station.station.name, station.station.longitude) as store:
                campaign = Campaign(station, store, clock, Orders(), (gremlins, night))
                schedule = after_of(lambda after, count: next_times(station, after, count))
                keep_schedule(campaign, schedule, until)
            told.restarts += 1
            if clock.now() < until:  # the schedule's next instant lies beyond
                clock.sleep((until - clock.now()).total_seconds())
        gremlins.calm()
        with Store(data, station.station.name, station.station.longitude) as store:
            campaign = Campaign(station, store, clock, Orders(), ())
            left = campaign.settle() and campaign.settle()
            told.wrong += [f"left over at the end of the season: {fault}" for fault in left]
            told.nights = nights
            _account(told, station, store, begins, ends, steps)
        told.faults.update({fault.name: fault.happened for fault in faults})
        if any(served.board.coils):
            told.wrong.append(f"the relays do not rest at the end of the season: {served.board.path}")
        told.wrong += [f"forbidden command {command!r}" for command in served.forbidden]
    return told


def _station(folder: Path, served: Served) -> Station:
    text = STATION.format(
        receiver=served.receiver_link,
        switch=served.switch_link,
        settle_s=0.15,
        readings=2,
        quiet_s=600,
        rated=10_000_000,
        more=SCHEDULE,
    )
    for name in ("timeout_s", "reconnect_s"):
        text = text.replace(f"{name}: 0.5", f"{name}: 0.25")
    file = folder / "season.yaml"
    file.write_text(text, encoding="utf-8")
    return load(file)


def _faults(
    served: Served,
    clock: JumpingClock,
    chance: random.Random,
    steps: list[tuple[datetime, datetime]],
    fill: Callable[[], None],
    free: Callable[[], None],
) -> list[Fault]:
    """The mishaps of a shack. What a person does to the receiver is left as they left it."""
    receiver, board, wires = served.receiver, served.board, served.faults

    def step_clock() -> None:
        before = clock.now()
        clock.step(chance.choice((-7200.0, -600.0, -30.0, 30.0, 600.0, 7200.0)))
        steps.append((min(before, clock.now()), max(before, clock.now())))

    def visit() -> None:
        receiver.turn_dial(
            chance.choice((3_573_000, 7_074_000, 14_074_000)), chance.choice(("LSB", "USB", "CW"))
        )

    def key(on: bool) -> Callable[[], None]:
        def press() -> None:
            receiver.transmitting = on

        return press

    def freeze(on: bool) -> Callable[[], None]:
        def needle() -> None:
            board.frozen = on

        return needle

    def nothing() -> None:
        pass

    return [
        Fault("receiver: replies lost", lambda: wires.receiver.drop(3), nothing, (1, 1)),
        Fault("receiver: replies garbled", lambda: wires.receiver.garble(3), nothing, (1, 1)),
        Fault("receiver: hangs", wires.receiver.hang, wires.receiver.mend, (5, 90)),
        Fault("receiver: cable pulled", wires.receiver.unplug, wires.receiver.plug, (5, 180)),
        Fault("relay board: replies lost", lambda: wires.switch.drop(3), nothing, (1, 1)),
        Fault("relay board: cable pulled", wires.switch.unplug, wires.switch.plug, (5, 180)),
        Fault("stage relay sticks", lambda: board.stick(0), lambda: board.loosen(0), (5, 240)),
        Fault("meter frozen", freeze(True), freeze(False), (20, 120)),
        Fault("receiver loses power", receiver.reboot_receiver, nothing, (1, 1)),
        Fault("relay board loses power", board.reboot_board, nothing, (1, 1)),
        Fault("clock stepped", step_clock, nothing, (1, 1)),
        Fault("operator at the dial", visit, nothing, (1, 1)),
        Fault("operator transmits", key(True), key(False), (1, 20)),
        Fault("disk full", fill, free, (5, 180)),
    ]


class _EachNight(Observer):
    """Looks at memory and file handles when a new day begins."""

    def __init__(self, clock: JumpingClock, told: Told, look_every: int) -> None:
        self._clock = clock
        self._told = told
        self._next = clock.now() + timedelta(days=look_every)
        self._every = timedelta(days=look_every)

    def alive(self) -> None:
        if self._clock.now() >= self._next:
            self._next += self._every
            gc.collect()
            self._told.rss_mb.append(_rss_mb())
            self._told.handles.append(sum(1 for _ in Path("/proc/self/fd").iterdir()))


def _rss_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize() / 1e6


def _account(
    told: Told,
    station: Station,
    store: Store,
    begins: datetime,
    ends: datetime,
    steps: list[tuple[datetime, datetime]],
) -> None:
    """Every pass has its number, its outcome and its reason, every instant its pass, every reading its pass."""
    passes = store.passes()
    told.outcomes = Counter(record.outcome for record in passes)
    told.reasons = Counter(_kind(record.because) for record in passes if record.because)
    if [record.number for record in passes] != list(range(1, len(passes) + 1)):
        told.wrong.append("pass numbers have gaps or repeats")
    told.wrong += [
        f"pass {one.number} is {one.outcome} without a reason"
        for one in passes
        if one.outcome != "done" and not one.because
    ]
    rows = store.readings().collect()
    told.readings = rows.height
    counted = Counter(rows["pass"].to_list())
    done = {record.number for record in passes if record.outcome == "done"}
    if set(counted) != done:
        told.wrong.append(f"readings and passes differ: {sorted(set(counted) ^ done)[:10]}")
    told.wrong += [
        f"pass {number} has {count} readings" for number, count in counted.items() if count not in (24, 36)
    ]
    told.wrong += _unaccounted(station, passes, begins, ends, steps)


def _kind(because: str) -> str:
    """A reason without its numbers, so that the same kind counts as one."""
    return re.sub(r"\d[\d.]*", "#", because.split(". ")[0].split(";")[0])[:80]


def _unaccounted(
    station: Station,
    passes: Sequence[PassRecord],
    begins: datetime,
    ends: datetime,
    steps: list[tuple[datetime, datetime]],
) -> list[str]:
    """Instants of the schedule that no pass belongs to, but for those that a stepped clock leapt over or repeated."""
    schedule = after_of(lambda after, count: next_times(station, after, count))
    starts = sorted(record.started for record in passes)
    missing, instant, at = [], schedule(begins), 0
    hour = timedelta(hours=1)
    while instant is not None and instant < ends:
        following = schedule(instant)
        while at < len(starts) and starts[at] < instant:
            at += 1
        has_one = at < len(starts) and (following is None or starts[at] < following)
        near_step = any(first - hour <= instant <= last + hour for first, last in steps)
        if not has_one and not near_step:
            missing.append(f"nothing is known of the pass due at {instant:%Y-%m-%d %H:%M}")
        instant = following
    return missing


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[tuple[Path, Callable[[], None], Callable[[], None]]]:
    """A disk of its own for the data, with functions that fill it to the last byte and free it again.

    Where nothing may be mounted, a disk that never fills.
    """
    place = folder / "disk"
    place.mkdir()
    mounted = os.geteuid() == 0 and not subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=96m", "tmpfs", str(place)], capture_output=True, check=False
    ).returncode  # fmt: skip
    ballast = place / "ballast"

    def fill() -> None:
        if not mounted:
            return
        with contextlib.suppress(OSError), ballast.open("wb", buffering=0) as file:
            while True:
                file.write(b"\0" * 65536)
        with contextlib.suppress(OSError), ballast.open("ab", buffering=0) as file:
            while True:
                file.write(b"\0")

    try:
        yield place / "data", fill, lambda: ballast.unlink(missing_ok=True)
    finally:
        if mounted:
            subprocess.run(["umount", "--lazy", str(place)], check=True)
