"""Writes a first station file: every key with what it is for, in the order of a person's questions. Text only."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

from sweeper.cli.first_bands import FirstBand


@dataclass(frozen=True, slots=True)
class Answers:
    """What a person said to the ten questions.

    `dialect` is empty for hamlib; `step_db` is None where the readings have to show the meter's step; `board` is
    ``modbus``, ``person``, or the name of a board's command table.
    """

    name: str
    latitude: float
    longitude: float
    environment: str
    timezone: str
    dialect: str
    meter_unit: str
    step_db: float | None
    receiver_link: str
    board: str
    board_link: str
    with_load: bool
    rated_gain_db: float | None
    bands: tuple[FirstBand, ...]


def station_text(answers: Answers) -> str:
    """The station file as YAML; texts are written as JSON strings, which YAML reads alike."""
    lines = [
        "# A station: receiver, relay board, stage, antenna and place. Written by `sweeper new`; edit it freely, and",
        "# run `sweeper check` on it afterwards.",
        "station:",
        f"  name: {_text(answers.name)}",
        f"  latitude: {answers.latitude:g}            # degrees north",
        f"  longitude: {answers.longitude:g}           # degrees east; west is negative",
        f"  environment: {answers.environment}  # man-made noise category of ITU-R P.372",
        f"  timezone: {_text(answers.timezone)}  # so that hours are those of the kitchen clock",
        *_receiver(answers),
        *_switch(answers),
        *_stage(answers),
        "bands:                      # dial frequencies; a carrier is heard within the pass band above",
        *(line for band in answers.bands for line in _band(band)),
        "schedule:                   # clock times, or sunrise and sunset at the station",
        "  - {every: 12 min, from: sunset - 3 h, to: sunrise + 3 h}",
        "analysis:",
        "  worthwhile_db: 1.0        # the smallest S/N change worth switching for",
        "  confidence: 0.95",
    ]
    return "\n".join(lines) + "\n"


def _receiver(answers: Answers) -> Sequence[str]:
    driver = ["  driver: hamlib            # network control of any receiver that hamlib drives"]
    if answers.dialect:
        driver = [
            "  driver: dialect           # commands written down in a file of configs/dialects",
            f"  dialect: {_text(answers.dialect)}",
        ]
    return [
        "receiver:",
        *driver,
        f"  link: {_text(answers.receiver_link)}",
        "  mode: USB",
        "  bandwidth_hz: 2400",
        "  settle_s: 0.15            # after tuning, before the first reading",
        "  readings: 8               # in one visit",
        "  interval_s: 0.05          # between readings",
        "  meter:",
        f"    unit: {answers.meter_unit:<17} # dB-over-S9, dBm or raw",
        *_step(answers),
        *(
            ["    s9_dbm: -73             # below 30 MHz, IARU Region 1 Technical Recommendation R.1"]
            if answers.meter_unit == "dB-over-S9"
            else []
        ),
        "    curve: []               # [[reading, dBm], ...] from `sweeper calibrate`; empty: its decibels are tested",
        "                            # by how far noise scatters, where that can be",
    ]


def _step(answers: Answers) -> Sequence[str]:
    if answers.step_db is None:
        return []
    why = (
        "what one number of its meter is worth"
        if answers.dialect
        else "hamlib tells strength in whole decibels"
    )
    return [f"    step_db: {answers.step_db:<14.3g} # {why}"]


def _switch(answers: Answers) -> Sequence[str]:
    if answers.board == "person":
        lines = [
            "switch:",
            "  driver: person            # you: the program says what to set and waits for Enter",
            "  settle_s: 0.5",
            "  rest: antenna-bypass      # how the station is left whenever the program is not measuring",
            "  paths:",
            "    antenna-bypass: antenna connected, stage out",
            "    antenna-stage: antenna connected, stage in",
        ]
        if answers.with_load:
            lines += [
                "    load-bypass: load connected, stage out",
                "    load-stage: load connected, stage in",
            ]
        return lines
    driver = ["  driver: modbus            # relay board, Modbus TCP or RTU", "  unit: 1"]
    stage, load = 0, 1
    if answers.board != "modbus":
        driver = [
            "  driver: board             # commands written down in a file of configs/dialects/boards",
            f"  dialect: {_text(answers.board)}",
        ]
        stage, load = 1, 2
    paths = [
        f"  paths:                    # relay {stage} puts the stage in",
        f"    antenna-bypass: {{{stage}: off}}",
        f"    antenna-stage: {{{stage}: on}}",
    ]
    if answers.with_load:
        paths = [
            f"  paths:                    # relay {stage} puts the stage in, {load} the load in the antenna's place",
            f"    antenna-bypass: {{{stage}: off, {load}: off}}",
            f"    antenna-stage: {{{stage}: on, {load}: off}}",
            f"    load-bypass: {{{stage}: off, {load}: on}}",
            f"    load-stage: {{{stage}: on, {load}: on}}",
        ]
    return [
        "switch:",
        *driver,
        f"  link: {_text(answers.board_link)}",
        "  settle_s: 0.03",
        "  rest: antenna-bypass      # where the relays are left whenever the program is not measuring",
        "  rated_operations: 100000  # from the relay's data sheet",
        *paths,
    ]


def _stage(answers: Answers) -> Sequence[str]:
    if answers.rated_gain_db is None:
        return ["stage: {}                   # rated_gain_db and rated_noise_figure_db, where you know them"]
    return ["stage:", f"  rated_gain_db: {answers.rated_gain_db:g}         # from its data sheet"]


def _band(band: FirstBand) -> Sequence[str]:
    found = "found empty by listening" if band.listened else "check by ear that they are empty"
    carriers = "heard just now" if band.heard else "check that they are on the air at your place"
    return [
        f"  - name: {_text(band.name)}  # {band.service}; {band.source}; noise channels: {found}; carriers: {carriers}",
        "    channels:",
        *(f"      - {{hz: {hz}, for: noise}}" for hz in band.noise_hz),
        *(f"      - {{hz: {hz}, for: carrier}}" for hz in band.carrier_hz),
    ]


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
