"""Frequencies, levels and paths as people write them. Pure; raises `Mistake` for what is none."""

import re
from collections.abc import Sequence
from decimal import Decimal, InvalidOperation

from drivers.numbers import MOST_READING, strict
from sweeper.store.csv_in.asked import FrequencyUnit, LevelUnit
from sweeper.store.csv_in.mistakes import Mistake
from sweeper.store.errors import Unclear
from sweeper.words import Channel, Purpose, SignalPath

HERTZ: dict[FrequencyUnit, int] = {"Hz": 1, "kHz": 1000, "MHz": 1_000_000}
S_UNIT_DB = 6.0
"""Decibels of an S-unit (IARU Region 1 Recommendation R.1)."""

_ROUTES = {
    "bypass": "bypass", "out": "bypass", "off": "bypass", "without": "bypass", "no": "bypass", "0": "bypass",
    "direct": "bypass", "through": "bypass", "thru": "bypass",
    "stage": "stage", "in": "stage", "on": "stage", "with": "stage", "yes": "stage", "1": "stage",
}  # fmt: skip
_SOURCES = {
    "antenna": "antenna", "ant": "antenna", "aerial": "antenna", "": "antenna",
    "load": "load", "dummy": "load", "dummy load": "load", "50 ohm": "load", "50 ohms": "load", "noise": "noise",
    "noise source": "noise",
}  # fmt: skip
_PURPOSES: dict[str, Purpose] = {
    "noise": "noise", "empty": "noise", "quiet": "noise",
    "carrier": "carrier", "station": "carrier", "signal": "carrier", "broadcast": "carrier",
}  # fmt: skip

_S = re.compile(r"[Ss]\s?([0-9](?:\.[0-9])?)")
_OVER_S9 = re.compile(r"[Ss]?9\s*\+\s*([0-9]{1,2}(?:\.[0-9])?)\s*(?:[Dd][Bb])?|\+([0-9]{1,2})\s*[Dd][Bb]")
_WITH_UNIT = re.compile(r"(.*?)\s*(k[Hh]z|M[Hh]z|[Hh]z|dBm|dB)")


def plain(text: str) -> str:
    """A number's text with a point for decimals and an ASCII minus; one comma is a decimal one."""
    bare = text.strip().translate({0x2212: "-", 0x2013: "-", 0xA0: None, 0x202F: None, 0x2009: None})
    if bare.count(",") == 1 and "." not in bare:
        return bare.replace(",", ".")
    return bare


def hertz_of(text: str, unit: FrequencyUnit | None) -> int:
    """Whole hertz of a frequency in `unit`, unless the cell names its own."""
    bare = plain(text)
    if found := _WITH_UNIT.fullmatch(bare):
        bare = found[1]
        unit = {"khz": "kHz", "mhz": "MHz", "hz": "Hz"}.get(found[2].lower(), unit)  # type: ignore[assignment]
    if re.fullmatch(r"[0-9]{1,4}([' .])[0-9]{3}\1[0-9]{3}", bare):
        bare = re.sub("[' .]", "", bare)  # 7.038.500, as some write hertz
    bare = bare.replace(" ", "").replace("'", "")
    if unit is None:
        raise Mistake(
            "the frequency has no unit; say --frequency kHz (or MHz, Hz), or write it in the header",
            text,
            Unclear("frequency", text),
        )
    try:
        if not re.fullmatch(r"[0-9]{1,12}(\.[0-9]{1,9})?", bare):
            raise InvalidOperation
        hertz = Decimal(bare) * HERTZ[unit]
    except InvalidOperation:
        raise Mistake("this is no frequency; write it as 7038.5 (in kHz)", text) from None
    if hertz != int(hertz) or not 0 < hertz < 2**53:
        raise Mistake("the frequency is not a whole number of hertz above 0", text)
    return int(hertz)


