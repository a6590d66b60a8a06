"""Meters that lie, by places and with or without a load: decided, wrong and coverage of each row.

    python -m tests.benchmarks.meters [--campaigns 20] [--seed 11] [--meters floor,knee]

The meters of receivers as they were measured; the analysis is told no more than a station file of a newcomer says
(unit, step, averaging), no floor and no curve.
"""

import argparse
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import polars as pl

from sweeper.analysis import findings_from, summarise_day, table_of
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import HOURS, facts_of
from tests.benchmarks.judging import is_wrong

_NO_FLAG = pl.lit("")
Bend = tuple[tuple[float, float], ...]


def straight(slope: float, about_db: float = -40.0) -> Bend:
    """A scale of one slope, right at `about_db`."""
    return tuple((level, about_db + slope * (level - about_db)) for level in (-120.0, 60.0))


S_UNITS: Bend = ((-120, -54.2), (-54, -54), (-52.5, -48), (-50, -42), (-46.5, -36), (-42, -30), (-36, -24),
                 (-28, -18), (-19, -12), (-9.5, -6), (0, 0), (60, 60))  # fmt: skip
"""S0 to S9 over 54 dB shown and S-units of 1.5 dB at the bottom to 9.5 at the top."""
METERS: dict[str, dict[str, object]] = {
    "honest, 1 dB": {},
    "honest, fine": {"step_db": 0.1},
    "floor not named": {"floor": True},
    "knee": {"knee": True},
    "slope 0.5": {"bend": straight(0.5)},
    "slope 0.7": {"bend": straight(0.7)},
    "slope 1.35": {"bend": straight(1.35)},
    "S-units of 1.5 to 9.5 dB": {"bend": S_UNITS},
    "S-unit steps": {"step_db": 6.0},
    "0.4 dB counts": {"step_db": 0.4},
    "log-average": {"detector": "log-average"},
    "quasi-peak": {"detector": "quasi-peak"},
}
PLACES = {"noisy": (8.0, 25.0), "quiet": (0.6, 4.0)}
STAGES = ((15.0, 3.0), (9.0, 4.0), (-5.0, 5.0))


def course(
    meter: dict[str, object], rises: tuple[float, float], load: bool, rng: np.random.Generator
) -> Course:
    gain, figure = STAGES[int(rng.integers(len(STAGES)))]
    receiver = float(rng.uniform(8.0, 18.0))
    bands = tuple(
        BandTruth(
            f"band {n + 1}",
            rise_db=tuple(float(rise * each) for each in rng.uniform(0.8, 1.25, len(HOURS))),
            gain_db=gain,
            stage_noise_figure_db=figure,
            receiver_noise_figure_db=receiver,
        )
        for n, rise in enumerate(np.geomspace(*rises, 3))
    )
    made = Course(bands, nights=5, hours=HOURS, load_every=4 if load else 0, floor_db=-130.0)
    own_db = float(np.round(10 * np.log10(1.380649e-23 * 290 * 10 ** (receiver / 10) * 2400 * 1000) + 73.0))
    more = {name: meter[name] for name in ("step_db", "bend", "detector") if name in meter}
    if "floor" in meter:  # between the load and what the antenna reads with the stage in
        more["floor_db"] = own_db + float(rng.integers(1, 8))
    if "knee" in meter:
        at = own_db + float(rng.uniform(1, 10))
        more["bend"] = ((at - 60, at - 3), (at, at), (60.0, 60.0))
    return replace(made, **more)  # type: ignore[arg-type]


def rows(count: int, seed: int, names: list[str]) -> Iterator[tuple[str, str, str, int, int, int, int, int]]:
    """Meter, place, load, cells, decided, wrong, intervals, intervals that hold."""
    for m, name in enumerate(METERS):
        if names and not any(each in name for each in names):
            continue
        for p, (place, rises) in enumerate(PLACES.items()):
            for load in (True, False):
                cells = decided = wrong = intervals = held = 0
                for number in range(count):
                    rng = np.random.default_rng((seed, m, p, load, number))
                    thrown = campaign(course(METERS[name], rises, load, rng), seed * 1000 + number)
                    told = facts_of(thrown)
                    told = replace(told, meter=replace(told.meter, floor=None))
                    readings = thrown.readings.with_columns(flags=_NO_FLAG)
                    summaries = summarise_day(readings, told)
                    found = findings_from(table_of(summaries, told), summaries, told)
                    for band in found.bands:
                        for period in band.periods:
                            truth = thrown.snr_change_db(band.band, period.hour_utc)
                            cells += 1
                            decided += period.verdict != "undecided"
                            wrong += is_wrong(period.verdict, truth)
                            if (span := period.snr_change_db) is not None:
                                intervals += 1
                                held += span.low <= truth <= span.high
                yield name, place, "load" if load else "none", cells, decided, wrong, intervals, held


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--campaigns", type=int, default=20)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--meters", default="")
    given = parser.parse_args()
    print("| meter | place | load | cells | decided | wrong | intervals that hold |\n|" + " --- |" * 7)
    for name, place, load, cells, decided, wrong, intervals, held in rows(
        given.campaigns, given.seed, [each for each in given.meters.split(",") if each]
    ):
        print(
            f"| {name} | {place} | {load} | {cells} | {decided} | {wrong} | {held} of {intervals} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
