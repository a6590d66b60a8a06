"""Cutting the power at every write and every sync of a writing process, and looking at what is left."""

import hashlib
import random
import shutil
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any

import polars as pl

from sweeper.store import Store
from sweeper.store.frames import empty, frame_of
from sweeper.store.spectra import frame_of as spectra_frame_of
from sweeper.store.spectra import row_of
from tests.sweeper.store import writer_to_cut
from tests.sweeper.store.nights import EVENING, open_store, pass_of, spectra_of
from tests.sweeper.store.recorded_disk import Disk, record


@dataclass
class Left:
    """What came of the cuts. Every sentence in `broken` is a broken promise."""

    cuts: int = 0
    images: int = 0
    states: Counter[str] = field(default_factory=Counter)
    broken: list[str] = field(default_factory=list)


def cut_everywhere(folder: Path, passes: int, seed: int, lotteries: int = 2) -> Left:
    """Record a process that stores `passes` passes, cut it after every call that reached a file, check each image."""
    data = folder / "data"
    calls = record([sys.executable, writer_to_cut.__file__, str(data), str(passes)], folder / "calls")
    disk, chance, left, seen = Disk(data), random.Random(seed), Left(), set[bytes]()
    for position, call in enumerate(calls):
        if not disk.replay(call):
            continue
        left.cuts += 1
        for name, image in _images(disk, chance, lotteries):
            digest = hashlib.sha256(repr((sorted(image.items()), disk.said)).encode()).digest()
            if digest in seen:
                continue
            seen.add(digest)
            left.images += 1
            left.states[name] += 1
            place = folder / "after"
            for path, content in image.items():
                (place / path).parent.mkdir(parents=True, exist_ok=True)
                (place / path).write_bytes(content)
            left.broken += [
                f"cut after call {position} ({call.name}), {name}: {what}" for what in look(place, disk.said)
            ]
            shutil.rmtree(place, ignore_errors=True)
    assert disk.said[-1] == "closed", "the recorded process did not come to its end"
    return left


def _images(disk: Disk, chance: random.Random, lotteries: int) -> Iterator[tuple[str, dict[str, bytes]]]:
    yield "all reached the disk", disk.everything()
    yield "only what was synced did", disk.synced()
    for _ in range(lotteries):
        yield "some did, torn", disk.torn(chance)


def look(place: Path, said: list[str]) -> list[str]:
    """What is wrong with the data in a folder, given what the writer said it had stored; then works on with it."""
    stored = {int(line.split()[1]) for line in said if line.startswith("stored")}
    remembered = [int(line.split()[1]) for line in said if line.startswith("remembered")]
    wrong = []
    with open_store(place) as store:
        wrong += list(store.troubles)
        seen = store.readings().collect()
        numbers = [record.number for record in store.passes()]
        if not stored <= set(numbers):
            wrong.append(f"passes {sorted(stored - set(numbers))} are lost")
        if numbers != list(range(1, len(numbers) + 1)) or len(numbers) > len(stored) + 1:
            wrong.append(f"passes {numbers} are there, {sorted(stored)} were stored")
        if not seen.equals(expected(numbers)):
            wrong.append(f"readings of {seen['pass'].unique().to_list()} are not those of {numbers}")
        spectra = _spectra(store)
        if not spectra.equals(expected_spectra(numbers)):
            wrong.append(f"spectra of {spectra['pass'].to_list()} are not those of {numbers}")
        if remembered and (store.recall("as found") or 0) < remembered[-1]:
            wrong.append(f"{store.recall('as found')} is remembered instead of {remembered[-1]}")
        number = store.next_pass_number()
        started = EVENING + timedelta(hours=3 * number)
        store.write_pass(*pass_of(number, started), spectra_of(number, started))
        for _ in range(2):
            store.finish_days(EVENING + timedelta(days=30), keep_spectra_days=60)
            if not store.readings().collect().equals(expected([*numbers, number])):
                wrong.append("finishing the days afterwards lost, doubled or changed readings")
            if not _spectra(store).equals(expected_spectra([*numbers, number])):
                wrong.append("finishing the days afterwards lost, doubled or changed spectra")
    return wrong


def expected(numbers: list[int]) -> pl.DataFrame:
    """The readings of passes that the writer stores, every three hours."""
    return pl.concat([_written(number) for number in numbers]) if numbers else empty()


@cache
def _written(number: int) -> pl.DataFrame:
    return frame_of(pass_of(number, EVENING + timedelta(hours=3 * number))[1])


def _spectra(store: Store) -> pl.DataFrame:
    return store.spectra().collect().sort("pass", "time", maintain_order=True)


def expected_spectra(numbers: list[int]) -> pl.DataFrame:
    """The spectra of passes that the writer stores."""
    return spectra_frame_of(row for number in numbers for row in _heard(number))


@cache
def _heard(number: int) -> list[tuple[Any, ...]]:
    rows = []
    for band, one in spectra_of(number, EVENING + timedelta(hours=3 * number)):
        time_ms, *rest = row_of(band, one)
        rows.append((time_ms, number, *rest))
    return rows
