"""What the spectra of many passes show of one tuning together: median levels by path, and the lines by kind. Pure.

The samples' centre stands to one side of the tuning's middle in odd passes and to the other in even ones
(`lines.CENTRE_MOVES_HZ`). A line that stands elsewhere in the others, and just as far away as the centre has moved, is
the converter's; twice as far, an image of a line across the centre.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.carriers import Signal, signals, told_apart
from sweeper.spectra.lines import CENTRE_MOVES_HZ
from sweeper.spectra.new_lines import OCCUPIED, QUIETER, NewLines
from sweeper.spectra.noise_bins import FEWEST_BINS, NoiseBins, runs
from sweeper.spectra.tuning import by_parts
from sweeper.spectra.welch import shape_of
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, SignalPath

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Kind = Literal["signal", "leakage", "birdie", "image", "converter", "stage only"]
FEWEST_OF_A_SIDE = 3
"""Passes with the centre on either side, before anything is said to move with it."""
CLEAR = 1.0
"""Power over noise in a bin from which a line is said to stand."""
MOST_POSSIBLE = 10.0
"""S/N change, linear, that a faint line may have gained where it seems to stand with the stage in only."""
DEVIATIONS = 3.0
"""Of noise, after such a change, that a line exceeds: what one pass hears scatters widely."""
FALSE_ALARMS = 1e-3
"""Chance of such a line in a tuning that has none."""
OFTEN = 0.5
"""Share of an hour's passes in which such a line stands, for the hour to be named."""
SNR_HZ = 2400.0
MOST_LINES = 40


@dataclass(frozen=True, slots=True, eq=False)
class Stored:
    """Spectra of one tuning, a row each: the pass, its hour (UTC), the path, and levels in dB of full scale, shape
    (rows, bins), NaN where there is none. Bin k stands at `start_hz` + k · `step_hz`.
    """

    band: str
    start_hz: float
    step_hz: float
    passes: NDArray[np.int64]
    hours: NDArray[np.int64]
    paths: tuple[SignalPath, ...]
    levels_db: Floats
    segments: int

    def of(self, path: SignalPath) -> Mask:
        """The rows of a path."""
        return np.array([each == path for each in self.paths], np.bool_)


@dataclass(frozen=True, slots=True)
class SeenLine:
    """A line, in hertz. `snr_db`: in bypass, over the noise in 2400 Hz. `change_db`: of its level by the stage.
    `hours_utc`: in which hours it stood with the stage in only. `twin_hz`: where it stands while the centre is on the
    other side.
    """

    hz: float
    kind: Kind
    snr_db: float | None = None
    change_db: float | None = None
    hours_utc: tuple[int, ...] = ()
    twin_hz: float | None = None


@dataclass(frozen=True, slots=True)
class TuningSeen:
    """Median levels by path, dB of full scale in a bin, None where nothing is known; the noise's change by the stage;
    and the lines, from the lowest on. `passes`: so many were looked at.
    """

    band: str
    start_hz: float
    step_hz: float
    passes: int
    levels_db: Mapping[str, tuple[float | None, ...]]
    noise_change_db: float | None
    lines: tuple[SeenLine, ...]


def over_passes(stored: Stored) -> TuningSeen | None:
    """All of a tuning; None where the antenna in bypass was never heard."""
    paths = dict.fromkeys(stored.paths)
    medians = {path: _median(stored.levels_db[stored.of(path)]) for path in paths}
    if not np.isfinite(medians.get(ANTENNA_BYPASS, np.nan)).any():
        return None
    change_db, lines = None, list[SeenLine]()
    if ANTENNA_STAGE in medians:
        change_db, lines = _lines(stored, medians)
    told = {
        str(path): tuple(round(each, 2) if np.isfinite(each) else None for each in medians[path].tolist())
        for path in paths
    }
    count = len(np.unique(stored.passes))
    lines.sort(key=lambda line: line.hz)
    return TuningSeen(stored.band, stored.start_hz, stored.step_hz, count, told, change_db, tuple(lines))


