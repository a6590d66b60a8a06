"""A relay box on Modbus, driven through pymodbus's own servers of both framings."""

import pytest
from pydantic import ValidationError
from pymodbus.constants import ExcCodes

from drivers.errors import LinkLost, LinkTimeout, Refused, Stuck, Unsupported
from drivers.switches.modbus import DRIVER, ModbusOptions
from tests.drivers.switches.conftest import Bench

PATHS = {
    "antenna-bypass": {0: "off", 1: "off"},
    "antenna-stage": {0: "on", 1: "off"},
    "load-bypass": {0: "off", 1: "on"},
    "load-stage": {0: "on", 1: "on"},
}


def options(bench: Bench, **more) -> ModbusOptions:
    return ModbusOptions.model_validate(
        {"link": bench.link, "paths": PATHS, "timeout_s": 0.3} | bench.more | more
    )


@pytest.fixture
def switch(bench: Bench):
    opened = DRIVER.open(options(bench))
    yield opened
    opened.close()


def test_every_path_reads_back_as_it_was_selected(switch):
    for path in [*PATHS, *reversed(PATHS)]:
        switch.select(path)
        assert switch.selected() == path


def test_only_relays_that_differ_move_and_each_is_counted(bench, switch):
    moved = [
        switch.select(path) for path in ("antenna-bypass", "antenna-stage", "antenna-stage", "load-bypass")
    ]
    assert moved == [0, 1, 0, 2]
    assert bench.writes == [(0, True), (0, False), (1, True)]


def test_relays_let_go_before_others_pull_in(bench, switch):
    switch.select("load-bypass")
    bench.writes.clear()
    switch.select("antenna-stage")
    assert bench.writes == [(1, False), (0, True)]


def test_a_welded_relay_is_told_and_nothing_else_pulls_in(bench, switch):
    switch.select("load-bypass")
    bench.welded[1] = True
    bench.writes.clear()
    with pytest.raises(Stuck, match=r"relay 1 was told to be off and reads on\..*welded"):
        switch.select("antenna-stage")
    assert (0, True) not in bench.writes


def test_a_relay_that_does_not_pull_in_is_told(bench, switch):
    bench.welded[0] = False
    with pytest.raises(Stuck, match="relay 0 was told to be on and reads off"):
        switch.select("antenna-stage")


def test_a_setting_that_is_no_path_is_no_path(bench):
    two = {path: PATHS[path] for path in ("antenna-bypass", "antenna-stage")}
    box = DRIVER.open(options(bench))
    box.select("load-bypass")
    box.close()
    listener = DRIVER.open(options(bench, paths=two))
    assert listener.selected() is None
    listener.close()


def test_closing_moves_no_relay(bench, switch):
    switch.select("load-stage")
    switch.close()
    again = DRIVER.open(options(bench))
    assert again.selected() == "load-stage"
    again.close()


def test_an_unknown_path_names_those_there_are(switch):
    with pytest.raises(Unsupported, match=r"noise-stage.*antenna-bypass, antenna-stage"):
        switch.select("noise-stage")


def test_a_refusal_says_why(bench, switch):
    bench.refuse = ExcCodes.DEVICE_BUSY
    with pytest.raises(Refused, match="busy"):
        switch.select("antenna-stage")


def test_a_coil_that_the_board_does_not_have_is_refused_when_opened(bench):
    with pytest.raises(Refused, match="no such coil"):
        DRIVER.open(options(bench, paths={"antenna-bypass": {99: "off"}, "antenna-stage": {99: "on"}}))


def test_a_unit_that_nobody_has_is_silent_or_refused(bench):
    with pytest.raises((LinkTimeout, Refused)):
        DRIVER.open(options(bench, unit=7))


def test_a_board_that_is_off_says_what_to_look_at():
    with pytest.raises(LinkLost, match="switched on"):
        DRIVER.open(ModbusOptions.model_validate({"link": "tcp://127.0.0.1:1", "paths": PATHS}))


def test_a_serial_port_that_is_not_there_is_told():
    with pytest.raises(LinkLost, match="no-such-port"):
        DRIVER.open(ModbusOptions.model_validate({"link": "/dev/no-such-port", "paths": PATHS}))


# Modbus Application Protocol V1.1b3, section 6.5: the worked example writes coil 173 (address 00 AC) on;
# and section 6.1: it reads coils 20 to 38 (address 00 13, quantity 00 13). These are the data units.


def test_requests_on_the_wire_are_the_standards_data_units(bench, switch):
    switch.select("antenna-stage")
    framing = 7 if options(bench).framing_used == "tcp" else 1  # MBAP header, or the address byte
    units = [request[framing : framing + 5].hex(" ") for request in bench.requests]
    assert units[:3] == ["01 00 00 00 02", "01 00 00 00 02", "05 00 00 ff 00"]


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"paths": {"antenna-bypass": {0: "off"}, "antenna-stage": {1: "on"}}}, "does not say how relay 1"),
        ({"paths": {"antenna-bypass": {"one": "off"}}}, "'one' is no coil"),
        ({"paths": {"antenna-bypass": {70000: "off"}}}, "no coil"),
        ({"paths": {"antenna-bypass": {0: "perhaps"}}}, "boolean"),
        ({"paths": {"antenna-bypass": {}}}, "no path names a relay"),
        ({"unit": 256}, "255"),
        ({"link": "/dev/ttyUSB0", "unit": 0}, "1 to 247"),
        ({"colour": "red"}, "Extra"),
    ],
)
def test_a_mistake_in_the_station_file_is_found_before_anything_opens(wrong, says):
    with pytest.raises(ValidationError, match=says):
        ModbusOptions.model_validate({"link": "tcp://127.0.0.1:502", "paths": PATHS} | wrong)


def test_paths_with_the_same_setting_can_be_told():
    same = ModbusOptions.model_validate(
        {"link": "tcp://h:1", "paths": {"antenna-bypass": {0: False}, "load-bypass": {"0": "off"}}}
    )
    assert same.relays_of("antenna-bypass") == same.relays_of("load-bypass") == {("0", "off")}
