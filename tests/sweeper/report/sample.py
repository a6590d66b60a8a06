"""Findings and evidence of an invented station, made by hand: what the report is to show, without any analysis."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl

from sweeper.analysis import (
    BandComparison,
    BandFinding,
    ChangePeriod,
    ComparedNight,
    Comparison,
    Evidence,
    Findings,
    Interval,
    PeriodFinding,
    Verdict,
    evidence,
)
from sweeper.words import PassRecord

HOURS = (18, 19, 20, 21, 22, 23, 0, 1, 2, 3, 4, 5)
START = datetime(2026, 11, 1, 17, tzinfo=UTC)


def findings(
    *bands: str,
    verdict: Verdict = "stage",
    name: str = "Saltmarsh",
    nights: int = 7,
    end: datetime | None = None,
) -> Findings:
    """The same verdict on every band and hour; a change of 3 dB, or none where it makes no difference."""
    worth = {"stage": 3.0, "bypass": -3.0, "either": 0.1, "undecided": 0.8}[verdict]
    periods = tuple(
        PeriodFinding(
            hour,
            42,
            nights,
            Interval(worth, worth - 0.8, worth + 0.8),
            Interval(2.5, 2.2, 2.8),
            None,
            verdict,
            (),
            f"Because of what was measured at {hour}.",
        )
        for hour in HOURS
    )
    return Findings(
        name,
        START,
        end or START + timedelta(days=nights),
        0.95,
        1.0,
        tuple(
            BandFinding(
                band,
                Interval(15.0, 14.8, 15.2),
                "combined",
                None,
                None,
                (),
                periods,
                f"{band}: do what it says.",
            )
            for band in (bands or ("80 m", "40 m"))
        ),
    )


def tables(found: Findings, nights: int = 7, calibrated: bool = False) -> Evidence:
    """Evidence to go with it, every frame filled."""
    draw = np.random.default_rng(1)
    levels, by_night, curve, points, crossings, gains, expected = [], [], [], [], [], [], []
    for band in found.bands:
        for hour in HOURS:
            for path, level in (
                ("antenna-bypass", -40.0),
                ("antenna-stage", -28.0),
                ("load-bypass", -45.0),
                ("load-stage", -39.0),
            ):
                crackle = 0.7 if path.startswith("antenna") else None
                levels.append((band.band, hour, path, level, level - 1, level + 1, nights, crackle))
            expected.append(
                (band.band, hour, 47.0, 45.0, 49.0, 40.0, 35.0, 44.0, 34.0, 46.0, "man-made", True)
            )
            for nth in range(nights):
                value = float(draw.normal(3, 1))
                night = date(2026, 11, 1) + timedelta(days=nth)
                by_night.append((band.band, night, hour, value, value - 1, value + 1, 2.5, 6, ""))
                points.append((band.band, night, hour, 2.5, value, value - 1, value + 1))
        for rise in np.linspace(0.2, 20, 60):
            curve.append(
                (band.band, float(rise), 6 / float(rise), 5 / float(rise), 7 / float(rise), 8 / float(rise))
            )
        crossings.append((band.band, 1.0, 6.4, 6.1, 6.7, -46.0, -46.5, -45.5))
        for method in ("carriers", "load", "combined"):
            gains.append((band.band, method, None, 15.0, 14.5, 15.5, True, True))

    def frame(rows: list[tuple[object, ...]], columns: dict[str, pl.DataType]) -> pl.DataFrame:
        return pl.DataFrame(rows, schema=columns, orient="row")

    days = sorted({row[1] for row in by_night})
    return Evidence(
        frame(levels, evidence.LEVELS),
        frame(by_night, evidence.NIGHTS),
        frame(curve, evidence.CURVE),
        frame(points, evidence.POINTS),
        frame(crossings, evidence.CROSSINGS),
        frame([(day, 60, 0, 1, 2, 0, 0) for day in days], evidence.HEALTH),
        frame(gains, evidence.GAINS),
        evidence.empty(evidence.MONTHS),
        frame(
            [
                ("all bands", "household", 0.4, 0.3, 0.5, 1.2, "local"),
                ("all bands", "hour", 0.2, 0.1, 0.3, 0.8, "either"),
            ],
            evidence.PARTS,
        ),
        settling={b.band: "about 5 more nights should settle it" for b in found.bands},
        standing={b.band: f"noise on {b.band} stands as it does" for b in found.bands} if calibrated else {},
        expected=frame(expected, evidence.EXPECTED) if calibrated else evidence.empty(evidence.EXPECTED),
    )


def passes(nights: int = 7) -> tuple[PassRecord, ...]:
    """Twelve passes a night; one of them failed, one was skipped."""
    made = []
    for nth in range(12 * nights):
        begun = START + timedelta(days=nth // 12, hours=nth % 12)
        outcome, because = {
            3: ("skipped", "The dial was turned."),
            7: ("failed", "The board did not answer."),
        }.get(nth % 12, ("done", ""))
        made.append(PassRecord(nth + 1, begun, begun + timedelta(minutes=4), outcome, because, 4))  # type: ignore[arg-type]
    return tuple(made)


def comparison(found: Findings) -> Comparison:
    """Three dB quieter after the fourth night, on every band."""
    first = date(2026, 11, 1)
    bands = tuple(
        BandComparison(
            band.band,
            Interval(-3.0, -4.0, -2.0),
            4,
            3,
            "quieter",
            tuple(ChangePeriod(hour, Interval(-3.0, -5.0, -1.0)) for hour in HOURS),
            f"{band.band} fell by 3 dB.",
            nights=tuple(
                ComparedNight(first + timedelta(days=nth), nth >= 4, -3.0 if nth >= 4 else 0.0)
                for nth in range(7)
            ),
        )
        for band in found.bands
    )
    return Comparison(found.station, datetime(2026, 11, 5, 12, tzinfo=UTC), 0.95, bands)