def _median(levels_db: Floats) -> Floats:
    """By bin, of the rows that know it."""
    with np.errstate(all="ignore"):
        known = np.isfinite(levels_db).any(axis=0)
        median = np.full(levels_db.shape[1], np.nan)
        median[known] = np.nanmedian(levels_db[:, known], axis=0)
    return median


def _lines(stored: Stored, medians: Mapping[SignalPath, Floats]) -> tuple[float | None, list[SeenLine]]:
    """The noise's change by the stage, dB, and the lines with their kinds."""
    usable = np.all([np.isfinite(each) for each in medians.values()], axis=0)
    power = {path: 10.0 ** (np.where(usable, each, 0.0) / 10.0) for path, each in medians.items()}
    shape = shape_of(stored.segments)
    out, within = power[ANTENNA_BYPASS], power[ANTENNA_STAGE]
    noise, over, parts = by_parts((out, within), (shape, shape), usable)
    if noise.keep.sum() < FEWEST_BINS:
        return None, []
    change_db = float(np.median((medians[ANTENNA_STAGE] - medians[ANTENNA_BYPASS])[noise.keep]))
    moving = _moving(stored, noise)
    found = [*moving, *_with_stage_only(stored, noise)]
    taken = [line.hz for line in found] + [line.twin_hz for line in moving if line.twin_hz is not None]
    clear = {
        path: power[path] - _floor(power[path], noise, parts) for path in (ANTENNA_BYPASS, ANTENNA_STAGE)
    }
    level = noise.level(out)
    for signal in _told(signals(over, noise), noise, power, clear[ANTENNA_BYPASS], shape):
        hz = stored.start_hz + signal.peak * stored.step_hz
        if any(abs(hz - other) < 3 * stored.step_hz for other in taken):
            continue
        strengths = [float(clear[path][list(signal.core)].sum()) for path in (ANTENNA_BYPASS, ANTENNA_STAGE)]
        snr_db = _db(strengths[0] / level * stored.step_hz / SNR_HZ)
        changed_db = _db(strengths[1] / strengths[0]) if min(strengths) > 0.0 else None
        kind: Kind = (
            "birdie" if signal.kind == "birdie" else "leakage" if signal.kind == "leakage" else "signal"
        )
        found.append(SeenLine(hz, kind, snr_db, changed_db))
    return change_db, found[:MOST_LINES]


def _floor(power: Floats, noise: NoiseBins, parts: Sequence[slice]) -> Floats:
    """The noise under each bin, part by part, from the bins in which both routes hold noise."""
    floor = noise.level(power) * noise.pass_band
    for part in parts:
        keep = noise.keep[part]
        if keep.sum() >= FEWEST_BINS:
            floor[part] = np.mean(power[part][keep] / noise.pass_band[part][keep]) * noise.pass_band[part]
    return floor


def _told(
    found: Sequence[Signal], noise: NoiseBins, power: Mapping[SignalPath, Floats], clear: Floats, shape: float
) -> Sequence[Signal]:
    """The signals as they are, or as the receiver's own where the load shows them too."""
    load = power.get(LOAD_BYPASS)
    if load is None:
        return found
    over = by_parts((load,), (shape,), noise.usable)[1]
    shape_seen = 1.0 / _spread(over[noise.keep]) ** 2
    flat = NoiseBins(noise.keep, noise.usable, np.ones(len(load)), shape_seen)
    level = noise.level(load)
    return told_apart(found, flat, clear + level, (1.0 + over) * level, None)


def _spread(over: Floats) -> float:
    """Standard deviation of noise, whatever lines stand among it."""
    return max(1.4826 * float(np.median(np.abs(over - np.median(over)))), 1e-3)


def _db(ratio: float) -> float | None:
    return round(10.0 * float(np.log10(ratio)), 2) if ratio > 0.0 else None


