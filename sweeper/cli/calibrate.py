"""`calibrate`: from a generator or a step attenuator, and a person, to a meter curve in the station file."""

import math
import sys
from pathlib import Path
from statistics import fmean
from typing import TYPE_CHECKING, Annotated

import typer

from drivers.numbers import strict
from sweeper.cli.calibrate_pad import csv_rows, pad_of, relative_curve, written_down
from sweeper.cli.calibrate_rig import meter_at_rig, steps_at_rig
from sweeper.cli.options import DataFolder, StationFile, open_store
from sweeper.clock import SystemClock
from sweeper.errors import UserFacingError, WrongInput

if TYPE_CHECKING:
    from sweeper.analysis import Curve, KnownLevel
    from sweeper.station import Station
    from sweeper.store import Store

BEFORE = """\
Connect a generator, or a steady source behind a step attenuator, to the antenna's socket of the
relay box. Disconnect the antenna first, and not when lightning is about. Make sure that no
transmitter can be keyed into the generator, that no DC for a remote stage stands on the socket,
and that the generator's highest level is one your receiver bears (its manual says which)."""

Hz = Annotated[
    int | None, typer.Option(metavar="HZ", help="Where to calibrate; the first channel if left out.")
]
LevelsFile = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE.csv", help="Levels already written down: dbm,reading,reading,... in each line."
    ),
]
Tolerance = Annotated[
    float,
    typer.Option("--tolerance", min=0.0, metavar="DB", help="The generator's tolerance, plus or minus."),
]
ReturnLoss = Annotated[
    float,
    typer.Option(
        "--return-loss",
        min=0.0,
        metavar="DB",
        help="Return loss of source and receiver, the worse of the two.",
    ),
]
Flatness = Annotated[
    float,
    typer.Option(
        "--flatness",
        min=0.0,
        metavar="DB",
        help="How far the receiver may read off on other bands than the one calibrated, plus or minus.",
    ),
]
Temperature = Annotated[
    float | None,
    typer.Option("--temperature", metavar="C", help="Temperature in the shack, if you know it."),
]
Detector = Annotated[
    str | None,
    typer.Option(metavar="KIND", help="How the meter averages: rms, log-average, peak or unknown."),
]
NoiseBandwidth = Annotated[
    float | None,
    typer.Option("--noise-bandwidth", metavar="HZ", help="Noise bandwidth of the mode, where it is known."),
]
MeasureBandwidth = Annotated[
    bool, typer.Option("--measure-bandwidth", help="Measure it with the station's noise source and load.")
]

Pad = Annotated[
    float | None,
    typer.Option(
        "--pad",
        metavar="DB",
        help="No generator: a pad of so many dB is switched by hand at three levels or more.",
    ),
]
StageGain = Annotated[
    float | None,
    typer.Option(
        "--stage-gain",
        metavar="DB",
        help="No generator and no pad: the stage is the step, its gain known from another meter.",
    ),
]
PadTolerance = Annotated[
    float,
    typer.Option("--pad-tolerance", min=0.0, metavar="DB", help="Of the pad or the gain, plus or minus."),
]


