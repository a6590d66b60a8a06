"""Drawing: how soon the report of one night is drawn once the findings are there, and how large it is.

Reference in the same run: matplotlib, already loaded, writing one figure of nine small panels with two lines each as
SVG, which is what the smallest report made with it would take. The night has nine bands and twenty hours.
The median of several drawings counts, in turn with the reference; loading the program is not in it.

    python -m tests.benchmarks.drawing [--quick] [--json FILE]

Exits 1 when the report is 300 kB or more; without --quick also when drawing it takes 2 s or more.
"""

import argparse
import io
import json
import statistics
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import polars as pl
from matplotlib.figure import Figure

from sweeper.analysis import StationFacts, find, summarise_day
from sweeper.report.page import page_text
from sweeper.report.setting import Setting
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from sweeper.words import PassRecord
from tests.benchmarks.campaigns import facts_of

LARGEST_BYTES = 300_000
LONGEST_S = 2.0
HOURS = (*range(14, 24), *range(10))
RISES_DB = (25.0, 20.0, 9.0, 11.0, 13.0, 9.0, 5.0, 3.0, 2.0)


def one_night(seed: int) -> tuple[pl.DataFrame, StationFacts, list[PassRecord]]:
    """Summaries of one night, what the station file would say, and its passes."""
    bands = tuple(BandTruth(f"band {nth}", rise_db=rise) for nth, rise in enumerate(RISES_DB, start=1))
    thrown = campaign(Course(bands, nights=1, hours=HOURS, passes_per_hour=5), seed)
    facts = facts_of(thrown)
    readings = thrown.night(0)
    times = readings.group_by("pass").agg(pl.col("time").min()).sort("pass").rows()
    passes = [PassRecord(number, time, time + timedelta(minutes=4), "done", "", 4) for number, time in times]
    return summarise_day(readings, facts), facts, passes


def nine_panels() -> str:
    """The reference: one figure."""
    figure, file = Figure(figsize=(8.6, 8.0)), io.StringIO()
    for axes in figure.subplots(3, 3).flat:
        axes.plot(range(20), range(20))
        axes.plot(range(20), [1.0] * 20)
    figure.savefig(file, format="svg")
    return file.getvalue()


def seconds(run: Callable[[], object]) -> float:
    """How long it takes once."""
    began = time.perf_counter()
    run()
    return time.perf_counter() - began


def main() -> int:
    told = argparse.ArgumentParser()
    told.add_argument("--quick", action="store_true")
    told.add_argument("--json", type=Path)
    asked = told.parse_args()
    summaries, facts, passes = one_night(seed=1)
    findings, evidence = find(summaries, facts)
    setting = Setting("Europe/Copenhagen", "dB over S9", 100_000, 1234)
    pages: list[str] = []

    def draw() -> None:
        pages.append(page_text(findings, evidence, passes, None, setting=setting))

    took: dict[str, list[float]] = {"the report": [], "one figure by matplotlib": []}
    for _ in range(3 if asked.quick else 15):
        took["the report"].append(seconds(draw))
        took["one figure by matplotlib"].append(seconds(nine_panels))
    middle = {name: statistics.median(each) for name, each in took.items()}
    ours, reference = middle.values()
    size = len(pages[-1].encode())
    print(f"size of one night's report, nine bands by {len(HOURS)} hours: {size / 1000:.0f} kB")
    for name, each in middle.items():
        print(f"{name}: {each:.2f} s")
    print(f"ratio: {ours / reference:.2f}")
    if asked.json:
        result = {"bytes": size, "seconds": ours, "reference_s": reference, "ratio": ours / reference}
        asked.json.write_text(json.dumps(result, indent=1), encoding="utf-8")
    return int(size >= LARGEST_BYTES or (not asked.quick and ours >= LONGEST_S))


if __name__ == "__main__":
    sys.exit(main())
