"""How numbers, hours and verdicts are written: the same on the terminal, in mail, in the report and on the page.

Words and figures only; nothing here decides or draws.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from sweeper.analysis import STATES, Findings, FixVerdict, Interval, PeriodFinding, state_of_period

MINUS = "−"

SAYS_NOTHING_DB = 40.0
"""An interval wider than this says nothing of a stage: none gives or takes so much."""
HOURS_OF_A_NIGHT = 3
"""Hours that must be measured before one speaks of a night."""
FIX_WORDS: dict[FixVerdict, str] = {
    "quieter": "▼ quieter",
    "noisier": "▲ noisier",
    "no change": "═ no change",
    "undecided": f"{STATES['open'].sign} {STATES['open'].words}",
}


def sign_of(period: PeriodFinding) -> str:
    """The sign of the hour's state."""
    return STATES[state_of_period(period)].sign


def decibel(value: float | None, signed: bool = False) -> str:
    """One decimal with a true minus sign; an en dash where nothing is known."""
    if value is None:
        return "–"
    text = f"{value:+.1f}" if signed else f"{value:.1f}"
    if float(text) == 0:
        text = "0.0"
    return text.replace("-", MINUS)


def interval(it: Interval | None, signed: bool = True) -> str:
    """``+3.1 (+2.6 to +3.7)``."""
    if it is None:
        return "–"
    return f"{decibel(it.value, signed)} ({decibel(it.low, signed)} to {decibel(it.high, signed)})"


def size(it: Interval) -> str:
    """``3.2 dB (0.4 to 6.1)``, for what is told by how much it fell or rose."""
    return f"{decibel(it.value)} dB ({decibel(it.low)} to {decibel(it.high)})"


def day(date_: date) -> str:
    """``7 November 2026``."""
    return f"{date_.day} {date_:%B %Y}"


def count(number: int, what: str, many: str = "") -> str:
    """``1 night``, ``3 nights``."""
    return f"{number} {what if number == 1 else many or what + 's'}"


def night_count(findings: Findings) -> int:
    """How many nights the findings rest on."""
    return max((period.nights for band in findings.bands for period in band.periods), default=0)


def nights_measured(findings: Findings) -> str:
    """How many nights the findings rest on, in words; passes of an hour or two are no night."""
    nights, passes = night_count(findings), _passes_of_no_night(findings)
    if passes:
        return count(passes, "pass", "passes")
    return count(nights, "night") if nights else "no usable night"


def what_was_measured(findings: Findings) -> str:
    """``the night measured``, ``the 3 nights measured``, ``the 2 passes measured``."""
    nights, passes = night_count(findings), _passes_of_no_night(findings)
    if passes:
        return f"the {count(passes, 'pass', 'passes')} measured" if passes > 1 else "the pass measured"
    return "the night measured" if nights == 1 else f"the {nights} nights measured"


def _passes_of_no_night(findings: Findings) -> int:
    """Passes where they lie in too few hours of one night to be called one; 0 else."""
    hours = {period.hour_utc for band in findings.bands for period in band.periods}
    if night_count(findings) != 1 or len(hours) >= HOURS_OF_A_NIGHT:
        return 0
    return max(sum(period.passes for period in band.periods) for band in findings.bands)


def megahertz(hz: int) -> str:
    """``7.0385 MHz``, and kilohertz below 1 MHz."""
    if hz < 1_000_000:
        return f"{hz / 1e3:g} kHz"
    return f"{hz / 1e6:.6f}".rstrip("0").rstrip(".") + " MHz"


def local_hour(hour_utc: int, zone: str, on: date) -> str:
    """The hour on the kitchen clock at which an hour of UTC begins, as ``21:00``."""
    return clock(datetime(on.year, on.month, on.day, hour_utc, tzinfo=UTC), zone)


def clock(moment: datetime, zone: str) -> str:
    """``21:40``."""
    return f"{moment.astimezone(ZoneInfo(zone)):%H:%M}"


def local_time(moment: datetime, zone: str) -> str:
    """``Saturday 7 November 2026, 21:40``."""
    there = moment.astimezone(ZoneInfo(zone))
    return f"{there:%A} {there.day} {there:%B %Y}, {there:%H:%M}"


def no_next_pass(doing: str) -> str:
    """What to say in the place of when the next pass is due; `doing` as the daemon's state has it."""
    return "after this one" if doing == "measuring" else "none planned"


def dates(findings: Findings, zone: str) -> str:
    """``1 to 4 March 2026``: from the first day to the last, local."""
    first, last = (moment.astimezone(ZoneInfo(zone)).date() for moment in (findings.start, findings.end))
    if first == last:
        return day(last)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {day(last)}"
    return f"{first.day} {first:%B}{'' if first.year == last.year else f' {first.year}'} to {day(last)}"


def span_words(first: int, hours: int, zone: str, on: date) -> str:
    """``19:00–23:00``, local."""
    if hours == 24:
        return "all day"
    begin = datetime(on.year, on.month, on.day, first, tzinfo=UTC)
    ends = (begin, begin + timedelta(hours=hours))
    return "–".join(clock(moment, zone) for moment in ends)


def night_order(hours: Iterable[int], zone: str, on: date) -> list[int]:
    """Hours of UTC in the order in which a night goes by on the kitchen clock: from local noon to local noon."""
    begin = datetime(on.year, on.month, on.day, tzinfo=UTC)

    def after_noon(hour: int) -> int:
        there = (begin + timedelta(hours=hour)).astimezone(ZoneInfo(zone))
        return (there.hour - 12) % 24

    return sorted(set(hours), key=after_noon)


def hour_spans(hours: Iterable[int], zone: str, on: date) -> list[str]:
    """Neighbouring hours joined, each span as ``19:00–23:00``, local, in the order of the night."""
    joined: list[list[int]] = []
    for hour in night_order(hours, zone, on):
        if joined and (joined[-1][-1] + 1) % 24 == hour:
            joined[-1].append(hour)
        else:
            joined.append([hour])
    return [span_words(each[0], len(each), zone, on) for each in joined]


def anchor(kind: str, name: str) -> str:
    """An id for a place in a page, from a name out of a file: letters, digits and hyphens only."""
    plain = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in name.lower())
    return f"{kind}-{'-'.join(part for part in plain.split('-') if part) or 'x'}"