def calibrate(
    station_file: StationFile,
    hz: Hz = None,
    levels: LevelsFile = None,
    tolerance_db: Tolerance = 1.0,
    return_loss_db: ReturnLoss = 15.0,
    flatness_db: Flatness = 2.0,
    temperature_c: Temperature = None,
    detector: Detector = None,
    noise_bandwidth_hz: NoiseBandwidth = None,
    measure_bandwidth: MeasureBandwidth = False,
    pad_db: Pad = None,
    stage_gain_db: StageGain = None,
    pad_tolerance_db: PadTolerance = 0.3,
    data: DataFolder = None,
) -> None:
    """Turn meter readings into dBm: guides through known levels and writes the curve into the station file."""
    import numpy as np

    from sweeper.analysis import Implausible, curve_of, flatness_line, mismatch_line, step_of, tolerance_line
    from sweeper.station import load

    station = load(station_file)
    channels_hz = [channel.hz for channel in station.channels()]
    if pad_db is not None or stage_gain_db is not None:
        step_size_db = pad_of(pad_db, stage_gain_db)
        steps = (
            written_down(levels)
            if levels is not None
            else steps_at_rig(
                station,
                station_file,
                data,
                hz,
                step_size_db if stage_gain_db is None else stage_gain_db,
                by_stage=stage_gain_db is not None,
            )
        )
        relative = relative_curve(station, steps, step_size_db, pad_tolerance_db, return_loss_db)
        _show(relative)
        _write(station_file, relative, temperature_c, detector, noise_bandwidth_hz)
        print(f"Written into {station_file}.")
        return
    if levels is not None:
        known = _written_down(levels)
    else:
        hz = hz if hz is not None else channels_hz[0]
        with open_store(station, station_file, data, read_only=False) as store:
            known = _asked_for(station, store, hz)
    try:
        lines = [
            tolerance_line("the source's tolerance", tolerance_db),
            mismatch_line(return_loss_db, return_loss_db),
            flatness_line(hz, channels_hz, flatness_db),
        ]
        step_db = station.receiver.meter.step_db or step_of(np.concatenate([each.readings for each in known]))
        curve = curve_of(known, step_db, lines)
    except Implausible as refused:
        raise UserFacingError(f"{station_file}: no curve was written. {refused}") from refused
    _show(curve)
    if measure_bandwidth:
        with open_store(station, station_file, data, read_only=False) as store:
            noise_bandwidth_hz, error_db = _measured_bandwidth_hz(station, store, curve)
        _show_bandwidth(noise_bandwidth_hz, error_db, station.receiver.bandwidth_hz)
    _write(station_file, curve, temperature_c, detector, noise_bandwidth_hz)
    old = "; the old curve stands beside it as a comment" if station.receiver.meter.curve else ""
    print(f"Written into {station_file}{old}.")


def _asked_for(station: "Station", store: "Store", hz: int | None) -> "list[KnownLevel]":
    """Ask a person for level after level and read the meter at each."""
    from sweeper.analysis import KnownLevel

    print(BEFORE, file=sys.stderr)
    typer.confirm("Is it connected?", abort=True, err=True)
    stepped = typer.confirm(
        "Do you turn a step attenuator (rather than set a generator)?", default=False, err=True
    )
    source_dbm = (
        typer.prompt("Level of the source ahead of it, dBm", type=float, err=True) if stepped else 0.0
    )
    asked = "Attenuation, dB" if stepped else "Level at the socket, dBm"
    known = []
    with meter_at_rig(station, store, hz) as read:
        while answer := typer.prompt(f"{asked} (Enter: no more)", default="", show_default=False, err=True):
            try:
                value = float(answer)
            except ValueError:
                print(f"{answer!r} is no number of decibels; try again.", file=sys.stderr)
                continue
            readings = read()
            dbm = source_dbm - value if stepped else value
            known.append(KnownLevel(dbm, readings))
            mean = sum(readings) / len(readings)
            spread = max(readings) - min(readings)
            print(f"  {dbm:.1f} dBm reads {mean:.2f}, spread {spread:.2f}", file=sys.stderr)
    return known


def _written_down(file: Path) -> "list[KnownLevel]":
    from sweeper.analysis import KnownLevel

    known = []
    for number, row in enumerate(csv_rows(file), start=1):
        if not row or row[0].strip().lower() == "dbm":
            continue
        try:
            dbm, *readings = (strict(cell) for cell in row if cell.strip())
        except ValueError:
            raise WrongInput(
                f"{file}, line {number}: {','.join(row)!r} is not dbm,reading,reading,... in numbers."
            ) from None
        known.append(KnownLevel(dbm, tuple(readings)))
    return known


