"""Relays on GPIO lines. The kernel's simulated chip (gpio-sim) is not to be had everywhere, so a chip that
exists only here stands in for the device: it answers libgpiod's own Python types (Chip, LineRequest and
LineSettings of the package gpiod), which check every setting and value that the driver hands over. What it cannot
show is how a real line behaves between programs."""

import errno
from dataclasses import dataclass, field
from types import SimpleNamespace

import gpiod
import pytest
from gpiod.line import Direction, Value
from gpiod.line_settings import LineSettings
from pydantic import ValidationError

from drivers.errors import InUse, LinkLost, Stuck, Unsupported
from drivers.switches.gpio import DRIVER, GpioOptions

PATHS = {
    "antenna-bypass": {17: "off", "LOAD": "off"},
    "antenna-stage": {17: "on", "LOAD": "off"},
    "load-bypass": {17: "off", "LOAD": "on"},
}


@dataclass
class Chip:
    """Lines 17 and 27 (named LOAD) with a physical level, a direction, and every level that was driven."""

    level: dict[int, bool] = field(default_factory=lambda: {17: False, 27: False})
    output: set[int] = field(default_factory=set)
    driven: list[tuple[int, bool]] = field(default_factory=list)
    held: set[int] = field(default_factory=set)
    stuck: set[int] = field(default_factory=set)
    gone: bool = False

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def line_offset_from_id(self, key):
        offset = {"LOAD": 27}.get(key, key)
        if offset not in self.level:
            raise ValueError(f"no line {key}")
        return offset

    def get_line_info(self, offset):
        return SimpleNamespace(direction=Direction.OUTPUT if offset in self.output else Direction.INPUT)

    def request_lines(self, config, consumer):
        return Request(self, {self.line_offset_from_id(key): settings for key, settings in config.items()})


class Request:
    def __init__(self, chip: Chip, config: dict[int, LineSettings]) -> None:
        if chip.held & set(config):
            raise OSError(errno.EBUSY, "Device or resource busy")
        self._chip, self._config = chip, config
        chip.held |= set(config)
        for offset, settings in config.items():
            if settings.direction is Direction.OUTPUT:
                chip.output.add(offset)
                self.set_value(offset, settings.output_value)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.release()

    def set_value(self, key, value: Value) -> None:
        if self._chip.gone:
            raise OSError(errno.ENODEV, "No such device")
        offset = self._chip.line_offset_from_id(key)
        level = (value is Value.ACTIVE) is not self._config[offset].active_low
        self._chip.driven.append((offset, level))
        if offset not in self._chip.stuck:
            self._chip.level[offset] = level

    def get_value(self, key) -> Value:
        if self._chip.gone:
            raise OSError(errno.ENODEV, "No such device")
        offset = self._chip.line_offset_from_id(key)
        return Value(self._chip.level[offset] is not self._config[offset].active_low)

    def get_values(self, keys):
        return [self.get_value(key) for key in keys]

    def release(self) -> None:
        self._chip.held -= set(self._config)


@pytest.fixture
def chip(monkeypatch) -> Chip:
    chip = Chip()

    def at(path):
        if path != "/dev/gpiochip0":
            raise FileNotFoundError(path)
        return chip

    monkeypatch.setattr(gpiod, "Chip", at)
    monkeypatch.setattr(
        gpiod, "request_lines", lambda path, consumer, config: at(path).request_lines(config, consumer)
    )
    return chip


def opened(**more):
    return DRIVER.open(GpioOptions.model_validate({"link": "/dev/gpiochip0", "paths": PATHS} | more))


def test_lines_are_set_by_offset_or_name_and_read_back(chip):
    switch = opened()
    for path in [*PATHS, *reversed(PATHS)]:
        switch.select(path)
        assert switch.selected() == path
    assert switch.select("antenna-stage") == 1
    assert chip.level == {17: True, 27: False}


def test_lines_that_already_drive_keep_their_level_when_taken(chip):
    opened().select("load-bypass")
    chip.held.clear()
    chip.driven.clear()
    assert opened().selected() == "load-bypass"
    assert chip.driven == [(17, False), (27, True)]


def test_lines_that_were_inputs_start_off(chip):
    chip.level[17] = True  # floating high
    assert opened().selected() == "antenna-bypass"


def test_boards_that_pull_in_on_low_are_driven_low(chip):
    switch = opened(active="low")
    switch.select("antenna-stage")
    assert chip.level == {17: False, 27: True}


def test_relays_let_go_before_others_pull_in(chip):
    switch = opened()
    switch.select("load-bypass")
    chip.driven.clear()
    switch.select("antenna-stage")
    assert chip.driven == [(27, False), (17, True)]


def test_a_line_that_is_shorted_is_told(chip):
    switch = opened()
    chip.stuck.add(17)
    with pytest.raises(Stuck, match="relay 17 was told to be on and reads off"):
        switch.select("antenna-stage")


def test_closing_gives_the_lines_free_and_moves_none(chip):
    switch = opened()
    switch.select("antenna-stage")
    switch.close()
    assert not chip.held
    assert chip.level[17]


def test_a_line_that_another_program_holds_is_told(chip):
    chip.held.add(17)
    with pytest.raises(InUse, match="gpioinfo"):
        opened()


def test_a_chip_that_goes_away_is_told(chip):
    switch = opened()
    chip.gone = True
    with pytest.raises(LinkLost, match="unplugged"):
        switch.select("antenna-stage")


def test_a_chip_or_line_that_is_not_there_is_told(chip):
    with pytest.raises(LinkLost, match="gpiochip9"):
        opened(link="/dev/gpiochip9")
    with pytest.raises(Unsupported, match="no such line"):
        opened(paths={"antenna-bypass": {5: "off"}, "antenna-stage": {5: "on"}})


def test_the_real_library_says_that_there_is_no_chip():
    with pytest.raises(LinkLost, match="there is no /dev/gpiochip99"):
        opened(link="/dev/gpiochip99")


def test_a_link_that_is_no_chip_is_found_before_anything_opens():
    with pytest.raises(ValidationError, match="/dev/gpiochip0"):
        opened(link="gpiochip0")
