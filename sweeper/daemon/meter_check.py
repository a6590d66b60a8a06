"""What a few readings say against the station file's meter section, and of a finer meter beside it: sentences."""

from collections.abc import Iterator, Sequence

from drivers.receivers.hamlib_meters import HasTwoMeters, fractions
from sweeper import analysis
from sweeper.station import Station

BELOW_THERMAL_DB = 10.0
"""No receiver shows less than the noise of a resistor by this much: the meter counts from elsewhere."""


def against_the_file(station: Station, readings: Sequence[float]) -> Iterator[str]:
    """Readings that the station file's meter section says cannot be."""
    meter = station.receiver.meter
    lowest, highest, half = min(readings), max(readings), (meter.step_db or 0.0) / 2
    if meter.floor is not None and lowest < meter.floor - half:
        yield f"it reads {lowest:g}, below the floor of {meter.floor:g} in receiver.meter. Mend the floor."
    if meter.top is not None and highest > meter.top + half:
        yield f"it reads {highest:g}, above the top of {meter.top:g} in receiver.meter. Mend the top."
    if meter.curve and highest > meter.curve[-1][0]:
        yield f"it reads {highest:g}, and the curve ends at {meter.curve[-1][0]:g}. Calibrate up to there."
    if meter.unit == "dB-over-S9":
        yield from _not_from_s9(station, readings)


def _not_from_s9(station: Station, readings: Sequence[float]) -> Iterator[str]:
    """Numbers that do not count from S9, whatever the file calls them."""
    receiver, lowest = station.receiver, min(readings)
    mend = "Write meter: {unit: raw}; in S-units it would be wrong."
    if receiver.driver == "hamlib" and fractions(readings):
        shown = next(each for each in readings if fractions([each]))
        yield (
            f"it reads fractions, such as {shown:g}, and hamlib's own strength is whole decibels over S9: this server "
            f"counts from full scale or from elsewhere. {mend}"
        )
    elif not receiver.meter.curve:
        level_dbm, thermal = receiver.meter.s9_dbm + lowest, analysis.thermal_dbm(receiver.bandwidth_hz)
        if level_dbm < thermal - BELOW_THERMAL_DB:
            yield (
                f"it reads {lowest:g}, which over S9 is {level_dbm:.0f} dBm, less than the noise of a resistor "
                f"({thermal:.0f} dBm): it does not count from S9. {mend}"
            )


def finer_meter(receiver: HasTwoMeters) -> str:
    """Whether the receiver's other meter is finer, and how to have it read; nothing where there is none."""
    both = receiver.two_meters()
    if both is None:
        return ""
    if both.finer:
        curve = ", ".join(f"[{raw:g}, {dbm:g}]" for raw, dbm in both.curve)
        return (
            f"RAWSTR is finer here: {both.count_db:.2g} dB a count, where STRENGTH moves by 1 dB. To have it read, "
            f"write level: RAWSTR and meter: {{unit: raw, curve_from: table, uncertainty_db: 10, curve: [{curve}]}}; "
            "nights test the table."
        )
    if not both.table and len(set(both.raw)) > len(set(both.strength)) + 1:
        return (
            "RAWSTR takes more values than STRENGTH here and may be finer; no table of this model is known. Write "
            "level: RAWSTR and meter: {unit: raw}, then `sweeper calibrate --pad` tells its curve."
        )
    return ""
