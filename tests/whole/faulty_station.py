"""A station on real wires whose faults are at hand: real campaign, engine, store and drivers, and a simulated rig."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl

from sweeper.clock import JumpingClock
from sweeper.daemon.rig.instruments import open_switch
from sweeper.daemon.run.campaign import Campaign, run_passes
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.station import Station, load
from sweeper.store import Store
from sweeper.words import PassRecord
from tests.drivers.switches.mosquitto import broker

PATIENT_S = 2.0
"""The deadline of what no fault touches; a busy computer must not look like one."""
DIAL_BEFORE = (3_573_000, "LSB")
CHANNELS_HZ = (7_038_500, 14_112_000)
READINGS = 2
WHOLE = 4 * len(CHANNELS_HZ) * READINGS
"""Readings of a whole pass: bypass, stage, stage, bypass, on each channel."""
TUNINGS = 4 * len(CHANNELS_HZ) - 3
"""Tunings of a whole pass: each path but the first begins on the channel that the one before ended on."""

RECEIVERS = {
    "rigctl-net": "driver: hamlib",
    "net-plain": "{driver: hamlib, receive_only: true}",
    "net-no-state": "driver: hamlib",
    "ts480": "{driver: dialect, dialect: ts480}",
    "ic7300": "{driver: dialect, dialect: ic7300}",
    "scpi": "{driver: dialect, dialect: eb200}",
}
"""Simulated receivers, and what a station file says of them: hamlib over TCP, whole and in part, semicolons and
binary frames on a serial line, SCPI over TCP."""

UNITS = {"scpi": "dBm", "net-plain": "raw"}
"""The unit of their meters, where it is not dB over S9."""

COILS = "{antenna-bypass: {0: off, 1: off}, antenna-stage: {0: on, 1: off}}"
RELAYS = "{antenna-bypass: {1: off, 2: off}, antenna-stage: {1: on, 2: off}}"
SWITCHES = {
    "modbus-tcp": f"driver: modbus, paths: {COILS}",
    "modbus-rtu": f"driver: modbus, baud: 115200, paths: {COILS}",
    "one-byte": f"driver: board, dialect: one-byte, paths: {RELAYS}",
    "http": (
        f"driver: http, paths: {RELAYS}, "
        "set: {method: PUT, path: '/relays/{relay}', body: '{\"on\": {state}}'}, ask: {path: '/relays/{relay}'}, "
        "value_at: /on, words: {on: 'true', off: 'false'}"
    ),
}
"""Simulated relay boards, and what a station file says of them."""

OTHER_SWITCHES = {
    "three-byte": f"driver: board, dialect: three-byte, paths: {RELAYS}",
    "text-line": f"driver: board, dialect: text-line, paths: {RELAYS}",
    "http": (
        f"driver: http, paths: {RELAYS}, set: {{path: '/relay/{{relay}}?turn={{state}}'}}, "
        "ask: {path: '/relay/{relay}/state'}, user: saltmarsh, password_env: RELAY_PASSWORD, ca_file: CA_FILE"
    ),
    "mqtt": (
        f"driver: mqtt, paths: {RELAYS}, set_topic: 'saltmarsh/relay/{{relay}}/set', "
        "state_topic: 'saltmarsh/relay/{relay}/state', alive: {topic: saltmarsh/alive, says: online}"
    ),
}
"""More of them, which take a password, a certificate or a broker."""
OWN_STAGE = (
    "driver: own-stage, {receiver}, rest: antenna-bypass, rated_operations: 100000, "
    "paths: {{antenna-bypass: {{preamplifier: off}}, antenna-stage: {{preamplifier: {on}}}}}"
)
OWN_STAGES = {
    "rigctl-net": OWN_STAGE.format(receiver="receiver: hamlib", on="10"),
    "ts480": OWN_STAGE.format(receiver="receiver: dialect, dialect: ts480", on="on"),
    "ic7300": OWN_STAGE.format(receiver="receiver: dialect, dialect: ic7300", on="first"),
}
"""Receivers whose own preamplifier can be the stage, so that one wire carries all."""

BOARDS = SWITCHES | {name: OTHER_SWITCHES[name] for name in ("three-byte", "text-line", "mqtt")}
"""One for each driver and form of answer, to which every fault happens at every moment."""

STATION = """\
station: {{name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
  {receiver}
  link: {receiver_link}
  mode: USB
  bandwidth_hz: 2400
  settle_s: 0.15
  readings: {readings}
  interval_s: 0.05
  timeout_s: {receiver_timeout_s}
  reconnect_s: {reconnect_s}
  meter: {{unit: {unit}, floor: -1000, top: 1000}}
switch: {{{switch}, link: "{switch_link}", settle_s: 0.03{of_relays}}}
stage: {{rated_gain_db: 15, rated_noise_figure_db: 3}}
bands:
  - name: test
    channels: [{channels}]
"""


@dataclass
class FaultyStation:
    """A campaign and the rig it measures with."""

    station: Station
    served: Served
    store: Store
    campaign: Campaign
    records: list[PassRecord] = field(default_factory=list)

    def one_pass(self) -> PassRecord:
        """The next pass, as a run of the program would do it; what became of it."""
        (record,) = run_passes(self.campaign, [None])
        self.records.append(record)
        return record

    def stored(self, record: PassRecord) -> list[float]:
        """The readings that the store holds of a pass."""
        return self._rows(record)["reading"].to_list()

    def flags(self, record: PassRecord) -> set[str]:
        """Every flag among them."""
        return {flag for flags in self._rows(record)["flags"] for flag in flags.split()}

    def _rows(self, record: PassRecord) -> pl.DataFrame:
        return self.store.readings().filter(pl.col("pass") == record.number).collect()

    def identity_of_switch(self) -> str:
        """Who answers at the switch, in the driver's words."""
        switch = open_switch(self.station)
        try:
            return switch.identify()
        finally:
            switch.close()

    @property
    def at_rest(self) -> bool:
        if self.station.switch.driver == "own-stage":
            return not self.served.receiver.preamplifier
        return self.served.board.path == "antenna-bypass"

    @property
    def dial(self) -> tuple[int, str]:
        return self.served.receiver.hz, self.served.receiver.mode


@contextmanager
def faulty_station(
    folder: Path,
    receiver: str,
    switch: str,
    *,
    receiver_timeout_s: float = PATIENT_S,
    switch_timeout_s: float | None = PATIENT_S,
    reconnect_s: float = 0.1,
    switch_section: str | None = None,
    switch_link: str | None = None,
    **serving: Any,
) -> Iterator[FaultyStation]:
    """`receiver` is one of `RECEIVERS`, `switch` one of `SWITCHES` unless `switch_section` describes another,
    with `switch_link` one that is no board.
    `switch_timeout_s` None: its section has no such key.

    The meter stands still at one value, so that a reading which a fault has bent cannot pass for a true one.
    """
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with ExitStack() as cleanup:
        if switch == "mqtt" and "broker" not in serving:
            port = cleanup.enter_context(broker(folder, "allow_anonymous true"))
            serving["broker"] = f"mqtt://127.0.0.1:{port}"
        own = switch == "own-stage"
        board = "modbus-tcp" if own else switch
        served = cleanup.enter_context(serve(world, clock, receiver=receiver, switch=board, **serving))
        served.receiver.turn_dial(*DIAL_BEFORE)
        served.receiver.frozen = True
        of_relays = "" if own or switch_link else ", break_s: 0"
        of_relays += "" if switch_timeout_s is None else f", timeout_s: {switch_timeout_s}"
        if switch not in ("http", "mqtt") and not switch_link:
            of_relays += f", reconnect_s: {reconnect_s}"
        wording = RECEIVERS[receiver].strip("{}").replace(", ", "\n  ")
        text = STATION.format(
            receiver=wording,
            receiver_link=served.receiver_link,
            switch=switch_section or (OWN_STAGES[receiver] if own else BOARDS[switch]),
            switch_link=switch_link or (served.receiver_link if own else served.switch_link),
            readings=READINGS,
            receiver_timeout_s=receiver_timeout_s,
            reconnect_s=reconnect_s,
            of_relays=of_relays,
            unit=UNITS.get(receiver, "dB-over-S9"),
            channels=", ".join(f"{{hz: {hz}, for: noise}}" for hz in CHANNELS_HZ),
        )
        file = folder / "station.yaml"
        file.write_text(text, encoding="utf-8")
        station = load(file)
        with Store(folder / "data", station.station.name, station.station.longitude) as store:
            yield FaultyStation(station, served, store, Campaign(station, store, clock))
