"""The columns of a summary: what `summarise_day` hands on, one row per night, hour and channel.

Names, types and meanings only; nothing is computed here. Summaries of days concatenate: a new night costs a
night. Levels are in the decibels of the meter (dBm when it is calibrated). A standard error (``_se_db``) is that
of the mean over the passes of this hour of this night, correlation between passes allowed for; it says nothing
of other nights. Null means that nothing could be said; NaN never occurs.
"""

from typing import Literal, NamedTuple

import polars as pl


class Column(NamedTuple):
    """One column: its name, its type and what it holds."""

    name: str
    kind: Literal["date", "int", "float", "text"]
    meaning: str


BESIDE_LEVELS = "beside-levels"
"""The flag of a ratio whose carrier and noise are kept as levels, too: it tells of the same passes as they do."""
KEYS = ("night", "hour_utc", "band", "hz", "for")

COLUMNS: tuple[Column, ...] = (
    Column("night", "date", "Day from local mean solar noon to noon, named by the date on which it begins."),
    Column("hour_utc", "int", "Hour of the day in UTC, 0 to 23, in which the pass began."),
    Column("band", "text", "Name of the band."),
    Column("hz", "int", "Dial frequency of the channel, hertz."),
    Column("for", "text", "Purpose of the channel: noise, carrier, or ratio, whose gain is the S/N change."),
    Column("bandwidth_hz", "int", "Bandwidth that the readings were taken with, hertz."),
    Column(
        "scale",
        "int",
        "0: levels are on the station file's present scale. Else another calibration's or unit's: levels of different "
        "scales are not comparable.",
    ),
    Column("passes_seen", "int", "Passes with any reading on this channel in this hour."),
    Column(
        "passes", "int", "Passes with a usable antenna-bypass and antenna-stage pair: those averaged below."
    ),
    Column(
        "level_antenna_bypass",
        "float",
        "Antenna noise level in bypass, dB; on a carrier channel the received level.",
    ),
    Column("level_antenna_stage", "float", "The same with the stage in."),
    Column(
        "level_load_bypass",
        "float",
        "Level with the load in bypass, dB, taken at the times of the antenna visits.",
    ),
    Column("level_load_stage", "float", "The same with the stage in."),
    Column("level_noise_bypass", "float", "Level with the noise source in bypass, dB."),
    Column("level_noise_stage", "float", "The same with the stage in."),
    Column("level_antenna_bypass_se_db", "float", "Standard error of level_antenna_bypass within this hour."),
    Column(
        "meter_reading_bypass",
        "float",
        "Mean antenna-bypass reading as the meter shows it, for a rule by eye.",
    ),
    Column(
        "difference_db", "float", "Antenna stage minus bypass, mean over passes, each pass drift-free (ABBA)."
    ),
    Column("difference_se_db", "float", "Its standard error."),
    Column(
        "difference_bound",
        "text",
        "Empty: exact. 'at least' or 'at most': the true difference lies beyond (floor, top).",
    ),
    Column("load_difference_db", "float", "Load stage minus bypass, dB."),
    Column("load_difference_se_db", "float", "Its standard error."),
    Column("noise_rise_db", "float", "Antenna minus load in bypass, dB (Y of the bypass route)."),
    Column("noise_rise_se_db", "float", "Its standard error."),
    Column(
        "noise_rise_bound",
        "text",
        "Empty: exact. 'at least' where the load sits on the meter's floor, else 'at most'.",
    ),
    Column("stage_noise_rise_db", "float", "Antenna minus load with the stage in, dB."),
    Column("stage_noise_rise_se_db", "float", "Its standard error."),
    Column(
        "power_rise_db",
        "float",
        "Noise rise in bypass as a ratio of mean powers, dB; for what follows from powers.",
    ),
    Column("stage_power_rise_db", "float", "The same with the stage in."),
    Column(
        "carrier_gain_db", "float", "Carrier rows: stage minus bypass after taking the noise out of each, dB."
    ),
    Column("carrier_gain_se_db", "float", "Its standard error (fading included)."),
    Column("carrier_passes", "int", "Passes in which the carrier stood clear of the noise in both routes."),
    Column(
        "edge_gain_db",
        "float",
        "Carrier rows: stage minus bypass across changes of route while the receiver stayed, noise taken out, dB.",
    ),
    Column("edge_gain_se_db", "float", "Its standard error, from the scatter of passes."),
    Column("edge_passes", "int", "Passes with such an edge on which the carrier stood clear of the noise."),
    Column(
        "edge_lag_db",
        "float",
        "Edges to the stage minus edges back, dB: above 0 where the meter still shows the louder route.",
    ),
    Column("edge_lag_se_db", "float", "Its standard error."),
    Column(
        "carrier_snr_db",
        "float",
        "Carrier rows: carrier above the noise of its band in bypass, dB, over those passes.",
    ),
    Column(
        "load_gain_db",
        "float",
        "Noise rows: (antenna-stage − load-stage) over (antenna-bypass − load-bypass), dB.",
    ),
    Column("load_gain_se_db", "float", "Its standard error; large where antenna and load are alike."),
    Column(
        "source_gain_db",
        "float",
        "Gain from noise source and load: (noise − load) of stage over that of bypass, dB.",
    ),
    Column("source_gain_se_db", "float", "Its standard error."),
    Column(
        "strongest_carrier_db",
        "float",
        "Strongest bypass level among the station's channels in this hour, dB.",
    ),
    Column(
        "impulsiveness_db",
        "float",
        "Mean power over noise level in bypass, dB: the impulsive part of the noise.",
    ),
    Column("stage_impulsiveness_db", "float", "The same with the stage in."),
    Column(
        "resolution_db",
        "float",
        "Standard uncertainty of a difference that repetition cannot lower (meter step), dB.",
    ),
    Column(
        "load_resolution_db",
        "float",
        "The part of load_difference_se_db that repetition cannot lower, dB: a load stands still on the meter's step.",
    ),
    Column("gain_resolution_db", "float", "The same for load_gain_db: what the meter step leaves in it, dB."),
    Column("floor_passes", "int", "Passes in which an antenna or load level lay on the meter's floor."),
    Column("clipped_passes", "int", "Passes in which one lay on the meter's top."),
    Column("stale_passes", "int", "Passes with readings that the receiver had not renewed."),
    Column("occupied_passes", "int", "Noise rows: passes set aside because a signal sat in the channel."),
    Column(
        "absent_passes", "int", "Carrier rows: passes set aside because no carrier stood above the noise."
    ),
    *[
        column
        for path in ("antenna_bypass", "antenna_stage", "load_bypass", "load_stage")
        for column in (
            Column(
                f"scatter_{path}",
                "float",
                "Noise rows: variance of readings within a visit over that of white noise; 1 on an honest scale.",
            ),
            Column(f"scatter_visits_{path}", "int", "Visits that told it."),
        )
    ],
    Column("step_db", "float", "The meter's step, told by the station file or seen in the readings, dB."),
    Column(
        "flags", "text", "Space-separated words about the readings, such as unknown-scale or mixed-bandwidth."
    ),
)

NAMES = tuple(column.name for column in COLUMNS)


def schema() -> dict[str, pl.DataType]:
    """The polars type of each column, in order."""
    types: dict[str, pl.DataType] = {
        "date": pl.Date(),
        "int": pl.Int64(),
        "float": pl.Float64(),
        "text": pl.String(),
    }
    return {column.name: types[column.kind] for column in COLUMNS}


MOST_VALUE = 1e9
"""No level in dB, frequency error or count of a summary comes near it; a frequency in hertz may."""


def is_summary(frame: "pl.DataFrame") -> bool:
    """Whether a table has these columns and no value that no summary has: what is kept may be anybody's."""
    if dict(frame.schema) != schema():
        return False
    numbers = [column.name for column in COLUMNS if column.kind == "float"]
    wrong = frame.select(
        pl.any_horizontal(pl.col(name).has_nulls() for name in KEYS)
        | pl.any_horizontal(~pl.col(name).is_between(-MOST_VALUE, MOST_VALUE).all() for name in numbers)
        | ~pl.col("hour_utc").is_between(0, 23).all()
        | ~pl.col("for").is_in(["noise", "carrier", "ratio"]).all()
    )
    return not wrong.item()
