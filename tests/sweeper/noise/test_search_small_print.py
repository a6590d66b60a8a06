"""The guided search, look by look: what is asked and said, and how sure a claim is, from levels written down."""

from collections.abc import Iterable

import pytest

from sweeper.noise.search import Answer, Verdict, search

NAME = "comb every 43 kHz"
ON, OFF = [-50.0] * 3, [None] * 3


class Script:
    """Levels of the looks in their order; what was asked and told."""

    def __init__(self, alone: Iterable[float | None], *stands: list[float | None]) -> None:
        self.levels = [*alone, *(level for stand in stands for level in stand)]
        self.asked: list[str] = []
        self.told: list[str] = []
        self.answers: dict[str, Answer] = {}
        self.off: list[str] = []

    def ask(self, words: str) -> Answer:
        self.asked.append(words)
        return self.answers.get(words, "done")

    def searched(self, *devices: str) -> Verdict:
        found = search(NAME, lambda: self.levels.pop(0), self.ask, devices, self.told.append, self.off)
        assert self.levels == []  # as many looks as are written down, and no more
        return found


def test_four_stands_are_asked_for_and_the_claim_is_as_sure_as_ten_quiet_looks_make_it() -> None:
    house = Script([-50.0] * 10, OFF, ON, OFF, ON)
    found = house.searched("the lamp")
    assert house.asked == [f"Switch {way}: the lamp. Nothing else." for way in ("off", "on", "off", "on")]
    alone = ["Touch nothing for 10 looks: first it is watched by itself.", "It was there in all 10."]
    assert house.told == [*alone, "Gone.", "There again.", "Gone.", "There again."]
    assert (found.device, found.fell_db) == ("the lamp", None)
    assert found.confidence == pytest.approx(1.0 - 0.3**4)
    assert "99.1 % sure" in found.sentence and "went away each time the lamp was off" in found.sentence


def test_each_device_tried_in_vain_makes_a_mistake_likelier_and_its_looks_make_it_less_so() -> None:
    house = Script([-50.0] * 10, ON, OFF, ON, OFF, ON)
    found = house.searched("the fridge", "the lamp")
    assert house.told[2] == f"The {NAME} did not change with the fridge."
    assert house.asked[:2] == ["Switch off: the fridge. Nothing else.", "Switch on again: the fridge."]
    assert found.confidence == pytest.approx(1.0 - 2 * (3.0 / 13.0) ** 4)


def test_what_follows_once_only_is_not_it_and_what_was_known_of_its_steadiness_is_halved() -> None:
    house = Script([-50.0] * 10, OFF, ON, ON, OFF, ON, OFF, ON)
    found = house.searched("the fridge", "the lamp")
    assert "did not follow the fridge a second time: it changed by itself" in house.told[4]
    assert house.asked[3] == "Switch on again: the fridge."
    assert found.device is None  # of five looks nothing sure is known: 1 - 2 · (3/5)⁴
    assert found.confidence == pytest.approx(1.0 - 2 * 0.6**4)
    assert "too often by itself to be sure (74%)" in found.sentence


def test_what_does_not_come_back_is_not_switched_again() -> None:
    house = Script([-50.0] * 10, OFF, OFF)
    found = house.searched("the fridge")
    assert house.asked == ["Switch off: the fridge. Nothing else.", "Switch on: the fridge. Nothing else."]
    assert house.told[2] == "Gone." and len(house.told) == 4 and found.device is None
    assert f"The {NAME} followed none of the 1 that were tried" in found.sentence


@pytest.mark.parametrize(("off_db", "device"), [(-53.1, "the lamp"), (-52.9, None)])
def test_each_look_must_lie_three_decibels_under_the_lowest_of_the_others(
    off_db: float, device: str | None
) -> None:
    off: list[float | None] = [-60.0, off_db, -60.0]
    stands = [off, ON, off, ON] if device else [off]
    found = Script([-50.0] * 10, *stands).searched("the lamp")
    assert found.device == device
    if device:
        assert found.fell_db == pytest.approx(50.0 * -1 + (60.0 + 60.0 - off_db) / 3)
        assert "fell by 8 dB" in found.sentence


def test_a_fall_is_told_as_soon_as_it_is_seen() -> None:
    house = Script([-50.0] * 10, [-58.0] * 3, ON, [-58.0] * 3, ON)
    house.searched("the lamp")
    assert house.told[2:4] == ["It fell by 8 dB.", "There again."]


def test_a_source_that_only_partly_shows_while_off_has_no_size_to_tell() -> None:
    found = Script([-50.0] * 10, [None, -60.0, None], ON, OFF, ON).searched("the lamp")
    assert found.device == "the lamp" and found.fell_db is None


@pytest.mark.parametrize("alone", [[-50.0] * 9 + [None], [-50.0] * 9 + [-56.0]])
def test_a_source_that_goes_or_falls_by_six_decibels_by_itself_is_not_searched(
    alone: list[float | None],
) -> None:
    house = Script(alone)
    assert "comes and goes by itself" in house.searched("the lamp").sentence
    assert house.asked == []


