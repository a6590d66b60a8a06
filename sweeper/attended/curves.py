"""Levels and spectra of both routes for the eye, relative to the noise with the stage out. Numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sweeper.ab import ABResult
from sweeper.attended.heard import Heard, Shown
from sweeper.attended.levels import Floats
from sweeper.attended.stays import Stay
from sweeper.attended.view import Curve, Route
from sweeper.spectra.noise_bins import Mask
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE

REFERENCE_HZ = 2400.0
CORE = 4
"""Bins to both sides that the window spreads a line over."""
LEAST_OVER_DB = 6.0
BANDWIDTH_BINS = 2.0
"""Equivalent noise bandwidth of the window."""


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Both routes, and the noise in a bin with the stage out that all is relative to (linear; None: not heard)."""

    out: Route
    within: Route
    unit: float | None


@dataclass(frozen=True, slots=True)
class Drawn:
    """Frequencies and the two curves."""

    hz: tuple[float, ...]
    out: Curve
    within: Curve


NONE = Route(None, None, None)


def routes(heard: Heard, stays: Sequence[Stay], result: ABResult | None) -> Levels:
    """Signal and noise through each route; by the result's noise bins once there is one."""
    out, within = (heard.shown(stays, path) for path in (ANTENNA_BYPASS, ANTENNA_STAGE))
    inside = heard.pass_band
    known = result is not None and result.picture is not None and len(result.picture.noise) == len(inside)
    keep = np.array(result.picture.noise) if known and result is not None and result.picture else None
    noises = [None if each is None else _noise(each, inside, keep) for each in (out, within)]
    unit = noises[0] if noises[0] is not None else noises[1]
    if unit is None or not heard.knows_pass_band:
        return Levels(NONE, NONE, None)
    return Levels(_route(out, noises[0], unit, inside), _route(within, noises[1], unit, inside), unit)


def _noise(shown: Shown, inside: Mask, keep: Mask | None) -> float:
    if keep is not None and keep.any():
        return float(np.mean(shown.power[keep]))
    return max(float(np.quantile(shown.power[inside], 0.4)), 1e-20)


def _route(shown: Shown | None, noise: float | None, unit: float, inside: Mask) -> Route:
    if shown is None or noise is None:
        return NONE
    power = np.where(inside, shown.power, 0.0)
    peak = int(np.argmax(power))
    core = slice(max(peak - CORE, 0), peak + CORE + 1)
    signal = float(power[core].sum() - noise * inside[core].sum()) / BANDWIDTH_BINS
    noise_db = _db(noise / unit)
    step_hz = float(shown.hz[1] - shown.hz[0])
    in_reference = noise * REFERENCE_HZ / (step_hz * BANDWIDTH_BINS)
    if signal <= 0.0 or _db(float(power[peak]) / noise) < LEAST_OVER_DB:
        return Route(None, noise_db, None)
    unit_in_reference = unit * REFERENCE_HZ / (step_hz * BANDWIDTH_BINS)
    return Route(_db(signal / unit_in_reference), noise_db, _db(signal / in_reference))


def drawn(heard: Heard, stays: Sequence[Stay], levels: Levels) -> Drawn:
    """Spectra over the pass band and a little beside it."""
    shown = [heard.shown(stays, path) for path in (ANTENNA_BYPASS, ANTENNA_STAGE)]
    if shown == [None, None]:
        shown = [heard.shown(stays, None, 20.0), None]
    places = np.flatnonzero(heard.pass_band)
    if levels.unit is None and shown[0] is not None:
        levels = Levels(NONE, NONE, max(float(np.quantile(shown[0].power, 0.65)), 1e-20))
    if levels.unit is None or not len(places):
        return Drawn((), Curve(()), Curve(()))
    span = slice(max(int(places[0]) - 4, 0), int(places[-1]) + 5)
    hz = next(each.hz[span] for each in shown if each is not None)
    curves = [Curve(()) if each is None else Curve(_curve(each.power[span], levels.unit)) for each in shown]
    return Drawn(tuple(np.round(hz, 1).tolist()), curves[0], curves[1])


def _curve(power: Floats, unit: float) -> tuple[float, ...]:
    return tuple(np.round(10.0 * np.log10(np.maximum(power / unit, 1e-4)), 1).tolist())


def _db(ratio: float) -> float:
    return 10.0 * float(np.log10(max(ratio, 1e-12)))
