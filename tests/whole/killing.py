"""The daemon killed at random moments, and what it left: counts, for the kill test and the reliability table."""

import random
import re
import signal
import subprocess
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from tests.whole.unattended import BY_SAMPLES, Unattended, ended, unattended, until

MOST_COMMANDS = 700
"""Commands to the receiver before the kill, at most: three passes or so. Counted in commands and not in seconds, so
that kills fall everywhere in a pass on a slow computer too."""

BEFORE_ANY = 0.1
"""Share of kills at some moment before the first command, while the program still starts."""

STARTING_S = 0.6

DIAL = (6_155_000, "AM", 6000)
"""Where the listener left the receiver."""

SPECTRA_A_PASS = 4
"""Of `BY_SAMPLES`: one tuning through bypass, stage, stage, bypass."""

SETS_RECEIVER = re.compile(rb"^[+;|,]?(\\set_|[FMLU] )")


@dataclass
class Killed:
    """What came of it. Everything in `lost` and `wrong` is a broken promise, in words."""

    kills: int = 0
    hit: Counter[str] = field(default_factory=Counter)
    committed: int = 0
    lost: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


def kill_at_random(folder: Path, kills: int, seed: int) -> Killed:
    """Start, kill, start again, look; `kills` times."""
    chance = random.Random(seed)
    told = Killed()
    with unattended(folder) as station:
        served = station.served
        served.receiver.turn_dial(*DIAL[:2])
        served.receiver.bandwidth_hz = DIAL[2]
        settings = _settings(station)
        committed: set[int] = set()
        for nth in range(kills):
            with station.running() as process:
                _wait_for_moment(station, process, chance)
                moment = _moment(station)
                _, said = ended(process, signal.SIGKILL)
            told.kills += 1
            told.hit[moment] += 1
            committed |= {int(number) for number in re.findall(r"pass (\d+) done", said)}
            _start_again(station, told, f"kill {nth}, {moment}, seed {seed}", committed)
            now = (served.receiver.hz, served.receiver.mode, served.receiver.bandwidth_hz)
            if now != DIAL or _settings(station) != settings:
                told.wrong.append(
                    f"receiver left at {now} with {_settings(station)} after kill {nth}, seed {seed}"
                )
            if not station.resting():
                told.wrong.append(f"relays left at {served.board.path} after kill {nth}, seed {seed}")
        told.committed = len(committed)
        _count(station, committed, told)
        told.wrong += [f"forbidden command {command!r}" for command in served.forbidden]
    return told


def kill_while_spectra_are_written(folder: Path, kills: int, seed: int) -> Killed:
    """The same of a station that keeps spectra: half of the kills as soon as the database's log is written to."""
    chance = random.Random(seed)
    told = Killed()
    with unattended(folder, text=BY_SAMPLES, receiver="iq-tcp") as station:
        committed: set[int] = set()
        for nth in range(kills):
            with station.running() as process:
                _wait_for_a_write(station, process, chance)
                moment = "relays at rest" if station.resting() else "relays away from rest"
                _, said = ended(process, signal.SIGKILL)
            told.kills += 1
            told.hit[moment] += 1
            committed |= {int(number) for number in re.findall(r"pass (\d+) done", said)}
            with station.running("--passes", 1) as process:
                code, said = ended(process)
            committed |= {int(number) for number in re.findall(r"pass (\d+) done", said)}
            if code != 0 or not station.resting():
                told.wrong.append(
                    f"the next start ended with {code}: {said.strip()} (kill {nth}, seed {seed})"
                )
        told.committed = len(committed)
        _count_spectra(station, committed, told)
        told.wrong += [f"forbidden command {command!r}" for command in station.served.forbidden]
    return told


def _wait_for_a_write(station: Unattended, process: "subprocess.Popen[str]", chance: random.Random) -> None:
    """Until so many writes to the database's log were begun, and at every other kill some moment after the last."""
    log = station.folder / "today.sqlite-wal"
    left = chance.randrange(1, 8)
    before = _state_of(log)

    def written() -> bool:
        nonlocal left, before
        if (now := _state_of(log)) != before:
            before, left = now, left - 1
        return left <= 0 or process.poll() is not None

    until(written, "the moment to kill")
    if chance.random() < 0.5:
        time.sleep(chance.uniform(0.0, 1.0))


def _state_of(file: Path) -> tuple[int, int]:
    try:
        found = file.stat()
    except OSError:
        return 0, 0
    return found.st_size, found.st_mtime_ns


def _count_spectra(station: Unattended, committed: set[int], told: Killed) -> None:
    """Every pass that the daemon called done is there with all its spectra and readings, and no part of any other."""
    with station.store() as store:
        done = {record.number for record in store.passes() if record.outcome == "done"}
        heard = Counter(store.spectra().collect()["pass"].to_list())
        read = set(store.readings().collect()["pass"].to_list())
    told.lost += [f"pass {number} was called done and is not stored" for number in sorted(committed - done)]
    told.lost += [f"pass {number} has no readings" for number in sorted(done - read)]
    told.wrong += [
        f"pass {number} has {heard[number]} spectra"
        for number in sorted(done | set(heard) | read)
        if heard[number] != SPECTRA_A_PASS or number not in done
    ]


def _wait_for_moment(station: Unattended, process: "subprocess.Popen[str]", chance: random.Random) -> None:
    log = station.served.receiver_log
    begun = log.count
    if chance.random() < BEFORE_ANY:
        time.sleep(chance.uniform(0.0, STARTING_S))
        return
    commands = chance.randrange(MOST_COMMANDS)
    until(lambda: log.count - begun > commands or process.poll() is not None, "the moment to kill", 60)
    time.sleep(chance.uniform(0.0, 0.02))


def _start_again(station: Unattended, told: Killed, when: str, committed: set[int]) -> None:
    """One pass after the kill; nothing may be set at the receiver before the relays rest."""
    log = station.served.receiver_log
    note, first_set = log.note, []

    def watching(command: bytes) -> None:
        if not first_set and SETS_RECEIVER.match(command):
            first_set.append(station.served.board.path)
        note(command)

    log.note = watching
    try:
        with station.running("--passes", 1) as process:
            code, said = ended(process)
    finally:
        log.note = note
    if code != 0:
        told.wrong.append(f"the next start ended with {code}: {said.strip()} ({when})")
    if first_set != ["antenna-bypass"]:
        told.wrong.append(f"the receiver was set while the relays stood at {first_set} ({when})")
    committed |= {int(number) for number in re.findall(r"pass (\d+) done", said)}


def _count(station: Unattended, committed: set[int], told: Killed) -> None:
    """Every pass that the daemon called done is there with all its readings, and no part of any other."""
    with station.store() as store:
        done = {record.number for record in store.passes() if record.outcome == "done"}
        told.lost += [
            f"pass {number} was called done and is not stored" for number in sorted(committed - done)
        ]
        rows = Counter(store.readings().collect()["pass"].to_list())
    told.wrong += [
        f"pass {number} has {count} readings"
        for number, count in rows.items()
        if count != station.readings_of(number) or number not in done
    ]
    told.lost += [f"pass {number} has no readings" for number in sorted(done - set(rows))]


def _moment(station: Unattended) -> str:
    if not station.resting():
        return "relays away from rest"
    return "measuring through the rest path" if station.served.receiver.hz != DIAL[0] else "between passes"


def _settings(station: Unattended) -> tuple[object, ...]:
    instrument = station.served.instrument
    return tuple(sorted({**instrument.levels, **instrument.functions}.items()))
