"""A station file is read whole, or every mistake in it is told with its line, its key and its mend."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from sweeper.errors import WrongInput
from sweeper.station import Problem, Station, StationFileError, drivers, load
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE, Channel
from tests.sweeper.station.files import RIGHT, written


def problems_in(file: Path) -> tuple[Problem, ...]:
    with pytest.raises(StationFileError) as refused:
        load(file)
    return refused.value.problems


def only_problem(folder: Path, *changes: tuple[str, str]) -> Problem:
    found = problems_in(written(folder, *changes))
    assert len(found) == 1, found
    return found[0]


def line_of(text: str) -> int:
    return next(n for n, line in enumerate(RIGHT.splitlines(), 1) if text in line)


def test_a_right_file_is_a_station(tmp_path: Path) -> None:
    station = load(written(tmp_path))
    assert station.station.name == "Saltmarsh"
    assert station.channels() == (
        Channel("40 m", 7_038_500, "noise", 2400),
        Channel("40 m", 7_202_000, "carrier", 2400),
    )
    assert station.paths() == (ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE)
    assert station.switch.options is not None
    assert station.switch.options.relays_of("antenna-stage") != station.switch.options.relays_of("load-stage")


def test_a_station_cannot_be_changed(tmp_path: Path) -> None:
    station = load(written(tmp_path))
    with pytest.raises(ValueError, match="frozen"):
        station.receiver.settle_s = 0.0


def test_a_channel_may_have_its_own_bandwidth(tmp_path: Path) -> None:
    station = load(
        written(tmp_path, ("{hz: 7202000, for: carrier}", "{hz: 7202000, for: carrier, bandwidth_hz: 500}"))
    )
    assert [channel.bandwidth_hz for channel in station.channels()] == [2400, 500]


SENTENCES = [
    # what is wrong, changes, key, part of the sentence, part of the mend, text of the line it points at
    ("a channel outside the receiver's range", [("7202000", "50202000")], "bands[0].channels[1].hz",
     "50202000 Hz is outside the receiver's range, 150000 to 30000000 Hz", "range_hz", "7202000"),
    ("a path without relays", [("load-stage: {0: on, 1: on}", "load-stage: {}")], "switch.paths.load-stage",
     "sets no relays", "Name every relay", "load-stage"),
    ("a path with nothing behind it", [("load-stage: {0: on, 1: on}", "load-stage:")], "switch.paths.load-stage",
     "sets no relays", "Name every relay", "load-stage"),
    ("a path that is only off", [("load-stage: {0: on, 1: on}", "load-stage: false")], "switch.paths.load-stage",
     "sets no relays", "Name every relay", "load-stage"),
    ("a path that is a zero", [("antenna-stage: {0: on, 1: off}", "antenna-stage: 0")], "switch.paths.antenna-stage",
     "sets no relays", "Name every relay", "antenna-stage"),
    ("two paths with the same coils", [("load-stage: {0: on, 1: on}", "load-stage: {1: on, 0: off}")],
     "switch.paths.load-stage", "exactly as load-bypass does", "wiring table", "load-stage"),
    ("a rest path that is not antenna-bypass", [("rest: antenna-bypass", "rest: antenna-stage")], "switch.rest",
     "at rest the antenna goes straight to the receiver", "rest: antenna-bypass", "rest:"),
    ("a band without noise channel", [("for: noise", "for: carrier")], "bands[0].channels",
     "the band '40 m' has no noise channel", "for: noise", "channels:"),
    ("a settle time of zero with a real switch", [("settle_s: 0.03", "settle_s: 0")], "switch.settle_s",
     "a real relay bounces", "such as 0.03", "settle_s: 0.03"),
    ("a missing antenna path", [("    antenna-stage: {0: on, 1: off}\n", "")], "switch.paths",
     "the path antenna-stage is missing", "Add it", "paths:"),
    ("a path that is none", [("load-stage:", "lode-stage:")], "switch.paths.lode-stage",
     "'lode-stage' is no path", "Rename", "load-stage"),
    ("the same channel twice", [("7202000, for: carrier", "7038500, for: noise")], "bands[0].channels[1].hz",
     "7038500 Hz is measured twice", "Leave one", "7202000"),
    ("a curve that folds back", [("curve: []", "curve: [[0, -120], [5, -90], [4, -80]]")],
     "receiver.meter.curve[2]", "the curve folds back", "must both rise", "curve:"),
    ("a curve of one point", [("curve: []", "curve: [[0, -120]]")], "receiver.meter.curve",
     "one pair makes no curve", "two pairs", "curve:"),
    ("a curve whose pairs are turned about", [("curve: []", "curve: [[-127, -54], [-73, 600]]")],
     "receiver.meter.curve[1]", "a decibel shown would be 12.1 dB", "Readings come first", "curve:"),
    ("a table that is not there", [("curve: []", "curve: []\n    curve_from: table")], "receiver.meter.curve_from",
     "no curve that could be from a table", "leave curve_from out", ""),
    ("RAWSTR for decibels over S9", [("driver: hamlib", "driver: hamlib\n  level: RAWSTR")], "receiver.meter.unit",
     "RAWSTR is the receiver's own number", "unit: raw", ""),
    ("S9 of a meter that reads in dBm", [("unit: dB-over-S9", "unit: dBm")], "receiver.meter.s9_dbm",
     "this one reads in dBm", "Leave it out", "s9_dbm"),
    ("a floor above the curve", [("curve: []", "curve: [[0, -120], [5, -90]]\n    floor: 6")], "receiver.meter.floor",
     "lies above all that the curve knows", "lowest value", ""),
    ("a top below the curve", [("curve: []", "curve: [[0, -120], [5, -90]]\n    top: -1")], "receiver.meter.top",
     "lies below all that the curve knows", "highest value", ""),
    ("a range that ends before it begins", [("[150000, 30000000]", "[30000000, 150000]")], "receiver.range_hz",
     "ends below where it begins", "lowest", "range_hz"),
    ("a latitude beyond the pole", [("latitude: 56.2", "latitude: 562")], "station.latitude",
     "562 does not fit", "Degrees north", "latitude"),
    ("a worthwhile change of less than nothing", [("worthwhile_db: 1.0", "worthwhile_db: -1.0")],
     "analysis.worthwhile_db", "-1.0 does not fit", "above 0 dB", "worthwhile_db"),
    ("a confidence that nobody can have", [("confidence: 0.95", "confidence: 1.0")], "analysis.confidence",
     "1.0 does not fit", "Between 0.5 and 1", "confidence"),
    ("a confidence in per cent", [("confidence: 0.95", "confidence: 95")], "analysis.confidence",
     "95 does not fit", "such as 0.95", "confidence"),
    ("an environment that P.372 does not know", [("environment: rural", "environment: marsh")],
     "station.environment", "'marsh' does not fit", "quiet-rural", "environment"),
    ("a name with a slash", [("name: Saltmarsh", "name: Salt/marsh")], "station.name",
     "'Salt/marsh' does not fit.", "without slashes, not beginning with a dot", "name: Saltmarsh"),
    ("a missing key", [("  mode: USB\n", "")], "receiver.mode", "this key is missing", "USB or CW", "receiver:"),
    ("a misspelt key", [("settle_s: 0.15", "setle_s: 0.15\n  settle_s: 0.15")], "receiver.setle_s",
     "there is no key 'setle_s' here", "Did you mean 'settle_s'?", "settle_s: 0.15"),
    ("a misspelt key of a channel", [("for: noise}", "for: noise, bandwith_hz: 500}")],
     "bands[0].channels[0].bandwith_hz", "no key 'bandwith_hz'", "Did you mean 'bandwidth_hz'?", "7038500"),
    ("a misspelt section", [("analysis:", "analisis:")], "analisis", "no key 'analisis'", "Did you mean 'analysis'?",
     "analysis:"),
    ("a misspelt key that only the driver knows", [("  unit: 1\n", "  unt: 1\n")], "switch.unt", "no key 'unt'",
     "Did you mean 'unit'?", "unit: 1"),
    ("a driver that is not installed", [("driver: modbus", "driver: modbuss")], "switch.driver",
     "there is no driver 'modbuss'", "Did you mean 'modbus'?", "driver: modbus"),
    ("a receiver's driver for the switch", [("driver: modbus", "driver: hamlib"), ("  unit: 1\n", "")],
     "switch.driver", "drives a receiver, not a switch", "modbus", "driver: modbus"),
    ("a time zone that does not exist", [("environment: rural", "environment: rural\n  timezone: Europe/Saltmarsh")],
     "station.timezone", "no time zone 'Europe/Saltmarsh'", "Europe/Copenhagen", ""),
    ("a moment that is none", [("sunset - 1 h", "sunst - 1 h")], "schedule[0].from", "'sunst - 1 h' is no moment",
     "sunset", "every:"),
    ("an interval that is none", [("10 min", "ten minutes")], "schedule[0].every", "'ten minutes' is no length",
     "10 min", "every:"),
    ("a window with a begin alone", [(", to: sunrise + 1 h", "")], "schedule[0]", "both `from` and `to`", "", "every:"),
    ("a name that would leave the data folder", [("name: Saltmarsh", "name: ../Saltmarsh")], "station.name",
     "'../Saltmarsh' does not fit", "without slashes", "name:"),
    ("readings in fractions", [("readings: 8", "readings: 8.5")], "receiver.readings", "8.5 does not fit",
     "a whole number", "readings"),
    ("not a number at all", [("latitude: 56.2", "latitude: .nan")], "station.latitude", "nan does not fit",
     "Degrees north", "latitude"),
    ("a noise bandwidth that is no number", [("  mode: USB\n", "  mode: USB\n  noise_bandwidth_hz: .nan\n")],
     "receiver.noise_bandwidth_hz", "nan does not fit: input should be a finite number", "Noise bandwidth", ""),
    ("a curve with a hole in it", [("curve: []", "curve: [[0, -120], [5, .nan], [9, -80]]")],
     "receiver.meter.curve[1][1]", "nan does not fit: input should be a finite number", "sweeper calibrate", "curve:"),
    ("a noise path without a source", [("    load-stage: {0: on, 1: on}", "    noise-bypass: {0: on, 1: on}")],
     "switch.paths.noise-bypass", "how strong its noise source is", "enr_db", "load-stage"),
    ("relays where a person's word for the path belongs",
     [("driver: modbus", "driver: person"), ("  link: tcp://127.0.0.1:5020\n  unit: 1\n", "\n\n"),
      ("antenna-stage: {0: on, 1: off}", "antenna-stage: B"),
      ("    load-bypass: {0: off, 1: on}\n    load-stage: {0: on, 1: on}\n", "")],
     "switch.paths.antenna-bypass", "here stand key: value pairs where plain text belongs", "Write plain text",
     "antenna-bypass: {"),
    ("live sockets for everybody", [("analysis:", "live:\n  publish: tcp://0.0.0.0:5750\nanalysis:")], "live",
     "across a network the live sockets need keys", "", "analysis:"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "key", "what", "mend", "at"), [row[1:] for row in SENTENCES], ids=[r[0] for r in SENTENCES]
)
def test_each_mistake_has_its_sentence(
    tmp_path: Path, changes: list[tuple[str, str]], key: str, what: str, mend: str, at: str
) -> None:
    problem = only_problem(tmp_path, *changes)
    assert problem.key == key
    assert what in problem.what
    assert mend in problem.mend
    if at:
        assert problem.line == line_of(at)
    assert str(problem).startswith(f"{tmp_path / 'saltmarsh.yaml'}:{problem.line}: {key}: ")


def test_all_mistakes_are_told_at_once_and_in_the_order_of_the_file(tmp_path: Path) -> None:
    found = problems_in(
        written(
            tmp_path,
            ("latitude: 56.2", "latitude: north"),
            ("  mode: USB\n", ""),
            ("settle_s: 0.03", "settle_s: 0"),
            ("rest: antenna-bypass", "rest: load-bypass"),
            ("load-bypass: {0: off, 1: on}", "load-bypass: {0: off, 1: off}"),
            ("hz: 7202000", "hz: 50202000"),
            ("for: noise", "for: carrier"),
            ("confidence: 0.95", "confidense: 0.95"),
        )
    )
    assert [problem.key for problem in found] == [
        "station.latitude",
        "receiver.mode",
        "switch.settle_s",
        "switch.rest",
        "switch.paths.load-bypass",
        "bands[0].channels",
        "bands[0].channels[1].hz",
        "analysis.confidense",
    ]
    assert [problem.line for problem in found] == sorted(problem.line for problem in found)


@pytest.mark.parametrize("receiver", [[], [("  mode: USB\n", "")], [("  settle_s: 0.15", "  settle_s: -1")]])
def test_a_channel_beyond_the_range_of_the_dialect_is_told_with_all_the_others(
    tmp_path: Path, receiver: list[tuple[str, str]]
) -> None:
    found = problems_in(
        written(
            tmp_path,
            ("  driver: hamlib\n", "  driver: dialect\n  dialect: ic7300\n"),
            ("  range_hz: [150000, 30000000]\n", ""),
            ("hz: 7202000", "hz: 1"),
            ("latitude: 56.2", "latitude: north"),
            *receiver,
        )
    )
    assert {"station.latitude", "bands[0].channels[1].hz"} <= {problem.key for problem in found}
    (far,) = (problem for problem in found if problem.key.endswith("hz"))
    assert "1 Hz is outside the receiver's range, 30000 to 74800000 Hz" in far.what


def test_a_bad_station_file_ends_a_command_with_exit_code_two(tmp_path: Path) -> None:
    with pytest.raises(WrongInput) as refused:
        load(written(tmp_path, ("confidence: 0.95", "confidence: 2")))
    assert refused.value.exit_code == 2


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        ("station: {name: [", 1, "not YAML"),
        ("station:\n  name: a\n  name: b\n", 3, "not YAML"),
        ("- a\n- b\n", 0, "no sections"),
        ("", 0, "no sections"),
        ("a: \x07\n", 0, "not YAML"),
        ("[" * 800, 0, "not YAML"),
    ],
    ids=["unclosed bracket", "a key twice", "a list", "empty", "a control character", "endless brackets"],
)
def test_what_is_no_station_file_is_refused_in_a_sentence(
    tmp_path: Path, text: str, line: int, what: str
) -> None:
    file = tmp_path / "station.yaml"
    file.write_text(text, encoding="utf-8")
    (problem,) = problems_in(file)
    assert what in problem.what
    assert not line or problem.line == line


def test_a_file_that_is_not_there_or_not_text_is_refused_in_a_sentence(tmp_path: Path) -> None:
    assert "no such file" in problems_in(tmp_path / "none.yaml")[0].what
    (tmp_path / "binary.yaml").write_bytes(b"station: \xff\xfe")
    assert "not UTF-8" in problems_in(tmp_path / "binary.yaml")[0].what
    assert "cannot be read" in problems_in(tmp_path)[0].what


def test_what_is_held_to_a_pattern_says_in_words_what_fits() -> None:
    """Nobody is shown a regular expression: the mend of every such key is a sentence."""
    options = [drivers.driver(name).options for name in drivers.names()]
    held = [
        (key, each)
        for model in (Station, *options)
        for key, each in properties(model.model_json_schema())
        if "pattern" in str(each)
    ]
    assert len(held) >= 8
    for key, each in held:
        assert len(each.get("description", "")) > 20, f"{key} has a pattern and no words for it"


def properties(schema: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every key of a JSON schema that is held to something, with what it is held to."""
    for part in (schema, *schema.get("$defs", {}).values()):
        for key, each in part.get("properties", {}).items():
            for one in (each, *each.get("anyOf", ())):
                if "pattern" in one:
                    yield key, {**each, **one}


@pytest.mark.parametrize("wrong", ["unit: dBm\n    step_db: -1", "unit: dBm\n    flor: -140", "unit: S"])
def test_one_mistake_in_the_meter_is_no_word_about_a_key_that_is_not_there(
    wrong: str, tmp_path: Path
) -> None:
    with pytest.raises(StationFileError) as refused:
        load(written(tmp_path, ("unit: dB-over-S9\n    s9_dbm: -73", wrong)))
    (problem,) = refused.value.problems
    assert problem.key == f"receiver.meter.{wrong.split()[-2].rstrip(':')}"
