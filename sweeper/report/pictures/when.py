"""When does the stage help? Band by hour: the S/N change, how sure it is, and the verdict."""

from collections.abc import Sequence
from datetime import date

from matplotlib.patches import Rectangle

from sweeper.analysis import Findings, PeriodFinding, listed, on_nights_measured
from sweeper.report import wording
from sweeper.report.palette import step_of
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import colour, drawing, inline, sheet

REACH_DB = 6.0
"""The S/N change at the ends of the colour ramp."""
NARROW_DB, WIDEST_DB = 1.5, 8.0
"""Intervals (from end to end) up to the first fill a tile; at the second over it, the least of it is filled."""
MOST_UNSURE, LEAST = 0.60, 0.15


def when(findings: Findings, zone: str) -> Picture:
    """One tile for each band and hour: colour and number are the S/N change, how full it is says how sure."""
    on = findings.end.date()
    hours = wording.night_order((p.hour_utc for band in findings.bands for p in band.periods), zone, on)
    title = in_one_sentence(findings, zone)
    caption = (
        "Each tile is one hour on one band; colour and number are the S/N change in dB. The fuller a tile, the surer: "
        f"it is full where the interval spans {NARROW_DB:g} dB or less. A frame means that the verdict stands: "
        "▲ stage in, ▼ leave it out, ═ no matter. Without a frame it is too early to say, or, "
        "with a ×, something is wrong that more nights do not mend."
    )
    with drawing():
        svg = _draw(findings, hours, zone, on, title)
    return Picture("when", title, svg, caption, _numbers(findings, hours, zone, on))


def _draw(findings: Findings, hours: Sequence[int], zone: str, on: date, title: str) -> str:
    rows, columns = len(findings.bands), len(hours)
    figure = sheet(1.1 + 0.52 * max(columns, 6), 0.75 + 0.52 * rows)
    axes = figure.subplots()
    column = {hour: nth for nth, hour in enumerate(hours)}
    for row, band in enumerate(findings.bands):
        for period in band.periods:
            x, y = column[period.hour_utc], row
            change = period.snr_change_db
            axes.add_patch(Rectangle((x - 0.47, y - 0.47), 0.94, 0.94, color=colour("raised"), linewidth=0))
            if change is not None:
                high = 0.94 * filled(change.high - change.low)
                axes.add_patch(
                    Rectangle(
                        (x - 0.47, y + 0.47 - high),
                        0.94,
                        high,
                        color=colour(step_of(change.value, REACH_DB)),
                        linewidth=0,
                    )
                )
            if period.verdict != "undecided":
                frame = Rectangle((x - 0.45, y - 0.45), 0.9, 0.9, fill=False, linewidth=1.3)
                frame.set_edgecolor(colour("ink"))
                axes.add_patch(frame)
            number = wording.decibel(change.value, True) if change is not None else "?"
            axes.text(x, y - 0.24, number, ha="center", va="center", fontsize=9)
            axes.text(x, y + 0.22, wording.verdict_sign(period), ha="center", va="center", fontsize=8)
    axes.set_xlim(-0.5, max(columns, 1) - 0.5)
    axes.set_ylim(rows - 0.5, -0.5)
    axes.set_xticks(range(columns), [wording.local_hour(hour, zone, on)[:2] for hour in hours])
    axes.set_yticks(range(rows), [band.band for band in findings.bands])
    axes.tick_params(length=0)
    axes.set_xlabel(f"hour beginning, local time ({zone})")
    axes.set_ylabel("band")
    for side_name in ("left", "bottom"):
        axes.spines[side_name].set_visible(False)
    return inline(figure, "when", title, _alternative(findings))


def filled(width_db: float) -> float:
    """The share of a tile to fill: all of it for a narrow interval, less than the room below the number for others."""
    if width_db <= NARROW_DB:
        return 1.0
    return MOST_UNSURE - (MOST_UNSURE - LEAST) * min(width_db - NARROW_DB, WIDEST_DB) / WIDEST_DB


