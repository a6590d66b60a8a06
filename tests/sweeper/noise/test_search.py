"""The guided search with scripted people and sources: it names what the source follows, and nothing else."""

from collections.abc import Callable

import numpy as np
import pytest

from sweeper.noise.search import Answer, Verdict, search

DEVICES = ["the dimmer", "the charger", "the router"]


class House:
    """A source that follows one device, or none; somebody who does as asked."""

    def __init__(
        self,
        guilty: str | None,
        falls_db: float | None = None,
        by_itself: Callable[[int], bool] = lambda look: True,
        obeys: bool = True,
    ) -> None:
        self.guilty, self.falls_db, self.by_itself, self.obeys = guilty, falls_db, by_itself, obeys
        self.off: set[str] = set()
        self.looks, self.asked, self.dice = 0, [], np.random.default_rng(1)

    def look(self) -> float | None:
        self.looks += 1
        level = -50.0 + self.dice.normal(0.0, 0.5)
        if not self.by_itself(self.looks):
            return None
        if self.guilty in self.off:
            return None if self.falls_db is None else level - self.falls_db
        return level

    def ask(self, words: str) -> Answer:
        self.asked.append(words)
        if self.obeys:
            (device,) = [each for each in DEVICES if each in words]
            (self.off.add if words.startswith("Switch off") else self.off.discard)(device)
        return "done"

    def searched(self) -> Verdict:
        return search("comb every 43.2 kHz", self.look, self.ask, DEVICES)


@pytest.mark.parametrize("guilty", DEVICES)
def test_it_names_the_device_and_leaves_all_on(guilty: str) -> None:
    house = House(guilty)
    told = house.searched()
    assert told.device == guilty and told.confidence >= 0.95
    assert "went away" in told.sentence and f"{guilty}" in told.sentence
    assert house.off == set()


def test_a_part_that_falls_is_told_by_how_much() -> None:
    told = House("the charger", falls_db=8.0).searched()
    assert told.device == "the charger" and told.fell_db == pytest.approx(8.0, abs=0.7)
    assert "fell by 8 dB" in told.sentence


def test_where_nothing_is_switched_nothing_is_claimed() -> None:
    """The control run: a person who says “done” and does nothing."""
    told = House("the charger", obeys=False).searched()
    assert told.device is None and "followed none of the 3" in told.sentence


def test_a_neighbours_source_is_nobodys_here() -> None:
    house = House(None)
    assert house.searched().device is None
    assert house.off == set()


def test_a_source_that_comes_and_goes_convicts_nobody() -> None:
    claims = 0
    for seed in range(300):
        dice = np.random.default_rng(seed)
        turns = np.cumsum(dice.random(60) < 0.15) % 2 == 0  # runs for some seven looks, rests for as many
        claims += (
            House(None, by_itself=lambda look, turns=turns: bool(turns[look % 60])).searched().device
            is not None
        )
    assert claims <= 3


def test_a_source_that_stops_for_good_meanwhile_is_not_the_devices() -> None:
    told = House(None, by_itself=lambda look: look <= 10).searched()
    assert told.device is None


def test_what_is_not_there_is_not_searched() -> None:
    house = House(None, by_itself=lambda look: False)
    assert "not there now" in house.searched().sentence
    assert house.asked == []


def test_a_device_is_skipped_and_the_search_ended_when_asked() -> None:
    house = House("the router")

    def skips(words: str) -> Answer:
        return house.ask(words) if "router" in words else "skip"

    assert search("hum", house.look, skips, DEVICES).device == "the router"
    ended = search("hum", House(None).look, lambda words: "end", DEVICES)
    assert ended.device is None and "No device was tried" in ended.sentence
