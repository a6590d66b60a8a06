"""Nights of readings made of temperatures in kelvin, for tests of the analysis. Shares no formula with it."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache

import numpy as np
import polars as pl

from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.facts import MeterFacts, MeterUnit, StationFacts
from sweeper.words import Channel

BOLTZMANN_MW = 1.380649e-20  # mW/(K Hz)
PASS_S = 600


@dataclass(frozen=True)
class Night:
    """What a night is made of: temperatures at the antenna terminal, gains as ratios."""

    external_k: float = 10_000_000.0
    receiver_k: float = 2_610.0
    stage_k: float = 290.0
    gain: float = 31.6228
    source_k: float | None = None
    wander: float = 0.2
    carrier_over_external: float = 3000.0
    carriers: bool = True
    loads: bool = True
    passes: int = 60
    readings: int = 8
    averaging_s: float = 0.02
    bandwidth_hz: int = 2400
    step_db: float = 0.0
    floor: float | None = None
    burst_share: float = 0.0
    intermodulation_k: float = 0.0
    seed: int = 1
    begins: date = date(2026, 11, 1)


def channels(night: Night) -> tuple[Channel, ...]:
    noise = [Channel("40 m", 7_000_000 + 10_000 * nth, "noise", night.bandwidth_hz) for nth in range(2)]
    carriers = [Channel("40 m", 7_200_000, "carrier", night.bandwidth_hz)] if night.carriers else []
    return tuple(noise + carriers)


def facts(
    night: Night, unit: MeterUnit = "dBm", rated_gain_db: float | None = 15.0, **more: object
) -> StationFacts:
    meter = MeterFacts(unit, unit == "dBm", night.step_db or None, night.floor, None, night.averaging_s)
    values: dict[str, object] = {
        "name": "Saltmarsh",
        "latitude": 56.2,
        "longitude": 8.1,
        "environment": "rural",
        "channels": channels(night),
        "meter": meter,
        "rated_gain_db": rated_gain_db,
        "rated_noise_figure_db": 3.0,
        "source_enr_db": None,
        "worthwhile_db": 1.0,
        "confidence": 0.95,
        "fingerprint": "test",
    }
    return StationFacts(**(values | more))  # type: ignore[arg-type]


@lru_cache(maxsize=64)  # most tests ask about the same few nights
def readings(night: Night) -> pl.DataFrame:
    """Bypass, stage, stage, bypass every ten minutes from noon UTC, each pass beginning with the load."""
    rng = np.random.default_rng(night.seed)
    start = datetime(night.begins.year, night.begins.month, night.begins.day, 16, tzinfo=UTC)
    rows: dict[str, list[object]] = {name: [] for name in ("ms", "pass", "hz", "for", "source", "route")}
    kelvin: list[float] = []
    order = ["antenna-bypass", "antenna-stage", "antenna-stage", "antenna-bypass"]
    if night.loads:
        order = ["load-bypass", "load-stage", *order]
    if night.source_k is not None:
        order = [*order, "noise-bypass", "noise-stage"]
    for number in range(night.passes):
        sky_k = night.external_k * np.exp(night.wander * np.sin(number / 9) + 0.05 * rng.normal())
        for nth, path in enumerate(order):
            source, route = path.split("-")
            for channel in channels(night):
                carrier = channel.purpose == "carrier"
                if source != "antenna" and carrier:
                    continue
                into_k = {"antenna": sky_k, "load": 290.0, "noise": night.source_k or 0.0}[source]
                if carrier:
                    into_k += night.carrier_over_external * night.external_k * rng.exponential()
                at_receiver_k = into_k
                if route == "stage":
                    at_receiver_k = night.gain * (into_k + night.stage_k)
                    at_receiver_k += night.intermodulation_k if source == "antenna" else 0.0
                kelvin.append(at_receiver_k + night.receiver_k)
                rows["ms"].append(
                    int(start.timestamp() * 1000) + 1000 * (number * PASS_S + 20 * nth + channel.hz % 7)
                )
                rows["pass"].append(number)
                rows["hz"].append(channel.hz)
                rows["for"].append(channel.purpose)
                rows["source"].append(source)
                rows["route"].append(route)
    each = night.readings
    shape = night.bandwidth_hz * night.averaging_s
    power_mw = np.array(kelvin)[:, None] * BOLTZMANN_MW * night.bandwidth_hz
    power_mw = power_mw * rng.gamma(shape, 1 / shape, (len(kelvin), each))
    power_mw = power_mw * np.where(rng.random(power_mw.shape) < night.burst_share, 300.0, 1.0)
    shown = 10 * np.log10(power_mw)
    if night.step_db:
        shown = np.round(shown / night.step_db) * night.step_db
    if night.floor is not None:
        shown = np.maximum(shown, night.floor)
    ms = (np.array(rows["ms"])[:, None] + 50 * np.arange(each)).ravel()
    frame = pl.DataFrame(
        {name: np.repeat(np.array(column), each) for name, column in rows.items() if name != "ms"}
    )
    return frame.with_columns(
        pl.Series("time", ms).cast(pl.Datetime("ms", "UTC")),
        pl.lit("40 m").alias("band"),
        pl.Series("reading", shown.ravel()),
        pl.Series("dbm", shown.ravel()),
        pl.lit(night.bandwidth_hz).alias("bandwidth_hz"),
        pl.lit("").alias("flags"),
    ).sort("time", maintain_order=True)


@lru_cache(maxsize=64)
def summary(night: Night) -> pl.DataFrame:
    """The night's readings, reduced."""
    return summarise_day(readings(night), facts(night))