def in_one_sentence(findings: Findings, zone: str = "UTC") -> str:
    """Where the stage helps, where it costs, where it makes no difference, where it overloads; no full stop.

    Claims no hour and no night beyond those that have a verdict.
    """
    helped = _where(findings, "stage")
    hurt = _where(findings, "bypass")
    same = {
        band: whole for band, whole in _where(findings, "either").items() if band not in {**helped, **hurt}
    }
    parts: list[str] = []
    for bands, first, then in (
        (helped, "the stage helps", "it helps"),
        (hurt, "the stage costs signal-to-noise ratio", "it costs signal-to-noise ratio"),
        (same, "the stage makes no difference that matters", "it makes no difference that matters"),
    ):
        whole = [band for band, each in bands.items() if each]
        partly = [band for band, each in bands.items() if not each]
        where = [f"on {listed(whole)}"] if whole else []
        where += [f"at some hours on {listed(partly)}"] if partly else []
        if where:
            parts.append(f"{then if parts else first} {', and '.join(where)}")
    decided = [p for band in findings.bands for p in band.periods if p.verdict != "undecided"]
    only = [period for period in decided if "these-nights-only" in period.flags]
    if decided and len(only) == len(decided):
        nights = max(period.nights for period in decided)
        parts[0] = f"{on_nights_measured(nights)}, {parts[0]}"
    elif only:
        parts.append("some of this holds for the nights measured only")
    parts += _overloads(findings, zone, named=bool(parts))
    if not decided:
        return "; ".join(["Too early: on no band can it be said yet whether the stage helps", *parts])
    if any(all(p.verdict == "undecided" and not p.withheld for p in b.periods) for b in findings.bands):
        parts.append("on the other bands it is too early to say")
    text = "; ".join(parts)
    return text[0].upper() + text[1:]


def _where(findings: Findings, verdict: str) -> dict[str, bool]:
    """Bands with this verdict, and whether all their hours have it."""
    found = {}
    for band in findings.bands:
        hours = [period.verdict == verdict for period in band.periods]
        if any(hours):
            found[band.band] = all(hours)
    return found


def _overloads(findings: Findings, zone: str, named: bool) -> list[str]:
    """Where hours are withheld because of overload, and which."""
    on = findings.end.date()
    places = []
    for band in findings.bands:
        hours = [period.hour_utc for period in band.periods if period.withheld and "overload" in period.flags]
        if hours:
            places.append(f"{band.band} at {listed(wording.hour_spans(hours, zone, on))}")
    subject = "it" if named else "the stage"
    return [f"{subject} overloads on {listed(places)}"] if places else []


def _alternative(findings: Findings) -> str:
    return " ".join(f"{band.band}: {band.recommendation}" for band in findings.bands)


def _numbers(findings: Findings, hours: Sequence[int], zone: str, on: date) -> Numbers:
    headings = (
        "Band",
        f"Hour ({zone})",
        "Hour (UTC)",
        "S/N change, dB",
        "low",
        "high",
        "Noise rise, dB",
        "Nights",
        "Passes",
        "Verdict",
        "Why",
    )
    rows = []
    for band in findings.bands:
        by_hour = {period.hour_utc: period for period in band.periods}
        rows += [_row(band.band, by_hour[hour], zone, on) for hour in hours if hour in by_hour]
    return Numbers(headings, tuple(rows))


def _row(band: str, period: PeriodFinding, zone: str, on: date) -> tuple[str, ...]:
    change = period.snr_change_db
    return (
        band,
        wording.local_hour(period.hour_utc, zone, on),
        f"{period.hour_utc:02d}:00",
        wording.decibel(change.value if change else None, True),
        wording.decibel(change.low if change else None, True),
        wording.decibel(change.high if change else None, True),
        wording.decibel(period.noise_rise_db.value if period.noise_rise_db else None),
        str(period.nights),
        str(period.passes),
        wording.verdict_words(period),
        period.reason,
    )
