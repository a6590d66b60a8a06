"""Drawn campaigns of every kind, and all figures of their analysis in a few numbers each, to be kept and compared.

    python -m tests.sweeper.analysis.kept_figures     # after a change that was meant to move figures: keeps them anew

The kept file says nothing of whether figures are right, which other tests ask; only that none moves unseen.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path

import numpy as np
import polars as pl

from sweeper.analysis import StationFacts, compare, evidence_from, findings_from, summarise_day, table_of
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

KEPT = Path(__file__).with_name("kept_figures.json")
HOURS = (19, 23)
QUIET, NOISY = BandTruth("30 m", (3.5, 2.5), noise_channels=2), BandTruth("40 m", 11.0)
BANDS = (QUIET, NOISY, BandTruth("10 m", (0.8, 1.2), 20.0, 2.0))
MUTE = tuple(replace(band, carrier_over_noise_db=()) for band in BANDS)
HALVED = tuple((level, -45.0 + 0.5 * (level + 45.0)) for level in (-160.0, 60.0))
KNEE = ((-160.0, -49.0), (-49.0, -49.0), (-43.0, -43.0), (60.0, 60.0))
NO_LOAD: dict[str, object] = {"load_every": 0}
UNTOLD: dict[str, object] = {"floor": None}
"""What a newcomer's station file says of the meter."""

Seen = dict[str, object]
Facts = Mapping[str, object]


def summaries_of(
    course: Course,
    seed: int,
    meter: Facts,
    facts: Facts,
    flags: bool,
    later: Course | None = None,
    at: int = 0,
) -> tuple[pl.DataFrame, StationFacts]:
    """Days of a campaign, from night `at` on those of another course; without their flags unless wanted."""
    days, told = [], None
    for n in range(course.nights):
        thrown = campaign(later if later is not None and n >= at else course, seed)
        if told is None:
            told = facts_of(thrown)
            told = replace(told, meter=replace(told.meter, **meter), **facts)  # type: ignore[arg-type]
        night = thrown.night(n)
        if told.meter.unit == "dBm":
            night = night.with_columns(pl.col("reading") - 73.0)
        days.append(summarise_day(night if flags else night.with_columns(flags=pl.lit("")), told))
    assert told is not None
    return pl.concat(days), told


def found(
    bands: tuple[BandTruth, ...],
    seed: int = 5,
    meter: Facts | None = None,
    facts: Facts | None = None,
    later: Facts | None = None,
    at: int = 0,
    whole: bool = False,
    **course: object,
) -> Seen:
    """The table and the findings of a campaign; `whole`: with its summaries, nights and evidence."""
    asked = Course(bands, **({"hours": HOURS, "nights": 5} | course))  # type: ignore[arg-type]
    then = None if later is None else replace(asked, **later)  # type: ignore[arg-type]
    rows, told = summaries_of(asked, seed, meter or {}, facts or {}, meter is None, then, at)
    table = table_of(rows, told)
    findings = findings_from(table, rows, told)
    seen: Seen = {
        "table": table if whole else replace(table, nights=table.nights.clear()),
        "bands": findings.bands,
    }
    if whole:
        seen |= {"summaries": rows, "evidence": evidence_from(table, findings, rows, told)}
    return seen


def compared(
    bands: tuple[BandTruth, ...], fix: datetime | None, control: tuple[str, ...] = (), **course: object
) -> Seen:
    """What a fix changed."""
    rows, told = summaries_of(Course(bands, **({"hours": HOURS} | course)), 8, {}, {}, True)  # type: ignore[arg-type]
    return {"comparison": compare(rows, told, fix, (), control)}


