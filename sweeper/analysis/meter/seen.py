"""What a meter shows of itself in a handful of readings: its step, its floor, its slope, and where it is blind.

For a look at a rig before a night is measured; the summaries of nights say more, and verdicts rest on those.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.meter.floor import FEWEST_READINGS, USUAL_FLOORS
from sweeper.analysis.meter.scale import db_a_count, present_dbm, step_of
from sweeper.analysis.meter.slope import USUAL_AVERAGING_S, noise_spread_db
from sweeper.analysis.thresholds import COARSEST_STEPS, DEAD_SLOPE, SLOPE_AS_GOOD_AS_ONE, SLOPE_SE

FEW_VALUES = 2
"""Two values differ by some step or other; only a third shows that it is the meter's."""


@dataclass(frozen=True, slots=True)
class TakenVisit:
    """One stay on a noise channel: its path and the readings as the meter showed them, in its own unit."""

    band: str
    source: str
    route: str
    bandwidth_hz: int
    readings: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class MeterSeen:
    """What the readings tell; None where they tell nothing.

    `floor`: in the meter's own unit. `slope`: decibels shown for each decibel, with its standard error; where the
    averaging time is a guess, so is the slope. `blind`: bands on which some path lies where the meter does not move.
    `sentences` are for a person.
    """

    step_db: float | None
    floor: float | None
    slope: float | None
    slope_se: float | None
    blind: tuple[str, ...]
    sentences: tuple[str, ...]


def meter_seen(taken: Sequence[TakenVisit], meter: MeterFacts) -> MeterSeen:
    """What visits of pure noise tell of the meter, from eight readings of a few paths on."""
    visits = [(visit, np.array([value for value in visit.readings if np.isfinite(value)])) for visit in taken]
    visits = [(visit, values) for visit, values in visits if len(values) >= FEWEST_READINGS]
    if not visits:
        return MeterSeen(
            meter.step_db, meter.floor, None, None, (), ("Too few readings to tell of the meter.",)
        )
    every = np.concatenate([values for _, values in visits])
    values_seen = len(np.unique(every))
    if values_seen == 1 and not (meter.unit == "dB-over-S9" and every[0] in USUAL_FLOORS):
        still = f"Every reading was {every[0]:g}, whatever the path: the meter stands still, and nothing is told of it."
        return MeterSeen(meter.step_db, meter.floor, None, None, (), (still,))
    step = meter.step_db if meter.step_db is not None else step_of(every, often=2)
    floor = meter.floor if meter.floor is not None else _floor(visits, meter, step or 0.0)
    resting = {
        (visit.band, visit.source, visit.route)
        for visit, values in visits
        if floor is not None and np.mean(values <= floor) > 0.2
    }
    blind = tuple(dict.fromkeys(visit.band for visit, _ in visits if _path(visit) in resting))
    told = [(visit, present_dbm(values, meter)) for visit, values in visits if _path(visit) not in resting]
    told = [(visit, values) for visit, values in told if np.isfinite(values).all()]
    slope, error = _slope(told, meter, (step or 0.0) * db_a_count(meter))
    return MeterSeen(
        step,
        floor,
        slope,
        error,
        blind,
        tuple(
            _sentences(meter, step if values_seen > FEW_VALUES else None, floor, slope, error, blind, resting)
        ),
    )


def _path(visit: TakenVisit) -> tuple[str, str, str]:
    return visit.band, visit.source, visit.route


def _floor(
    visits: Sequence[tuple[TakenVisit, np.ndarray]], meter: MeterFacts, step_db: float
) -> float | None:
    """The lowest value, where whole visits rest on it that noise would move."""
    lowest = min(float(values.min()) for _, values in visits)
    still = [visit for visit, values in visits if values.max() == values.min() == lowest]
    fine = [
        visit for visit in still if step_db <= COARSEST_STEPS * noise_spread_db(visit.bandwidth_hz, meter)
    ]
    usual = meter.unit == "dB-over-S9" and lowest in USUAL_FLOORS
    return lowest if fine or (usual and still) else None


def _slope(
    visits: Sequence[tuple[TakenVisit, np.ndarray]], meter: MeterFacts, step_db: float
) -> tuple[float | None, float | None]:
    """Root of the variance of readings less that of rounding, over that of noise; the median bears a signal or two."""
    squared = np.array(
        [
            (values.var(ddof=1) - step_db**2 / 12) / noise_spread_db(visit.bandwidth_hz, meter) ** 2
            for visit, values in visits
            if step_db <= COARSEST_STEPS * noise_spread_db(visit.bandwidth_hz, meter)
        ]
    )
    if not len(squared):
        return None, None
    middle = max(
        float(np.median(squared)) / 0.91, 0.0
    )  # the median of χ² with 7 degrees of freedom over its mean
    slope = float(np.sqrt(middle))
    return slope, float(1.25 * 0.6 * max(middle, 0.1) / np.sqrt(len(squared)) / (2 * max(slope, 0.3)))


def _sentences(
    meter: MeterFacts,
    step_db: float | None,
    floor: float | None,
    slope: float | None,
    error: float | None,
    blind: Sequence[str],
    resting: set[tuple[str, str, str]],
) -> list[str]:
    said = []
    if step_db:
        unit = "on its own scale" if meter.unit == "raw" else "dB"
        said.append(f"The meter moves in steps of {step_db:g} {unit}.")
    if floor is not None:
        said.append(f"The meter ends at {floor:g}: what it shows there is “at most”.")
    for band in blind:
        paths = sorted(f"{source} by {route}" for place, source, route in resting if place == band)
        said.append(
            f"On {band} the meter is blind: {', '.join(paths)} lies on its lowest value, and nothing can be said there."
        )
    if slope is None or error is None:
        said.append(
            "Its steps are too coarse to show how far noise scatters; nothing tests its decibels: calibrate it."
        )
    elif slope + SLOPE_SE * error < DEAD_SLOPE:
        said.append(
            "It hardly moves where noise must make it move: a threshold, or a meter that holds its values."
        )
    elif abs(slope - 1) <= max(SLOPE_AS_GOOD_AS_ONE, SLOPE_SE * error):
        said.append(f"Noise scatters as the radiometer's law asks ({slope:.2f} ± {error:.2f} of it).")
    else:
        said.append(
            f"Noise scatters {slope:.2f} ± {error:.2f} times as far as the radiometer's law asks: its decibels are "
            "none, "
            "or its detector is no power meter, or it averages over another time than the station file says."
        )
    if meter.averaging_s is None and slope is not None:
        said.append(
            f"`averaging_s` is not told and was taken for {USUAL_AVERAGING_S:g} s, so this is a guess; how the scatter "
            "changes from level to level is none."
        )
    return said
