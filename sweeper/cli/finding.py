"""`find-source`: what at home makes a noise, by switching one thing off at a time."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from sweeper.cli.asking import ask
from sweeper.cli.options import DataFolder, StationFile, open_store
from sweeper.errors import UserFacingError, WrongInput

if TYPE_CHECKING:
    from sweeper.attended.watch import Watch
    from sweeper.noise.search import Answer
    from sweeper.noise.sources import Source

CAUTIONS = """\
Before you begin: tell whoever lives here. Think of freezers, pumps, medical devices, alarms and servers before you cut
a circuit. Use the switches and breakers that are made for it; open no mains device and no distribution board: that is
work for licensed people, by the local code. Touch no line in the street. Solar strings carry high direct voltage while
there is light. Stop when a thunderstorm is near. A neighbour's device is the neighbour's to switch off, and one that
breaks the limits a matter for the authority that looks after radio interference.
"""
ENDED = "The search ended; nothing is claimed, and the receiver is put back. Is everything switched on again?"


def find_source(
    station_file: StationFile,
    source: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="Which source of the list; asked if left out.")
    ] = None,
    device: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="A circuit or device to try; may be given several times."),
    ] = None,
    data: DataFolder = None,
) -> None:
    """Find what at home makes a noise: one circuit or device off at a time, while the source is watched."""
    from sweeper.attended.watch import watch_at
    from sweeper.clock import SystemClock
    from sweeper.noise.search import search
    from sweeper.reduction.noise import noise_of
    from sweeper.station import load

    station, off = load(station_file), list[str]()
    print(CAUTIONS)
    with open_store(station, station_file, data, read_only=False) as store:
        known = [each.source for each in noise_of(store, station).sources if not each.source.on_load]
        chosen = _chosen(known, source) if known else None
        try:
            with watch_at(station, store, SystemClock()) as watch:
                sought = chosen or _chosen(_seen_now(watch), source)
                verdict = search(
                    sought.name,
                    lambda: watch.level_db(sought),
                    _asked,
                    _devices(device),
                    lambda line: print(line, flush=True),
                    off,
                )
            print(f"\n{verdict.sentence}")
        except KeyboardInterrupt:  # all is put back by now
            raise UserFacingError(f"\n{ENDED}") from None
        finally:
            if off:
                print(f"\nStill off, as far as you said: {', '.join(off)}.", flush=True)
    print("Is everything switched on again?")


def _seen_now(watch: "Watch") -> "list[Source]":
    print("No pass has told a source yet: looking at all bands now.")
    if not (found := watch.seen_now()):
        raise UserFacingError("Nothing that signs its name is there now, so there is nothing to search for.")
    return found


def _chosen(known: "list[Source]", number: int | None) -> "Source":
    for nth, each in enumerate(known, 1):
        print(f"  {nth}  {each.name}, on {', '.join(each.bands)}")

    def understood(text: str) -> "Source":
        if not text.isdigit() or not 1 <= int(text) <= len(known):
            raise ValueError(f"a number from 1 to {len(known)}")
        return known[int(text) - 1]

    if number is not None:
        if number > len(known):
            raise WrongInput(f"--source {number}: the list ends at {len(known)}. Name one of it.")
        return known[number - 1]
    return ask("Which one?", "1", understood, ENDED)


def _devices(named: list[str] | None) -> Iterator[str]:
    """Those that were named, or whatever the person says next, until they say nothing more."""
    if named:
        yield from named
        return
    while device := ask("Which circuit or device next? (Enter ends)", "", str, ENDED):
        yield device


def _asked(words: str) -> "Answer":
    def understood(text: str) -> "Answer":
        answers: dict[str, Answer] = {"": "done", "d": "done", "s": "skip", "e": "end"}
        if text.lower() not in answers:
            raise ValueError("Enter, s or e")
        return answers[text.lower()]

    return ask(f"{words} Then press Enter (s: skip it, e: end)", "", understood, ENDED)
