"""The instant of a flip that its press only tells to a second, from the step that the sound makes. Numbers only.

Behind a gain control noise does not step when the stage goes in. But no control is perfect and each takes its time, so
the whole sound steps by some tenths of a decibel at the least, up one way and down the other, by about as much each
time; fading moves it slowly meanwhile. What is placed so is what the sound as a whole did, and not what a signal did
against the noise, so the choice of the instant does not choose the S/N.
"""

from collections.abc import Sequence

import numpy as np

from sweeper.attended.levels import Floats, Levels

BESIDE = 3
"""Levels on each side of a step, a fifth of a second."""
FEWEST = 6
"""Presses from which it is known how large a step is."""
LEAST, MOST = 0.5, 2.0
"""Of the usual step its way: less may be chance, more is a fade or a crash."""
ONE_STEP_S = 0.25
"""Steps no further apart are one."""
PLACED = 0.5
"""Share of the presses that has to be placed: with fewer the steps may be chance, and none is believed."""


def placed(presses_s: Sequence[float], levels: Levels, before_s: float, after_s: float) -> list[float | None]:
    """The instant of each flip on the source's clock, None where it is not told. `presses_s`: those of a switch that
    goes to and fro, in order; a flip lies `before_s` before its press at the most, or `after_s` after it.
    """
    nowhere: list[float | None] = [None] * len(presses_s)
    if len(presses_s) < FEWEST:
        return nowhere
    steps = _steps_db(levels.total_db)
    at_s = np.asarray(levels.start_s + levels.every_s * np.arange(len(steps)), np.float64)
    windows = [
        np.flatnonzero((at_s >= press_s - before_s) & (at_s <= press_s + after_s)) for press_s in presses_s
    ]
    if any(len(window) == 0 for window in windows):
        return nowhere
    way = np.where(np.arange(len(windows)) % 2 == 0, 1.0, -1.0)
    largest = np.array([steps[window][np.argmax(np.abs(steps[window]))] for window in windows])
    way = way if np.sign(largest * way).sum() >= 0.0 else -way
    highest = np.array([(up * steps[window]).max() for up, window in zip(way, windows, strict=True)])
    usual = np.where(way > 0.0, np.median(highest[way > 0.0]), np.median(highest[way < 0.0]))
    found = [
        _only(up * steps[window], at_s[window], step_db)
        for up, window, step_db in zip(way, windows, usual.tolist(), strict=True)
    ]
    return found if sum(each is not None for each in found) >= PLACED * len(found) else nowhere


def _steps_db(total_db: Floats) -> Floats:
    """How far the mean after each instant stands over that before it, shape (levels,); 0 next to the ends."""
    steps = np.zeros(len(total_db))
    if len(total_db) > 2 * BESIDE:
        means = np.convolve(total_db, np.full(BESIDE, 1.0 / BESIDE), mode="valid")
        steps[BESIDE : len(total_db) - BESIDE + 1] = means[BESIDE:] - means[:-BESIDE]
    return steps


def _only(steps_db: Floats, at_s: Floats, usual_db: float) -> float | None:
    """The instant of the one step as large as usual, None where there is none or another one besides."""
    top = int(np.argmax(steps_db))
    near = np.abs(at_s - at_s[top]) <= ONE_STEP_S
    alone = float(np.abs(steps_db[~near]).max(initial=0.0)) < LEAST * usual_db
    told = alone and LEAST * usual_db < float(steps_db[top]) < MOST * usual_db
    return float(at_s[top]) if told else None