def _moving(stored: Stored, noise: NoiseBins) -> list[SeenLine]:
    """Lines that stand elsewhere when the samples' centre does."""
    sides = []
    for odd in (1, 0):
        rows = stored.of(ANTENNA_BYPASS) & (stored.passes % 2 == odd)
        if rows.sum() < FEWEST_OF_A_SIDE:
            return []
        level = 10.0 ** (_median(stored.levels_db[rows]) / 10.0)
        sides.append(np.nan_to_num(level / (noise.level(level) * noise.pass_band) - 1.0, nan=0.0))
    bins = len(noise.keep)
    found: list[SeenLine] = []
    ways: tuple[tuple[int, Kind], ...] = ((1, "converter"), (2, "image"))
    for times, kind in ways:
        away = round(2 * times * CENTRE_MOVES_HZ / stored.step_hz)
        here = [_only(mine, other) for mine, other in (sides, sides[::-1])]
        both = np.zeros(bins, np.bool_)
        if 0 < away < bins:
            both[away:] = _wider(here[0])[away:] & _wider(here[1])[:-away]
        for first, end in runs(both & _wider(here[0])):
            peak = first + int(np.argmax(sides[0][first:end]))
            hz = stored.start_hz + peak * stored.step_hz
            found.append(SeenLine(hz, kind, twin_hz=hz - 2 * times * CENTRE_MOVES_HZ))
    return found


def _only(mine: Floats, other: Floats) -> Mask:
    """Bins in which a line stands on this side, and less than a quarter of it on the other."""
    there: Mask = (mine > CLEAR) & (np.maximum(other, 0.0) < mine / QUIETER)
    return there


def _wider(there: Mask) -> Mask:
    wider = there.copy()
    wider[1:] |= there[:-1]
    wider[:-1] |= there[1:]
    return wider


def _with_stage_only(stored: Stored, noise: NoiseBins) -> list[SeenLine]:
    """Lines that stand with the stage in only, pass after pass: what a stage makes that is overloaded."""
    ratios: dict[SignalPath, dict[int, Floats]] = {ANTENNA_BYPASS: {}, ANTENNA_STAGE: {}}
    for path, by_pass in ratios.items():
        rows = stored.of(path)
        for number in np.unique(stored.passes[rows]):
            mine = stored.levels_db[rows & (stored.passes == number)]
            level = np.nanmean(10.0 ** (mine / 10.0), axis=0) if np.isfinite(mine).all() else None
            if level is not None:
                by_pass[int(number)] = level / (noise.level(level) * noise.pass_band) - 1.0
    both = sorted(set(ratios[ANTENNA_BYPASS]) & set(ratios[ANTENNA_STAGE]))
    if not both:
        return []
    hour_of = dict(zip(stored.passes.tolist(), stored.hours.tolist(), strict=True))
    stage, bypass = NewLines.of(len(noise.keep), MOST_POSSIBLE), NewLines.of(len(noise.keep), MOST_POSSIBLE)
    spoke = []
    for number in both:
        out, within = ratios[ANTENNA_BYPASS][number], ratios[ANTENNA_STAGE][number]
        spread = max(_spread(each[noise.keep]) for each in (out, within))
        least = max(OCCUPIED, DEVIATIONS * spread * MOST_POSSIBLE)
        spoke.append(stage.add(out, within, least))
        bypass.add(within, out, least)
    rare = FALSE_ALARMS / len(noise.keep)
    if (noise.usable & (bypass.chance() < rare)).any():
        return []  # something comes and goes in step with the switch, or fades too fast to tell
    hours = np.array([hour_of[number] for number in both])
    found = []
    for first, end in runs(noise.usable & (stage.chance() < rare)):
        at = (first + end - 1) // 2
        said = np.array([each[max(at - 1, 0) : at + 2].any() for each in spoke])
        often = tuple(sorted({int(hour) for hour in hours if said[hours == hour].mean() >= OFTEN}))
        found.append(SeenLine(stored.start_hz + at * stored.step_hz, "stage only", hours_utc=often))
    return found
