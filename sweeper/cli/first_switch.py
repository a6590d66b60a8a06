"""The switch section of a first station file, for each driver that there is. Text only."""

import json
from collections.abc import Sequence

from drivers.config_files import board_names

REST = "  rest: antenna-bypass      # how the station is left whenever the program is not measuring"
RATED = "  rated_operations: 100000  # from the relay's data sheet"

LINKS = {
    "http": "http://192.168.1.30", "mqtt": "mqtt://127.0.0.1:1883", "gpio": "/dev/gpiochip0",
    "line": "/dev/ttyUSB1", "own-stage": "", "joint": "", "person": "",
}  # fmt: skip
"""What is offered as link, where neither a serial port nor a server here would do; empty: nothing is asked."""


def switch_kinds() -> tuple[str, ...]:
    """Every driver of a switch, the boards of bytes by the names of their command tables."""
    return ("modbus", *board_names(), "http", "mqtt", "gpio", "line", "own-stage", "joint", "person")


def switch_section(kind: str, link: str, with_load: bool, receiver: str, receiver_link: str) -> list[str]:
    """The lines of the section; `receiver` is hamlib or a dialect, for its own stage."""
    if kind == "person":
        return _person(with_load)
    if kind == "own-stage":
        return _own_stage(receiver, receiver_link)
    if kind == "joint":
        return _joint(with_load)
    stage, load = {"modbus": ("0", "1"), "gpio": ("17", "27"), "line": ("rts", "dtr")}.get(kind, ("1", "2"))
    return [
        "switch:",
        *_driver(kind),
        f"  link: {_text(link)}",
        "  settle_s: 0.03",
        REST,
        RATED,
        *_paths(stage, load if with_load else ""),
    ]


def _driver(kind: str) -> Sequence[str]:
    more = {
        "modbus": ["  driver: modbus            # relay board, Modbus TCP or RTU", "  unit: 1"],
        "gpio": [
            "  driver: gpio              # lines of this computer, through libgpiod; needs the optional package gpiod",
            "  active: high              # low, where a low line pulls the relay in",
        ],
        "line": [
            "  driver: line              # RTS and DTR of a serial port of its own, never the receiver's"
        ],
        "http": [
            "  driver: http              # docs/switches.md: login, certificates",
            '  set: {method: PUT, path: "/relays/{relay}", body: \'{"on": {state}}\'}   # as your board wants it',
            '  ask: {path: "/relays/{relay}"}',
            "  value_at: /on             # where the state is in its answer; leave out for a plain word",
            '  words: {on: "true", off: "false"}',
        ],
        "mqtt": [
            "  driver: mqtt              # docs/switches.md: login, certificates",
            "  set_topic: shack/relay/{relay}/set         # as your board wants it",
            "  state_topic: shack/relay/{relay}/state     # retained",
            '  on: "ON"',
            '  off: "OFF"',
        ],
    }
    return more.get(kind) or [
        "  driver: board             # commands written down in a file of configs/dialects/boards",
        f"  dialect: {_text(kind)}",
    ]


def _paths(stage: str, load: str) -> list[str]:
    if not load:
        return [
            f"  paths:                    # relay {stage} puts the stage in",
            f"    antenna-bypass: {{{stage}: off}}",
            f"    antenna-stage: {{{stage}: on}}",
        ]
    return [
        f"  paths:                    # relay {stage} puts the stage in, {load} the load in the antenna's place",
        f"    antenna-bypass: {{{stage}: off, {load}: off}}",
        f"    antenna-stage: {{{stage}: on, {load}: off}}",
        f"    load-bypass: {{{stage}: off, {load}: on}}",
        f"    load-stage: {{{stage}: on, {load}: on}}",
    ]


def _person(with_load: bool) -> list[str]:
    lines = [
        "switch:",
        "  driver: person            # you: the program says what to set and waits for Enter",
        "  settle_s: 0.5",
        REST,
        "  paths:",
        "    antenna-bypass: antenna connected, stage out",
        "    antenna-stage: antenna connected, stage in",
    ]
    if with_load:
        lines += ["    load-bypass: load connected, stage out", "    load-stage: load connected, stage in"]
    return lines


def _own_stage(receiver: str, receiver_link: str) -> list[str]:
    key, on = "preamplifier", "10"  # decibels, as hamlib counts
    driver = ["  receiver: hamlib"]
    if receiver != "hamlib":
        from drivers.receivers.dialect import load as load_dialect

        settings = load_dialect(receiver).settings
        key = "preamplifier" if "preamplifier" in settings else "attenuator"
        on = next(word for word in settings[key].values if word != "off")
        driver = ["  receiver: dialect", f"  dialect: {_text(receiver)}"]
    return [
        "switch:",
        "  driver: own-stage         # the receiver's own preamplifier or attenuator; no relay board",
        *driver,
        f"  link: {_text(receiver_link)}",
        "  settle_s: 0.1",
        REST,
        "  paths:",
        f"    antenna-bypass: {{{key}: off}}",
        f"    antenna-stage: {{{key}: {_text(on) if ' ' in on else on}}}",
    ]


def _joint(with_load: bool) -> list[str]:
    rows = [("antenna-bypass", "off", "off"), ("antenna-stage", "on", "off")]
    if with_load:
        rows += [("load-bypass", "off", "on"), ("load-stage", "on", "on")]
    return [
        "switch:",
        "  driver: joint             # several switches as one; put yours in place of these two",
        "  parts:",
        '    mast: {driver: modbus, link: "tcp://192.168.1.30:502"}',
        "    shack: {driver: line, link: /dev/ttyUSB1}",
        "  settle_s: 0.03",
        REST,
        RATED,
        "  paths:                    # how each part stands",
        *(f"    {path}: {{mast: {{0: {mast}}}, shack: {{rts: {shack}}}}}" for path, mast, shack in rows),
    ]


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
