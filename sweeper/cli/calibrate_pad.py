"""`calibrate --pad` and `--stage-gain`: a person or a relay switches a known step, and differences become true."""

import csv
import math
import sys
from dataclasses import replace
from pathlib import Path
from statistics import fmean, variance
from typing import TYPE_CHECKING, Protocol

import typer

from drivers.numbers import strict
from drivers.ordinary_files import content_of, why_not
from sweeper.errors import UserFacingError, WrongInput

if TYPE_CHECKING:
    from sweeper.analysis import Curve, PadStep
    from sweeper.station import Station


class Read(Protocol):
    """Reads the meter through a path, or through the path as it stands."""

    def __call__(self, other: str | None = None, /) -> tuple[float, ...]: ...


MOST_BYTES = 1_000_000
DRIFT_DB = 1.0
"""How far a signal may move between before and after."""
CHANCE_SE = 3.0
"""Standard errors within which two means are one."""
BYPASS, STAGE = "antenna-bypass", "antenna-stage"

ANY_SIGNAL = "Any steady signal does: a generator, a broadcast carrier by day, a noise source."
BEFORE = f"""\
{ANY_SIGNAL} Put a pad of known
value (10 dB, say) and a switch for it into the line to the receiver, with no transmitter on that line
and no DC that a pad would burn in; antennas stay off when lightning is about. Then go through three
or more levels, from the meter's lowest to its highest, best one every 5 dB."""


def pad_of(pad_db: float | None, gain_db: float | None) -> float:
    """The step's size in dB. `WrongInput` for what is none."""
    if pad_db is not None and gain_db is not None:
        raise WrongInput("--pad and --stage-gain: the step is one or the other. Leave one out.")
    if pad_db is not None:
        if not 0 < pad_db <= 60:
            raise WrongInput(f"--pad: {pad_db:g} dB is no pad. Write its attenuation, above 0, such as 10.")
        return pad_db
    if gain_db is None or not 0 < abs(gain_db) <= 60:
        raise WrongInput(
            f"--stage-gain: {gain_db or 0:g} dB is no step. Write the gain as another meter measured it, such as 14.6."
        )
    return abs(gain_db)


def by_hand(read: Read, pad_db: float, step: float | None = None) -> "list[PadStep]":
    """Ask a person to switch the pad, level after level. `step`: of the meter, in its own unit, where it is known."""
    from sweeper.analysis import PadStep

    print(BEFORE, file=sys.stderr)
    steps: list[PadStep] = []
    while typer.confirm(f"Level {len(steps) + 1}: is a signal on, the pad out?", default=True, err=True):
        before = read(None)
        typer.prompt("Switch the pad in, then Enter", default="", show_default=False, err=True)
        low = read(None)
        typer.prompt("Switch the pad out again, then Enter", default="", show_default=False, err=True)
        after = read(None)
        if _steady(before, low, after, pad_db, step):
            steps.append(PadStep(before + after, low))
            print(f"  out {fmean(before + after):.2f}, in {fmean(low):.2f}", file=sys.stderr)
    return steps


def by_relay(read: Read, gain_db: float, step: float | None = None) -> "list[PadStep]":
    """Switch the stage in and out while a person sets one level after another. `step` as for `by_hand`."""
    from sweeper.analysis import PadStep

    print(f"{ANY_SIGNAL} The stage is the step.", file=sys.stderr)
    steps: list[PadStep] = []
    while typer.confirm(f"Level {len(steps) + 1}: is a signal on?", default=True, err=True):
        before, first, second, after = (read(path) for path in (BYPASS, STAGE, STAGE, BYPASS))
        through, bypass = first + second, before + after
        if not _steady(before, through, after, abs(gain_db), step):
            continue
        steps.append(PadStep(through, bypass) if gain_db > 0 else PadStep(bypass, through))
        print(f"  bypass {fmean(bypass):.2f}, stage {fmean(through):.2f}", file=sys.stderr)
    return steps