FIXED = datetime(2026, 1, 17, 12, tzinfo=UTC)
NIGHTS: dict[str, Callable[[], Seen]] = {
    "load and carriers": partial(found, BANDS, whole=True),
    "load alone, a fine meter": partial(found, MUTE, step_db=0.1, nights=6),
    "load on the floor": partial(found, MUTE, floor_db=-53.0),
    "one night": partial(found, BANDS, nights=1),
    "two nights": partial(found, BANDS, nights=2),
    "three nights without a load": partial(found, BANDS, nights=3, **NO_LOAD),
    "carriers alone, nights in spells": partial(found, BANDS, whole=True, nights=12, night_persistence=0.7, **NO_LOAD),
    "noise alone, by its bend": partial(found, MUTE, nights=10, night_sd_db=4.0, **NO_LOAD),
    "an attenuator": partial(found, (replace(NOISY, gain_db=-8.0, stage_noise_figure_db=8.0),), nights=8),
    "a leak and a resident carrier": partial(
        found, BANDS, whole=True, nights=6, leak_db=-25.0, resident_over_noise_db=10.0
    ),
    "overload": partial(
        found, (replace(NOISY, overloaded_hours=(19,), products_db=8.0, compression_db=1.0), QUIET), nights=6
    ),
    "loud nights, many mishaps": partial(
        found, BANDS, whole=True, nights=9, loud_share=0.3, occupied=0.2, missing=0.3, nights_lost=0.1,
        crashes_per_s=1.0,
    ),
    "channels apart": partial(found, (replace(NOISY, channel_gains_db=(0.0, -4.0)),), nights=8),
    "a gain that takes itself back": partial(
        found, BANDS, nights=8, agc_db_per_db=0.15, agc_on_carriers=True, **NO_LOAD
    ),
    "a contact that goes": partial(found, BANDS, nights=8, gain_step_at_night=5, gain_step_db=-4.0),
}  # fmt: skip
METERS: dict[str, Callable[[], Seen]] = {
    "a meter of half the slope": partial(found, BANDS[:2], meter=UNTOLD, bend=HALVED, floor_db=-160.0),
    "a meter of half the slope, no load": partial(
        found, BANDS, meter=UNTOLD, bend=HALVED, floor_db=-160.0, step_db=0.3, **NO_LOAD
    ),
    "a meter with a knee": partial(found, MUTE, meter=UNTOLD, bend=KNEE, floor_db=-160.0, step_db=0.2),
    "a floor that nobody told": partial(found, MUTE, meter=UNTOLD, floor_db=-53.0, step_db=0.4),
    "an averaging time that nobody told": partial(found, (NOISY,), nights=4, meter=UNTOLD | {"averaging_s": None}),
    "another slope in mid-season": partial(
        found, BANDS[1:], meter=UNTOLD | {"step_db": None}, nights=7, floor_db=-160.0, later={"bend": HALVED}, at=3
    ),
    "another step in mid-season": partial(
        found, BANDS, meter=UNTOLD | {"step_db": None}, nights=6, step_db=1.0, later={"step_db": 0.4}, at=4
    ),
    "a quasi-peak detector": partial(found, BANDS, detector="quasi-peak"),
    "a calibrated meter": partial(
        found, BANDS, whole=True, meter={"unit": "dBm", "calibrated": True, "floor": -133.0, "top": -13.0},
        facts={"rated_gain_db": 14.0}, step_db=0.5,
    ),
}  # fmt: skip
CHANGES: dict[str, Callable[[], Seen]] = {
    "a fix of three decibels": partial(
        compared, BANDS, FIXED, nights=14, fix_at_night=7, fix_db=3.0, night_sd_db=1.0
    ),
    "a fix without a load, with a control": partial(
        compared, BANDS, FIXED, ("10 m",), nights=14, fix_at_night=7, fix_db=3.0, fix_bands=("40 m",), **NO_LOAD
    ),
    "no fix, a trend": partial(
        compared, BANDS, FIXED, nights=16, trend_db_per_night=0.3, night_persistence=0.5, load_drift_sd_db=0.5
    ),
    "a fix that is looked for": partial(compared, BANDS, None, nights=20, fix_at_night=9, fix_db=8.0),
    "few nights, one left out": partial(
        compared, BANDS, datetime(2026, 1, 14, 22, 30, tzinfo=UTC), nights=9, fix_at_night=5, fix_db=2.0
    ),
}  # fmt: skip
CAMPAIGNS = NIGHTS | METERS | CHANGES


def figures(of: object) -> dict[str, float | int | str]:
    """Every figure in nested values by its name; figures of one name as one sum in which each has its own weight.

    Words that only people read (anything with a blank) are left out; other words, and what is missing, are counted.
    """
    sums: dict[str, float] = {}
    counted: dict[str, int] = {}
    places: dict[str, int] = {}
    for name, value in _leaves(of, ""):
        if isinstance(value, int | float) and np.isfinite(value):
            place = places[name] = places.get(name, 0) + 1
            sums[name] = sums.get(name, 0.0) + float(value) * (1.0 + 0.37 * np.sin(place))
        else:
            key = f"{name} = {value}"
            counted[key] = counted.get(key, 0) + 1
    return {**{name: float(f"{value:.7g}") for name, value in sums.items()}, **counted}


def _leaves(of: object, name: str) -> Iterator[tuple[str, object]]:
    if isinstance(of, str):
        if " " not in of:
            yield name, of
    elif of is None or isinstance(of, int | float | np.number | np.bool_):
        yield name, of.item() if isinstance(of, np.number | np.bool_) else of
    elif isinstance(of, date):
        yield name, of.isoformat()
    elif isinstance(of, np.ndarray):
        yield from ((name, float(value)) for value in of.ravel())
    elif isinstance(of, pl.DataFrame):
        for column in of.columns:
            for value in of[column].to_list():
                yield from _leaves(value, f"{name}.{column}")
    elif is_dataclass(of):
        for each in fields(of):
            yield from _leaves(getattr(of, each.name), f"{name}.{each.name}".lstrip("."))
    elif isinstance(of, Mapping):
        for key, value in of.items():
            yield from _leaves(
                value, f"{name}.{key}".lstrip(".") if isinstance(key, str) and not name else name
            )
    else:
        for value in sorted(of, key=str) if isinstance(of, set | frozenset) else of:  # type: ignore[call-overload]
            yield from _leaves(value, name)


if __name__ == "__main__":
    every = {name: figures(seen()) for name, seen in CAMPAIGNS.items()}
    KEPT.write_text(json.dumps(every, indent=0, sort_keys=True, ensure_ascii=False) + "\n", encoding="utf-8")
