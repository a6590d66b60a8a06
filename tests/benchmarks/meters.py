"""Meters that lie, by places and with or without a load: decided, wrong and coverage of each row.

    python -m tests.benchmarks.meters [--campaigns 40] [--seed 11] [--only WORDS] [--quick] [--json FILE]
                                      [--before FILE] [--write FILE]

The meters of receivers as they were measured; the analysis is told no more than the station file of a newcomer says
(unit, step, averaging): no floor and no curve. Looked at once, after the last night. Ends with 1 when more than 5 % of
what was decided is wrong in a row, by more than its counts explain.
"""

import argparse
import json
import multiprocessing
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl

from sweeper.analysis import findings_from, summarise_day, table_of
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import HOURS, facts_of
from tests.benchmarks.judging import is_wrong
from tests.benchmarks.meters_page import counts_of, page, too_many_wrong

Bend = tuple[tuple[float, float], ...]


def straight(slope: float, about_db: float = -40.0) -> Bend:
    """A scale of one slope, right at `about_db`."""
    return tuple((level, about_db + slope * (level - about_db)) for level in (-160.0, 60.0))


S_UNITS: Bend = ((-120, -54.2), (-54, -54), (-52.5, -48), (-50, -42), (-46.5, -36), (-42, -30), (-36, -24),
                 (-28, -18), (-19, -12), (-9.5, -6), (0, 0), (60, 60))  # fmt: skip
"""S0 to S9 over 54 dB shown: S-units of 1.5 dB at the bottom to 9.5 at the top."""
METERS: dict[str, dict[str, object]] = {
    "honest, 1 dB": {},
    "honest, 0.1 dB": {"step_db": 0.1},
    "0.4 dB counts": {"step_db": 0.4},
    "S-unit steps": {"step_db": 6.0},
    "floor not named": {"floor": True},
    "knee": {"knee": True},
    "slope 0.5": {"bend": straight(0.5)},
    "slope 0.7": {"bend": straight(0.7)},
    "slope 1.35": {"bend": straight(1.35)},
    "slope 0.7 below −35 dB": {"bend": ((-160, -122.5), (-35, -35), (60, 60))},
    "slope 0.5 above −35 dB": {"bend": ((-160, -160), (-35, -35), (60, 12.5))},
    "S-units of 1.5 to 9.5 dB": {"bend": S_UNITS},
    "log-average": {"detector": "log-average"},
    "quasi-peak": {"detector": "quasi-peak"},
    "averaging not told": {"averaging": None},
    "averaging not told, slope 0.7": {"averaging": None, "bend": straight(0.7)},
    "stage off its label by −6 to −20 dB": {"off_label": True},
    "carrier channels without carriers": {"empty": True},
}
PLACES = {"noisy": (8.0, 25.0), "quiet": (0.6, 4.0), "nothing to gain": (14.0, 30.0)}
"""Noise rise of the first and the last band, dB. In the last place no stage can help by a decibel."""
STAGES = ((15.0, 3.0), (9.0, 4.0), (-5.0, 5.0))
QUICK = 1
"""Campaigns a row in the short run."""
QUICK_EVERY = 17
"""Of the rows in the short run: meters, places and loads come by turns."""


@dataclass(frozen=True)
class Cell:
    """One band and hour: its campaign, its verdict, and whether its interval misses the truth (None: none given)."""

    campaign: int
    verdict: str
    wrong: bool
    missed: bool | None


def course(
    meter: dict[str, object], rises: tuple[float, float], load: bool, rng: np.random.Generator
) -> Course:
    """A station of three bands with this meter."""
    gain, figure = STAGES[int(rng.integers(len(STAGES)))]
    if "off_label" in meter:
        gain, figure = (15.0 - float(rng.uniform(6.0, 20.0)), 6.0)
    receiver = float(rng.uniform(8.0, 18.0))
    bands = tuple(
        BandTruth(
            f"band {n + 1}",
            rise_db=tuple(float(rise * each) for each in rng.uniform(0.8, 1.25, len(HOURS))),
            gain_db=gain,
            stage_noise_figure_db=figure,
            receiver_noise_figure_db=receiver,
            carrier_over_noise_db=(-30.0,) if "empty" in meter else (25.0,),
        )
        for n, rise in enumerate(np.geomspace(*rises, 3))
    )
    made = Course(bands, nights=5, hours=HOURS, load_every=4 if load else 0, floor_db=-160.0)
    own_db = float(np.round(10 * np.log10(1.380649e-23 * 290 * 10 ** (receiver / 10) * 2400 * 1000) + 73.0))
    more = {name: meter[name] for name in ("step_db", "bend", "detector") if name in meter}
    # above the load, and about what the antenna reads in bypass: where outside noise rules, but the meter begins late
    late_db = float(np.exp(rng.uniform(*np.log(rises)))) * float(rng.uniform(0.5, 1.5)) + 1.0
    if "floor" in meter:
        more["floor_db"] = own_db + round(late_db)
    if "knee" in meter:
        at = own_db + late_db
        more["bend"] = ((at - 60, at - 3), (at, at), (60.0, 60.0))
    return replace(made, **more)  # type: ignore[arg-type]


