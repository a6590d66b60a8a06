"""Summaries of many nights made straight from temperatures, for tests of verdicts. Shares no formula with them."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl

from sweeper.analysis.band.cells import Cell, cells_of_bands
from sweeper.analysis.band.gain import Gain
from sweeper.analysis.day import columns
from sweeper.analysis.facts import MeterFacts, StationFacts
from sweeper.words import Channel

T0_K = 290.0


@dataclass(frozen=True)
class Place:
    """A band as its kelvins: the antenna's median and how far nights stray, receiver and stage, gain as a ratio."""

    name: str = "40 m"
    antenna_k: float = 50_000.0
    night_sd_db: float = 2.0
    receiver_k: float = 9_000.0
    stage_k: float = 290.0
    gain: float = 31.6228
    error_db: float = 0.1
    load: bool = True
    carrier: bool = True
    bound: str = ""


def facts(*places: Place, **more: object) -> StationFacts:
    channels: list[Channel] = []
    for number, place in enumerate(places or (Place(),)):
        base = 3_000_000 * (number + 1)
        channels.append(Channel(place.name, base, "noise", 2400))
        if place.carrier:
            channels.append(Channel(place.name, base + 50_000, "carrier", 2400))
    values: dict[str, object] = {
        "name": "Saltmarsh",
        "latitude": 56.2,
        "longitude": 8.1,
        "environment": "rural",
        "channels": tuple(channels),
        "meter": MeterFacts("dB-over-S9", False, 1.0, None, None, 0.02, "rms"),
        "rated_gain_db": None,
        "rated_noise_figure_db": None,
        "source_enr_db": None,
        "worthwhile_db": 1.0,
        "confidence": 0.95,
        "fingerprint": "test",
    }
    return StationFacts(**(values | more))  # type: ignore[arg-type]


def made(
    *places: Place,
    nights: int = 10,
    hours: tuple[int, ...] = (18, 19, 20),
    seed: int = 1,
    first: date = date(2026, 1, 5),
    fix_at: int | None = None,
    fix_db: float = 0.0,
    weekend_db: float = 0.0,
    meter_drift_db: float = 0.0,
) -> pl.DataFrame:
    """Rows of `day.columns`; from night `fix_at` on the antenna is quieter by `fix_db`."""
    rng = np.random.default_rng(seed)
    rows = []
    for number, place in enumerate(places or (Place(),)):
        strays = place.night_sd_db * rng.standard_normal(nights)
        for n in range(nights):
            night = first + timedelta(days=n)
            shift = strays[n] - (fix_db if fix_at is not None and n >= fix_at else 0.0)
            shift += weekend_db if night.isoweekday() >= 6 else 0.0
            for hour in hours:
                rows += _hour(place, 3_000_000 * (number + 1), night, hour, shift, meter_drift_db * n, rng)
    return pl.DataFrame(rows, schema=columns.schema(), orient="row")


def _hour(
    place: Place, hz: int, night: date, hour: int, shift: float, drift: float, rng: np.random.Generator
) -> list[dict[str, object]]:
    outside = place.antenna_k * 10 ** (shift / 10)
    kelvin = {
        "antenna_bypass": outside + place.receiver_k,
        "antenna_stage": place.gain * (outside + place.stage_k) + place.receiver_k,
        "load_bypass": T0_K + place.receiver_k,
        "load_stage": place.gain * (T0_K + place.stage_k) + place.receiver_k,
    }
    read = {
        path: 10 * np.log10(power) - 100.0 + drift + place.error_db * rng.standard_normal()
        for path, power in kelvin.items()
    }
    row: dict[str, object] = {column.name: None for column in columns.COLUMNS}
    for column in columns.COLUMNS:
        if column.kind == "text":
            row[column.name] = ""
        elif column.kind == "int":
            row[column.name] = 0
    row |= {
        "night": night,
        "hour_utc": hour,
        "band": place.name,
        "hz": hz,
        "for": "noise",
        "bandwidth_hz": 2400,
    }
    row |= {"passes": 4, "passes_seen": 4, "resolution_db": 0.0, "gain_resolution_db": 0.0}
    row |= {"load_resolution_db": 0.0}
    for path in ("antenna_bypass", "antenna_stage", "load_bypass", "load_stage"):
        if place.load or path.startswith("antenna"):
            row |= {f"scatter_{path}": 1.0, f"scatter_visits_{path}": 16}
    row |= {"level_antenna_bypass": read["antenna_bypass"], "level_antenna_stage": read["antenna_stage"]}
    row |= {"level_antenna_bypass_se_db": place.error_db, "meter_reading_bypass": read["antenna_bypass"]}
    row |= {"difference_db": read["antenna_stage"] - read["antenna_bypass"], "difference_bound": place.bound}
    row |= {"difference_se_db": place.error_db * 1.4, "strongest_carrier_db": -60.0}
    if place.load:
        power = {path: 10 ** (level / 10) for path, level in read.items()}
        stage, bypass = (
            power["antenna_stage"] - power["load_stage"],
            power["antenna_bypass"] - power["load_bypass"],
        )
        row |= {"level_load_bypass": read["load_bypass"], "level_load_stage": read["load_stage"]}
        row |= {"load_difference_db": read["load_stage"] - read["load_bypass"]}
        row |= {"load_difference_se_db": place.error_db * 1.4}
        row |= {"noise_rise_db": read["antenna_bypass"] - read["load_bypass"], "noise_rise_bound": ""}
        row |= {"noise_rise_se_db": place.error_db * 1.4, "stage_noise_rise_se_db": place.error_db * 1.4}
        row |= {"stage_noise_rise_db": read["antenna_stage"] - read["load_stage"]}
        row |= {"power_rise_db": row["noise_rise_db"], "stage_power_rise_db": row["stage_noise_rise_db"]}
        if stage > 0 and bypass > 0:
            row |= {"load_gain_db": 10 * np.log10(stage / bypass), "load_gain_se_db": place.error_db * 3}
    rows = [row]
    if place.carrier:
        fading = rng.standard_normal()
        rows.append(
            row
            | {
                name: None
                for name in row
                if name.startswith(("load", "noise_rise", "stage_noise", "level_load"))
            }
            | {"hz": hz + 50_000, "for": "carrier", "noise_rise_bound": ""}
            | {"carrier_gain_db": 10 * np.log10(place.gain) + 0.8 * fading, "carrier_gain_se_db": 0.8}
            | {"carrier_passes": 4, "carrier_snr_db": 25.0}
            | {"level_antenna_bypass": read["antenna_bypass"] + 25.0 + 2.0 * rng.standard_normal()}
        )
    return rows


def cells_of_band(
    rows: pl.DataFrame, gain: Gain | None, quieter: bool = False, alike: float = 0.0
) -> list[Cell]:
    """The cells of a station with this band alone, from its nightly rows."""
    return cells_of_bands({"": rows}, {"": gain}, {"": quieter}, alike)