def test_one_that_wanders_by_less_is_searched() -> None:
    assert (
        Script([-50.0] * 9 + [-55.9], [-62.0] * 3, [-56.0] * 3, [-62.0] * 3, [-56.0] * 3)
        .searched("it")
        .device
    )


def test_a_device_that_is_skipped_was_not_tried_and_who_ends_ends_at_once() -> None:
    house = Script([-50.0] * 10)
    house.answers = {
        "Switch off: the fridge. Nothing else.": "skip",
        "Switch off: the lamp. Nothing else.": "end",
    }
    assert house.searched("the fridge", "the lamp", "the heater").sentence.startswith("No device was tried")
    assert len(house.asked) == 2


def test_one_that_is_skipped_half_way_counts_as_tried() -> None:
    house = Script([-50.0] * 10, OFF)
    house.answers = {"Switch on: the fridge. Nothing else.": "skip"}
    assert "none of the 1 that were tried" in house.searched("the fridge").sentence


def test_what_nobody_said_is_on_again_is_still_off() -> None:
    """Skipped where it was to be switched on, after it had been told as off; the lamp was never switched."""
    house = Script([-50.0] * 10, OFF, ON)
    house.answers = {
        f"Switch {words}": "skip"
        for words in (
            "on: the heater. Nothing else.",
            "on again: the fridge.",
            "off: the lamp. Nothing else.",
        )
    }
    house.searched("the heater", "the fridge", "the lamp")
    assert house.off == ["the heater", "the fridge"]


def test_a_device_that_is_tried_anew_is_off_once_and_on_again_in_the_end() -> None:
    house = Script([-50.0] * 10, OFF)
    house.answers = {"Switch on: the heater. Nothing else.": "skip"}
    house.searched("the heater")
    assert house.off == ["the heater"]
    house.answers, house.levels = {}, [*[-50.0] * 10, *OFF, *ON, *OFF, *ON]
    assert house.searched("the heater").device == "the heater" and house.off == []


def test_who_ends_the_search_instead_of_switching_on_again_is_asked_no_more() -> None:
    house = Script([-50.0] * 10, ON)
    house.answers = {"Switch on again: the fridge.": "end"}
    assert "followed none of the 1" in house.searched("the fridge", "the lamp").sentence
    assert house.off == ["the fridge"] and len(house.asked) == 2


def test_what_falls_twice_and_does_not_come_back_the_second_time_is_not_claimed() -> None:
    fallen = [-58.0] * 3
    house = Script([-50.0] * 10, fallen, ON, fallen, fallen)
    found = house.searched("the lamp")
    assert found.device is None and "followed none of the 1" in found.sentence
    assert "did not follow the lamp a second time" in house.told[-1]


def test_a_device_after_which_it_was_missed_once_tells_nothing_of_its_steadiness() -> None:
    """Not there in all looks and not gone in all: the ten quiet looks stay ten."""
    found = Script([-50.0] * 10, [-50.0, None, -50.0], OFF, ON, OFF, ON).searched("the fridge", "the lamp")
    assert found.device == "the lamp" and found.confidence == pytest.approx(1.0 - 2 * 0.3**4)


@pytest.mark.parametrize(("skipped", "sure"), [(5, True), (6, False)])
def test_a_claim_is_made_from_ninety_five_percent_on(skipped: int, sure: bool) -> None:
    """Of devices that were left half way each counts as tried: six times 0.81 % are 4.9 %, seven times 5.7."""
    devices = [f"lamp {nth}" for nth in range(skipped)]
    house = Script([-50.0] * 10, *[OFF] * skipped, OFF, ON, OFF, ON)
    house.answers = {f"Switch on: {device}. Nothing else.": "skip" for device in devices}
    found = house.searched(*devices, "the heater")
    assert found.confidence == pytest.approx(1.0 - (skipped + 1) * 0.3**4)
    assert (found.device == "the heater") == sure and ("too often by itself" in found.sentence) != sure


def test_with_as_many_in_vain_as_chance_allows_nothing_is_left_of_a_claim() -> None:
    """Five looks known after a device followed once only; eight times 0.6⁴ are more than one."""
    devices = [f"lamp {nth}" for nth in range(7)]
    found = Script([-50.0] * 10, *[OFF, ON, ON] * 7, OFF, ON, OFF, ON).searched(*devices, "the heater")
    assert (found.device, found.confidence) == (None, 0.0) and "(0%)" in found.sentence


def test_what_is_not_there_is_not_searched() -> None:
    house = Script([None] * 10)
    found = house.searched("the lamp")
    assert found.sentence == f"The {NAME} is not there now, so nothing was asked. Try when it runs."
    assert (house.asked, found.device, found.confidence, found.fell_db) == ([], None, 0.0, None)
    once = Script([*[None] * 9, -50.0])
    assert "comes and goes by itself (1 of 10 looks)" in once.searched("the lamp").sentence
