"""A relay box at the mast and a load relay in the shack forming one path, each on a Modbus server of its own."""

import pytest
from pydantic import ValidationError
from pymodbus.server import ModbusTcpServer

from drivers.errors import LinkLost, Stuck, Unsupported
from drivers.switches.joint import DRIVER, JointOptions
from sweeper.simulation import saltmarsh, serve
from tests.clocks import evening
from tests.drivers.switches.conftest import Bench, InThread, free_port

PATHS = {
    "antenna-bypass": {"mast": {0: "off"}, "shack": {3: "off"}},
    "antenna-stage": {"mast": {0: "on"}, "shack": {3: "off"}},
    "load-bypass": {"mast": {0: "off"}, "shack": {3: "on"}},
    "load-stage": {"mast": {0: "on"}, "shack": {3: "on"}},
}


@pytest.fixture
def boxes():
    """Both boxes write into one list, so that the order across them shows."""
    mast, shack = Bench(), Bench()
    shack.writes = mast.writes
    serving = []
    for box in (mast, shack):
        port = free_port()
        box.link = f"tcp://127.0.0.1:{port}"
        serving.append(
            InThread(lambda box=box, port=port: ModbusTcpServer(box.device(1), address=("127.0.0.1", port)))
        )
    yield mast, shack
    for server in serving:
        server.stop()


@pytest.fixture
def options(boxes) -> JointOptions:
    mast, shack = boxes
    return JointOptions.model_validate(
        {
            "parts": {
                "mast": {"driver": "modbus", "link": mast.link, "timeout_s": 0.3},
                "shack": {"driver": "modbus", "link": shack.link, "timeout_s": 0.3},
            },
            "paths": PATHS,
        }
    )


@pytest.fixture
def switch(options):
    opened = DRIVER.open(options)
    yield opened
    opened.close()


def test_every_path_sets_both_boxes_and_reads_back(switch):
    for path in [*PATHS, *reversed(PATHS)]:
        switch.select(path)
        assert switch.selected() == path


def test_only_what_differs_moves(switch):
    moved = [switch.select(path) for path in ("antenna-bypass", "antenna-stage", "load-stage", "load-stage")]
    assert moved == [0, 1, 1, 0]


@pytest.mark.parametrize(
    ("start", "goal", "order"),
    [
        ("load-bypass", "antenna-stage", [(3, False), (0, True)]),
        ("antenna-stage", "load-bypass", [(0, False), (3, True)]),
    ],
)
def test_one_box_lets_go_before_the_other_pulls_in(switch, boxes, start, goal, order):
    switch.select(start)
    boxes[0].writes.clear()
    assert switch.select(goal) == 2
    assert boxes[0].writes == order


def test_a_relay_stuck_in_one_box_keeps_the_other_from_pulling_in(switch, boxes):
    mast, shack = boxes
    switch.select("load-bypass")
    shack.welded[3] = True
    mast.writes.clear()
    with pytest.raises(Stuck, match="relay 3"):
        switch.select("antenna-stage")
    assert (0, True) not in mast.writes


def test_a_mixture_of_two_paths_is_none(switch, options):
    switch.select("load-stage")
    two = {path: PATHS[path] for path in ("antenna-bypass", "load-bypass")}
    other = DRIVER.open(JointOptions.model_validate({"parts": options.parts, "paths": two}))
    assert other.selected() is None
    other.close()


def test_who_answers_is_told_for_each(switch):
    assert "mast: Modbus" in switch.identify()
    assert "shack: Modbus" in switch.identify()


def test_an_unknown_path_names_those_there_are(switch):
    with pytest.raises(Unsupported, match="antenna-bypass"):
        switch.select("noise-stage")


def test_one_box_away_is_told(options):
    parts = options.parts | {"shack": {"driver": "modbus", "link": f"tcp://127.0.0.1:{free_port()}"}}
    with pytest.raises(LinkLost, match="switched on"):
        DRIVER.open(JointOptions.model_validate({"parts": parts, "paths": PATHS}))


def test_relays_are_named_by_their_part(options):
    assert options.relays_of("antenna-stage") == {("mast.0", "on"), ("shack.3", "off")}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"parts": {"mast": {"driver": "modbus", "link": "/dev/null"}}}, "at least 2"),
        ({"paths": {"antenna-bypass": {"mast": {0: "off"}}}}, "names the parts"),
        ({"parts": {"mast": {"driver": "steam"}, "shack": {"driver": "modbus"}}}, "no switch driver 'steam'"),
        ({"parts": {"mast": {"driver": "joint"}, "shack": {"driver": "modbus"}}}, "no switch driver 'joint'"),
        ({"parts": {"mast": {"driver": "modbus"}, "shack": {"driver": "modbus"}}}, "part mast: .*link"),
        (
            {
                "parts": {
                    "mast": {"driver": "modbus", "link": "/dev/null", "paths": {}},
                    "shack": {"driver": "modbus"},
                }
            },
            "paths of its own",
        ),
    ],
)
def test_a_mistake_in_a_part_is_found_before_anything_opens(change, says):
    parts = {name: {"driver": "modbus", "link": "/dev/null"} for name in ("mast", "shack")}
    with pytest.raises(ValidationError, match=f"(?s){says}"):
        JointOptions.model_validate({"parts": parts, "paths": PATHS} | change)


def test_a_receivers_own_preamplifier_and_a_load_relay_form_one_switch():
    with serve(saltmarsh(), evening(), receiver="ts480", switch="modbus-tcp") as served:
        preamplifier = {
            "driver": "own-stage",
            "receiver": "dialect",
            "dialect": "ts480",
            "link": served.receiver_link,
        }
        switch = DRIVER.open(
            JointOptions.model_validate(
                {
                    "parts": {
                        "stage": preamplifier,
                        "load": {"driver": "modbus", "link": served.switch_link},
                    },
                    "paths": {
                        "antenna-bypass": {"stage": {"preamplifier": "off"}, "load": {1: "off"}},
                        "antenna-stage": {"stage": {"preamplifier": "on"}, "load": {1: "off"}},
                        "load-bypass": {"stage": {"preamplifier": "off"}, "load": {1: "on"}},
                        "load-stage": {"stage": {"preamplifier": "on"}, "load": {1: "on"}},
                    },
                }
            )
        )
        for path, moves in [
            ("antenna-stage", 1),
            ("load-stage", 1),
            ("load-bypass", 1),
            ("antenna-stage", 2),
        ]:
            assert switch.select(path) == moves
            assert switch.selected() == path
        switch.close()
        assert served.forbidden == ()