def _show(curve: "Curve") -> None:
    print("reading     dBm   left over dB")
    for (reading, dbm), residual_db in zip(curve.pairs, curve.residuals_db, strict=True):
        left = f"{residual_db:8.2f}" if math.isfinite(residual_db) else "   read once"
        print(f"{reading:7.2f} {dbm:7.1f} {left}")
    for line in curve.budget:
        print(f"{line.what}: {line.standard_db:.2f} dB (type {line.kind})")
    print(f"A level read off this curve is known to {curve.uncertainty_db:.2f} dB (standard uncertainty).")
    for remark in curve.remarks:
        print(remark)


def _show_bandwidth(noise_bandwidth_hz: float, error_db: float, pass_band_hz: int) -> None:
    low_hz, high_hz = (noise_bandwidth_hz * 10 ** (way * error_db / 10) for way in (-1, 1))
    print(
        f"The noise bandwidth is {noise_bandwidth_hz:.0f} Hz, known to {error_db:.2f} dB (standard uncertainty), "
        f"{low_hz:.0f} to {high_hz:.0f} Hz; the pass band is {pass_band_hz} Hz."
    )


def _measured_bandwidth_hz(station: "Station", store: "Store", curve: "Curve") -> tuple[float, float]:
    """From the noise source and the load in bypass, read through the new curve; with its standard uncertainty, dB."""
    from sweeper.analysis import Implausible, bandwidth_uncertainty_db, noise_bandwidth_hz
    from sweeper.engine import Meter

    paths = {str(path) for path in station.paths()}
    if station.noise_source is None or not {"noise-bypass", "load-bypass"} <= paths:
        raise WrongInput(
            "--measure-bandwidth needs a section noise_source: and the paths noise-bypass and load-bypass."
        )
    meter = Meter(in_dbm=False, curve=curve.pairs)
    powers = []
    for path in ("noise-bypass", "load-bypass"):
        with meter_at_rig(station, store, None, path, of_noise=True) as read:
            powers_mw = [10 ** (dbm / 10) for dbm in map(meter.dbm, read()) if dbm is not None]
        if not powers_mw:
            raise UserFacingError(
                f"{path}: its readings lie off the new curve, so no noise bandwidth can be told."
            )
        powers.append(powers_mw)
    source = station.noise_source
    hot_dbm, cold_dbm = (10 * math.log10(fmean(powers_mw)) for powers_mw in powers)
    try:
        width_hz = noise_bandwidth_hz(hot_dbm, cold_dbm, source.enr_db)
        return width_hz, bandwidth_uncertainty_db(
            powers[0], powers[1], curve.uncertainty_db, source.uncertainty_db
        )
    except Implausible as refused:
        raise UserFacingError(str(refused)) from refused


def _write(
    station_file: Path,
    curve: "Curve",
    temperature_c: float | None,
    detector: str | None,
    noise_bandwidth_hz: float | None,
) -> None:
    """A file beside it must load first, so that a station file is never left half written or wrong."""
    from sweeper.station import StationFileError, load
    from sweeper.station.lines import text_of
    from sweeper.station.recalibrate import with_curve
    from sweeper.station.rewrite import with_values
    from sweeper.store import replacing

    others: dict[str, float] = {"uncertainty_db": round(curve.uncertainty_db, 2)}
    others |= {"floor": curve.floor} if curve.floor is not None else {}
    others |= {"top": curve.top} if curve.top is not None else {}
    text = with_curve(
        text_of(station_file),
        curve.pairs,
        SystemClock().now().date(),
        others,
        temperature_c,
    )
    more: dict[tuple[str | int, ...], object] = {}
    if detector is not None:
        more["receiver", "meter", "detector"] = detector
    if noise_bandwidth_hz is not None:
        more["receiver", "noise_bandwidth_hz"] = round(noise_bandwidth_hz, 1)
    try:
        with replacing(station_file) as beside:
            beside.write_text(with_values(text, more) if more else text, encoding="utf-8")
            load(beside)
    except StationFileError as refused:  # the lines of the other file would only mislead
        wrong = " ".join(f"{each.key}: {each.what} {each.mend}".rstrip() for each in refused.problems)
        raise WrongInput(
            f"{station_file}: nothing was written, since it would not be right. {wrong}"
        ) from None
