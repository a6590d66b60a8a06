"""The campaigns of the truth benchmark: which stations, which nights, which mishaps. Seeded; nothing is judged here."""

from dataclasses import dataclass, replace

import numpy as np

from sweeper.analysis import MeterFacts, StationFacts
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import Campaign, campaign

HOURS = (19, 23)
NIGHTS = (1, 2, 3, 4, 5, 7, 10, 15, 30)
WORTHWHILE_DB = 1.0
CONFIDENCE = 0.95
STAGES = ((15.0, 3.0), (20.0, 2.0), (10.0, 4.5), (-3.0, 3.0), (-8.0, 8.0))
"""Gain and noise figure, dB: three amplifiers, a filter that loses 3 dB, an attenuator (a passive one's are equal)."""

EDGES = (None, 0, 1)
WITH_EDGES = {None: "none", 0: "between paths", 1: "of their own"}
"""Carriers that get changes of route of their own in a pass while the dial stays, beside those between the paths."""


@dataclass(frozen=True)
class Planned:
    """A campaign before its dice are thrown, with the stratum it stands for."""

    kind: str  # main, race, overload, fix, no fix
    stratum: dict[str, str]
    course: Course
    seed: int
    compared: bool = False
    """Whether plainer ways are tried on it too."""

    def thrown(self) -> Campaign:
        return campaign(self.course, self.seed)