def seen_in(asked: tuple[str, str, bool, int, int]) -> list[Cell]:
    """The cells of one campaign."""
    name, place, load, number, seed = asked
    meter = METERS[name]
    row = (list(METERS).index(name), list(PLACES).index(place), load)
    rng = np.random.default_rng((seed, *row, number))
    thrown = campaign(course(meter, PLACES[place], load, rng), seed * 1000 + number)
    told = facts_of(thrown)
    told = replace(told, meter=replace(told.meter, floor=None))
    if "averaging" in meter:
        told = replace(told, meter=replace(told.meter, averaging_s=None))
    if "off_label" in meter:
        told = replace(told, rated_gain_db=15.0)
    days = [
        summarise_day(thrown.night(n).with_columns(flags=pl.lit("")), told)
        for n in range(thrown.course.nights)
    ]
    summaries = pl.concat(days)
    found = []
    for band in findings_from(table_of(summaries, told), summaries, told).bands:
        for period in band.periods:
            truth = thrown.snr_change_db(band.band, period.hour_utc)
            span = period.snr_change_db
            missed = None if span is None else not span.low <= truth <= span.high
            found.append(Cell(number, period.verdict, is_wrong(period.verdict, truth), missed))
    return found


def run(count: int, seed: int, only: Sequence[str], processes: int, every: int = 1) -> dict[str, list[Cell]]:
    """The cells of each row, by ``meter | place | load``."""
    os.environ["POLARS_MAX_THREADS"] = "1"
    found: dict[str, list[Cell]] = {}
    kinds = [
        (name, place, load)
        for name in METERS
        if not only or any(word in name for word in only)
        for place in PLACES
        for load in (True, False)
    ][::every]
    jobs = [(*kind, number, seed) for kind in kinds for number in range(count)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        parts = pool.imap(seen_in, jobs)
        for name, place, load in kinds:
            row = f"{name} | {place} | {'yes' if load else 'no'}"
            found[row] = [cell for _ in range(count) for cell in next(parts)]
            seen = counts_of(found[row])
            told = ", ".join(f"{seen[each]:.0f} {each}" for each in ("decided", "wrong", "missed", "told"))
            print(f"{row}: {told}", file=sys.stderr, flush=True)
    return found


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--campaigns", type=int, default=40)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--only", default="", help="meters whose name holds one of these words, by comma")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument(
        "--json", type=Path, help="keep the counts, to be held against another state of the program"
    )
    parser.add_argument("--before", type=Path, help="such counts, shown beside these")
    parser.add_argument("--write", type=Path, help="write the table as a page of the docs")
    parser.add_argument(
        "--quick", action="store_true", help="a few campaigns, to see that nothing is far off"
    )
    asked = parser.parse_args()
    count = QUICK if asked.quick else asked.campaigns
    only = [word for word in asked.only.split(",") if word]
    every = QUICK_EVERY if asked.quick else 1
    found = run(count, asked.seed, only, asked.processes, every)
    rows = {name: counts_of(cells) for name, cells in found.items()}
    before = json.loads(asked.before.read_text(encoding="utf-8")) if asked.before else {}
    text = page(rows, before, count, asked.seed)
    print(text)
    if asked.json:
        asked.json.write_text(json.dumps(rows, indent=1, ensure_ascii=False), encoding="utf-8")
    if asked.write:
        asked.write.write_text(text, encoding="utf-8")
    broken = [name for name, row in rows.items() if too_many_wrong(row)]
    for name in broken:
        print(f"more than 5 % of what was decided is wrong: {name}", file=sys.stderr)
    return 1 if broken else 0


if __name__ == "__main__":
    raise SystemExit(main())