def units_that_fit(texts: Sequence[str], channels: Sequence[Channel]) -> tuple[FrequencyUnit, ...]:
    """The units in which any of the frequencies is one of the station's."""
    known = {each.hz for each in channels}
    found = []
    for unit in HERTZ:
        for text in texts:
            try:
                if hertz_of(text, unit) in known:
                    found.append(unit)
                    break
            except Mistake:
                continue
    return tuple(found)


def channel_of(band: str, hz: int | None, purpose: str, channels: Sequence[Channel]) -> Channel:
    """The one channel of the station that these three name, each of which may be empty (None)."""
    kind = _PURPOSES.get(purpose.strip().casefold()) if purpose.strip() else None
    if purpose.strip() and kind is None:
        raise Mistake("what it is for is neither noise nor carrier", purpose)
    name = "".join(band.casefold().split())
    fitting = [
        each
        for each in channels
        if (hz is None or each.hz == hz)
        and (not name or "".join(each.band.casefold().split()) == name)
        and (kind is None or each.purpose == kind)
    ]
    if len(fitting) == 1:
        return fitting[0]
    stands = " ".join(filter(None, (band.strip(), f"{hz} Hz" if hz else "", purpose.strip())))
    if fitting:
        raise Mistake(
            "several channels of the station fit; give frequency and purpose (noise or carrier)", stands
        )
    if hz is not None and channels:
        nearest = min(channels, key=lambda each: abs(each.hz - hz))
        stands += f" (nearest {nearest.hz / 1000:.10g} kHz: {nearest.band}, {nearest.purpose})"
    raise Mistake("the station has no such channel; correct it, or add it to the station file", stands)


def path_of(source: str, route: str) -> SignalPath:
    """The path that two cells name: in, out, on, off; antenna or load, which may also stand beside the route."""
    words = re.split(r"[-\s]+", route.strip().casefold())
    by = _ROUTES.get(words[-1])
    feeds = _SOURCES.get(" ".join(words[:-1]) if len(words) > 1 else source.strip().casefold())
    if by is None or feeds is None:
        raise Mistake(
            "this is no path; a path is antenna, load or noise, and bypass (out) or stage (in)",
            f"{source}-{route}" if source else route,
        )
    return SignalPath.parse(f"{feeds}-{by}")


def reading_of(text: str, level: LevelUnit | None, meter_unit: str, s9_dbm: float) -> float:
    """What the station's meter would have given: S7, S9+10 and decibels, in the unit of that meter."""
    bare = plain(text)
    over_s9 = _over_s9(bare, level)
    if over_s9 is not None:
        if meter_unit == "dB-over-S9":
            return over_s9
        if meter_unit == "dBm":
            return s9_dbm + over_s9
        raise Mistake("S-units, and the station's meter is raw; write what it showed", text)
    if found := _WITH_UNIT.fullmatch(bare):
        bare, level = found[1], "dBm" if found[2] == "dBm" else "dB" if found[2] == "dB" else level
    if level == "dBm" and meter_unit != "dBm":
        raise Mistake(
            f"dBm, and the station's meter gives {meter_unit}; change receiver.meter.unit or the table", text
        )
    return number_of("reading", bare, MOST_READING, shown=text)


def _over_s9(bare: str, level: LevelUnit | None) -> float | None:
    """Decibels over S9 where the cell is written in S-units, else None."""
    if found := _S.fullmatch(bare):
        return (float(found[1]) - 9) * S_UNIT_DB
    if found := _OVER_S9.fullmatch(bare):
        return float(found[1] or found[2])
    if level != "S":
        return None
    if re.fullmatch(r"[0-9](\.[0-9])?", bare):
        return (float(bare) - 9) * S_UNIT_DB
    raise Mistake("this is no S-unit; write S0 to S9, and S9+10 above", bare)


def number_of(name: str, text: str, most: float, *, shown: str | None = None) -> float:
    """A number of decibels within ±`most`."""
    try:
        number = strict(text)
    except ValueError:
        raise Mistake(f"{name} is not a number", text if shown is None else shown) from None
    if abs(number) > most:
        raise Mistake(f"{name} is in decibels and lies between -{most:g} and {most:g}", text)
    return number