def planned(count: int, seed: int) -> list[Planned]:
    """`count` main campaigns in turn over the strata, as many with a fix and without, a third as many with overload."""
    found = [_main(number, seed) for number in range(count)]
    found += [_race(number, seed) for number in range(max(count // 12, 1))]
    found += [_overload(number, seed) for number in range(max(count // 3, 3))]
    found += [_fix(number, seed, fix_db) for fix_db in (3.0, 0.0) for number in range(count)]
    return found


def facts_of(thrown: Campaign) -> StationFacts:
    """What the analysis is told of such a station: what its file would say, and nothing of the truth."""
    meter = thrown.meter
    return StationFacts(
        name="Saltmarsh",
        latitude=0.0,
        longitude=0.0,
        environment="rural",
        channels=thrown.channels,
        meter=MeterFacts(
            "dB-over-S9", False, meter.step_db, meter.floor, meter.top, meter.averaging_s, "rms"
        ),
        rated_gain_db=None,
        rated_noise_figure_db=None,
        source_enr_db=None,
        worthwhile_db=WORTHWHILE_DB,
        confidence=CONFIDENCE,
        fingerprint="truth",
    )


def amplified_bands(
    rng: np.random.Generator, count: int, stage: tuple[float, float], **more: object
) -> tuple[BandTruth, ...]:
    """Bands from far above to far below receiver noise: rises drawn evenly from a row of steps."""
    steps = np.linspace(0.0, 1.0, count) + rng.uniform(-0.1, 0.1, count)
    receiver = float(rng.uniform(8.0, 18.0))
    bands = []
    for place, step in enumerate(steps):
        middle = float(0.6 * 30.0 ** np.clip(step, 0.0, 1.0))  # 0.6 to 18 dB
        hours = tuple(float(max(middle * ratio, 0.3)) for ratio in rng.uniform(0.75, 1.33, len(HOURS)))
        truth = BandTruth(
            f"band {place + 1}",
            rise_db=hours,
            gain_db=stage[0],
            stage_noise_figure_db=stage[1],
            receiver_noise_figure_db=receiver,
            noise_channels=2,
        )
        bands.append(replace(truth, **more))  # type: ignore[arg-type]
    return tuple(bands)


def _main(number: int, seed: int) -> Planned:
    rng = np.random.default_rng((seed, 1, number))
    nights = NIGHTS[number % len(NIGHTS)]
    stage = STAGES[(number // len(NIGHTS)) % len(STAGES)]
    night_sd = (1.5, 3.0, 5.0)[number % 3 if number // 9 % 2 else (number + number // 3) % 3]
    gain_by = ("load and carriers", "load", "carriers")[int(rng.integers(3))]
    meter = ("1 dB", "fine", "1 dB with floor")[int(rng.integers(3))]
    mishaps = ("few", "many")[int(rng.integers(2))]
    bands = amplified_bands(rng, 3, stage, carrier_over_noise_db=(25.0,) if "carriers" in gain_by else ())
    edges = EDGES[number // 2 % len(EDGES)] if "carriers" in gain_by else None
    course = Course(
        bands,
        nights=nights,
        hours=HOURS,
        night_sd_db=night_sd,
        edges=edges,
        shared_by_bands=float(rng.uniform(0.0, 1.0)),
        load_every=4 if "load" in gain_by else 0,
        step_db=0.1 if meter == "fine" else 1.0,
        floor_db=_floor(bands[0]) if "floor" in meter else -80.0,
        occupied=0.03 if mishaps == "few" else 0.15,
        missing=0.05 if mishaps == "few" else 0.25,
        nights_lost=0.0 if mishaps == "few" else 0.05,
        crashes_per_s=0.2 if mishaps == "few" else 1.0,
    )
    stratum = {
        "nights": str(nights),
        "night to night": f"{night_sd:g} dB",
        "gain by": gain_by,
        "meter": meter,
        "mishaps": mishaps,
        "stage": f"{stage[0]:+g} dB",
        **({"edges": WITH_EDGES[edges]} if "carriers" in gain_by else {}),
    }
    compared = "carriers" in gain_by and number % 3 == 0
    return Planned("main", stratum, course, seed * 100_003 + number, compared)


def _floor(band: BandTruth) -> float:
    """A meter's floor that the load in bypass touches and the quietest antenna seldom does."""
    kelvin = 290.0 * 10 ** (band.receiver_noise_figure_db / 10)
    level = 10 * np.log10(1.380649e-23 * kelvin * 2400.0 * 1000.0) + 73.0
    return float(np.floor(level) - 1.0)


def _race(number: int, seed: int) -> Planned:
    """Thirty nights of a healthy rig, with bands near enough to the edge that a verdict takes weeks."""
    rng = np.random.default_rng((seed, 4, number))
    bands = tuple(
        BandTruth(
            f"band {place + 1}",
            rise_db=tuple(float(rise * each) for each in rng.uniform(0.9, 1.1, len(HOURS))),
        )
        for place, rise in enumerate((2.6, 3.6, 10.0))
    )
    course = Course(bands, nights=max(NIGHTS), hours=HOURS, night_sd_db=(2.0, 3.0, 4.0)[number % 3])
    stratum = {"nights": str(max(NIGHTS)), "night to night": f"{course.night_sd_db:g} dB"}
    return Planned("race", stratum, course, seed * 100_003 + 90_000 + number)


def _overload(number: int, seed: int) -> Planned:
    rng = np.random.default_rng((seed, 2, number))
    stage = STAGES[number % 3]
    bands = amplified_bands(rng, 3, stage)
    worst = int(rng.integers(len(bands)))
    hour = HOURS[number % 2]
    hit = replace(
        bands[worst],
        overloaded_hours=(hour,),
        products_db=float(rng.uniform(4.0, 10.0)),
        products_order=int(rng.integers(2, 4)),
    )
    bands = (*bands[:worst], hit, *bands[worst + 1 :])
    nights = (3, 5, 8)[number % 3]
    course = Course(bands, nights=nights, hours=HOURS, night_sd_db=3.0)
    return Planned("overload", {"nights": str(nights)}, course, seed * 100_003 + 50_000 + number)


def _fix(number: int, seed: int, fix_db: float) -> Planned:
    rng = np.random.default_rng((seed, 3, number))
    night_sd = (1.0, 1.5, 3.0)[number % 3]
    bands = amplified_bands(rng, 4, STAGES[0])
    course = Course(
        bands,
        nights=14,
        hours=HOURS,
        night_sd_db=night_sd,
        shared_by_bands=0.5,
        fix_at_night=7,
        fix_db=fix_db,
        load_drift_sd_db=0.5,
    )
    kind = "fix" if fix_db else "no fix"
    return Planned(kind, {"night to night": f"{night_sd:g} dB"}, course, seed * 100_003 + 70_000 + number)
