"""`calibrate --pad` and `--stage-gain`: what a person is asked, what a file may hold, each mistake with its mend."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from drivers.config_files import station_file as example
from sweeper.cli.app import app
from sweeper.cli.calibrate_pad import by_hand, by_relay, pad_of, relative_curve, written_down
from sweeper.errors import UserFacingError, WrongInput
from sweeper.station import load

LEVELS = (-45.0, -40.0, -30.0, -20.0, -10.0, 0.0)


def lines(slope: float = 0.7, levels: tuple[float, ...] = LEVELS) -> str:
    rng = np.random.default_rng(3)
    rows = []
    for level in levels:
        for word, db in (("out", level), ("in", level - 10.0)):
            readings = np.round(slope * (db + rng.normal(0, 1.0, 16)), 1)
            rows.append(",".join((word, *map(str, readings))))
    return "\n".join(["# ten decibels", *rows, ""])


@pytest.mark.clock
def test_readings_written_down_become_a_scale_in_the_station_file(tmp_path: Path) -> None:
    file, readings = tmp_path / "saltmarsh.yaml", tmp_path / "pad.csv"
    file.write_text(example("saltmarsh").read_text(encoding="utf-8"), encoding="utf-8")
    readings.write_text(lines())
    text = file.read_text(encoding="utf-8")
    answer = CliRunner().invoke(app, ["calibrate", str(file), "--pad", "10", "--levels", str(readings)])
    assert answer.exit_code == 0, answer.output
    assert "a pad tells differences only" in answer.output and "the pad's tolerance" in answer.output
    assert file.read_text(encoding="utf-8") != text
    reading, dbm = np.array(load(file).receiver.meter.curve).T
    assert np.polyfit(reading, dbm, 1)[0] == pytest.approx(1 / 0.7, rel=0.05)
    assert load(file).receiver.meter.uncertainty_db > 0.5


@pytest.mark.parametrize(
    ("pad_db", "gain_db", "told"),
    [
        (0.0, None, "--pad: 0 dB is no pad. Write its attenuation, above 0"),
        (-10.0, None, "--pad: -10 dB is no pad. Write its attenuation, above 0"),
        (float("nan"), None, "--pad: nan dB is no pad"),
        (None, 0.0, "--stage-gain: 0 dB is no step"),
        (None, 900.0, "--stage-gain: 900 dB is no step"),
        (10.0, 10.0, "one or the other"),
    ],
)
def test_a_step_that_is_none_is_told(pad_db: float | None, gain_db: float | None, told: str) -> None:
    with pytest.raises(WrongInput, match=told):
        pad_of(pad_db, gain_db)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("out,-20,-20\nout,-30,-30\n", "line 2: .* is not in,reading"),
        ("in,-20\n", "line 1: .* is not out,reading"),
        ("out,-20\nin,nan\n", "line 2"),
        ("out,-20\nin\n", "line 2"),
        ("out,-20\n", "no line `in`"),
        ("\xff", "no CSV in UTF-8"),
    ],
)
def test_a_file_that_cannot_be_used_is_told_with_its_line(text: str, told: str, tmp_path: Path) -> None:
    file = tmp_path / "pad.csv"
    file.write_bytes(text.encode("latin-1"))
    with pytest.raises(WrongInput, match=told):
        written_down(file)


def test_pad_in_and_out_exchanged_is_told(tmp_path: Path) -> None:
    file = tmp_path / "pad.csv"
    file.write_text(lines().replace("out,", "x,").replace("in,", "out,").replace("x,", "in,"))
    rows = file.read_text().splitlines()[1:]
    file.write_text("\n".join(line for pair in zip(rows[1::2], rows[::2], strict=True) for line in pair))
    with pytest.raises(UserFacingError, match="in and out were exchanged"):
        relative_curve(load(example("saltmarsh")), written_down(file), 10.0, 0.2, 20.0)


@pytest.fixture
def answering(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[bool]]:
    answers: list[bool] = []
    monkeypatch.setattr(typer, "confirm", lambda *_, **__: answers.pop(0))
    monkeypatch.setattr(typer, "prompt", lambda *_, **__: "")
    yield answers


def test_by_hand_each_level_is_read_out_in_out_and_one_that_drifts_does_not_count(
    answering: list[bool],
) -> None:
    answering += [True, True, False]
    read = iter([(-20.0,), (-30.0,), (-20.2,), (-10.0,), (-20.0,), (-13.0,)])
    steps = by_hand(lambda other=None: next(read), 10.0)
    assert [(step.high, step.low) for step in steps] == [((-20.0, -20.2), (-30.0,))]


@pytest.mark.parametrize(
    ("before", "low", "after", "counts"),
    [
        ((-20.0, -20.0), -22.0, (-20.5, -20.5), False),  # a quarter of what the pad makes, on a flat scale
        ((30_000.0, 30_000.0), 20_000.0, (30_600.0, 30_600.0), True),  # numbers that are no decibels
        ((30_000.0, 30_000.0), 20_000.0, (32_000.0, 32_000.0), False),
        ((-54.0, -54.0), -54.0, (-54.0, -54.0), True),  # on its floor, which is told later
        ((-20.0, -21.0), -20.5, (-20.5, -20.0), True),  # no more than its readings scatter
    ],
)
def test_a_signal_moves_or_not_by_what_the_pad_makes_of_the_meter(
    before: tuple[float, ...], low: float, after: tuple[float, ...], counts: bool, answering: list[bool]
) -> None:
    answering += [True, False]
    read = iter([before, (low, low), after])
    assert len(by_hand(lambda other=None: next(read), 10.0)) == counts


def test_one_step_of_a_coarse_meter_is_no_move(answering: list[bool]) -> None:
    for step, counts in ((1.0, 1), (None, 0)):
        answering += [True, False]
        read = iter([(-20.0,), (-25.0,), (-21.0,)])
        assert len(by_hand(lambda other=None, read=read: next(read), 10.0, step)) == counts


@pytest.mark.clock
def test_whoever_reads_no_level_at_all_is_told(answering: list[bool]) -> None:
    answering += [False]
    with pytest.raises(UserFacingError, match="No level was read: give at least 3"):
        steps = by_hand(lambda other=None: (0.0,), 10.0)
        relative_curve(load(example("saltmarsh")), steps, 10.0, 0.2, 20.0)


def test_a_level_with_the_pad_on_the_floor_of_the_station_file_is_left_out(tmp_path: Path) -> None:
    file = tmp_path / "pad.csv"
    rows = [
        (word, max(level - db, -60.0))
        for level in (-54.0, -40, -30, -20)
        for word, db in (("out", 0), ("in", 10))
    ]
    file.write_text("".join(f"{word},{level},{level}\n" for word, level in rows))
    curve = relative_curve(load(example("saltmarsh")), written_down(file), 10.0, 0.2, 20.0)
    assert curve.floor == -60.0 and curve.pairs[0][0] == -50.0
    assert any("At -60 the meter ends" in remark for remark in curve.remarks)


@pytest.mark.parametrize("gain_db", [15.0, -6.0])
def test_by_relay_the_stage_is_the_step_whichever_way_it_goes(gain_db: float, answering: list[bool]) -> None:
    answering += [True, False]
    paths: list[str | None] = []

    def read(other: str | None = None) -> tuple[float, ...]:
        paths.append(other)
        return (-20.0 + (gain_db if other == "antenna-stage" else 0.0),)

    (step,) = by_relay(read, gain_db)
    assert paths == ["antenna-bypass", "antenna-stage", "antenna-stage", "antenna-bypass"]
    assert step.high[0] - step.low[0] == abs(gain_db)


def test_the_scale_keeps_the_place_of_the_curve_before(tmp_path: Path) -> None:
    file = tmp_path / "pad.csv"
    file.write_text(lines(1.0))
    station = load(example("saltmarsh"))
    meter = station.receiver.meter.model_copy(
        update={"unit": "dB-over-S9", "curve": ((-60.0, -140.0), (10.0, -70.0))}
    )
    station = station.model_copy(update={"receiver": station.receiver.model_copy(update={"meter": meter})})
    reading, dbm = np.array(relative_curve(station, written_down(file), 10.0, 0.2, 20.0).pairs).T
    assert np.interp(-25.0, reading, dbm) == pytest.approx(-105.0, abs=1.5)