def _steady(
    before: tuple[float, ...],
    between: tuple[float, ...],
    after: tuple[float, ...],
    step_db: float,
    meter_step: float | None,
) -> bool:
    """Whether the signal stood still, by what the meter shows for the step itself: its counts need be no decibels."""
    moved = abs(fmean(after) - fmean(before))
    shown = abs(fmean(before + after) - fmean(between))
    chance = CHANCE_SE * math.sqrt(sum(_variance(side) / len(side) for side in (before, after)))
    if moved <= max(DRIFT_DB / step_db * shown, chance, meter_step or 0.0):
        return True
    print(
        f"  The signal moved by {moved:.3g} meanwhile, where the step makes {shown:.3g}; this level does not count. "
        "Again, please.",
        file=sys.stderr,
    )
    return False


def _variance(side: tuple[float, ...]) -> float:
    return variance(side) if len(side) > 1 else 0.0


def csv_rows(file: Path) -> list[list[str]]:
    """The rows of a table that somebody wrote down. `WrongInput`, with the line, for what is no CSV in UTF-8."""
    try:
        raw = content_of(file, MOST_BYTES)
        return list(csv.reader(raw.decode("utf-8-sig").splitlines()))
    except OSError as error:
        raise WrongInput(f"{file}: cannot be read ({why_not(error)}).") from error
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise WrongInput(
            f"{file}, line {line}: this is not UTF-8, and so no CSV in UTF-8; save it as text in UTF-8."
        ) from None
    except csv.Error as error:
        raise WrongInput(f"{file}: this is no CSV in UTF-8: {error}.") from None


def written_down(file: Path) -> "list[PadStep]":
    """Lines ``out,reading,...`` and ``in,reading,...`` in turn, two for each level."""
    from sweeper.analysis import PadStep

    steps: list[PadStep] = []
    out: tuple[float, ...] | None = None
    for number, row in enumerate(csv_rows(file), start=1):
        if not row or row[0].startswith("#"):
            continue
        word, *cells = (cell.strip() for cell in row)
        due = "out" if out is None else "in"
        try:
            readings = tuple(strict(cell) for cell in cells if cell)
        except ValueError:
            readings = ()
        if word.lower() != due or not readings:
            raise WrongInput(
                f"{file}, line {number}: {','.join(row)[:60]!r} is not {due},reading,reading,... in numbers; a line "
                "`out` and a line `in` belong to each level."
            )
        if out is None:
            out = readings
        else:
            steps.append(PadStep(out, readings))
            out = None
    if out is not None:
        raise WrongInput(f"{file}: its last level has a line `out` and no line `in`.")
    return steps


def relative_curve(
    station: "Station", steps: "list[PadStep]", pad_db: float, tolerance_db: float, return_loss_db: float
) -> "Curve":
    """The scale that the steps tell, anchored by the present curve, or by S9; its budget printed.

    `UserFacingError` where the readings cannot be those of a meter and such a step.
    """
    import numpy as np

    from sweeper.analysis import (
        ANCHOR_LINE,
        Implausible,
        ends_of,
        mismatch_line,
        pad_lines,
        scale_of,
        step_of,
    )
    from sweeper.engine.meter import Meter

    meter = station.receiver.meter
    every = [reading for step in steps for side in (step.high, step.low) for reading in side]
    anchor, anchored_by = (0.0, meter.s9_dbm), ANCHOR_LINE
    middle = fmean(every) if every else 0.0
    now = Meter(in_dbm=meter.unit == "dBm", curve=meter.curve).dbm(middle)
    if now is not None:
        anchor = (middle, now)
        anchored_by = replace(ANCHOR_LINE, what="the curve before", standard_db=meter.uncertainty_db)
    elif meter.unit == "raw" and every:
        anchor = (max(every), meter.s9_dbm)
    lines = [*pad_lines(pad_db, tolerance_db), mismatch_line(return_loss_db, return_loss_db)]
    step = meter.step_db or (step_of(np.array(every)) if every else None)
    try:
        ends = ends_of(steps, meter.floor, meter.top, over_s9=meter.unit == "dB-over-S9")
        decibels = meter.unit != "raw"
        curve = scale_of(steps, pad_db, anchor, lines, step, ends=ends, decibels=decibels)
    except Implausible as refused:
        raise UserFacingError(f"No curve was written. {refused}") from refused
    print(
        f"A difference of {pad_db:g} dB read off this scale is known to {curve.uncertainty_db:.2f} dB (standard"
    )
    print("uncertainty). Its place on the dBm axis is not: a pad tells differences only.")
    return replace(curve, budget=(*curve.budget, anchored_by))
