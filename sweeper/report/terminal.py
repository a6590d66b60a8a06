"""Findings, plans and comparisons as tables of at most 80 columns: in colour on a terminal, plain elsewhere.

Prints, and computes nothing. Text from files goes in as text, never as markup.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from sweeper.analysis import Comparison, Findings, listed
from sweeper.report import fleet_words, wording
from sweeper.report.answer import answer
from sweeper.report.console import STYLES, open_console, open_table

if TYPE_CHECKING:
    from sweeper.daemon.live.messages import State as DaemonState
    from sweeper.fleet import Fleet
    from sweeper.plan import Budget
    from sweeper.station import Station


def show_findings(findings: Findings, zone: str = "UTC") -> None:
    """The answer in one line and by band, in the listener's time `zone`; then each band in sentences."""
    console = open_console()
    told = answer(findings, zone)
    console.print(Text(findings.station, "bold"), end="")
    console.print(Text(f"  {wording.nights_measured(findings)}, {wording.dates(findings, zone)}"))
    console.print(Text(f"{told.line}."))
    console.print()
    columns = [("Band", "left"), ("What to do", "wrap"), ("S/N change, dB", "right")]
    if told.looks_ahead:
        columns.append(("on nights to come, dB", "wrap"))
    table = open_table(*columns)
    for row in told.rows:
        name = row.name
        for deed in row.deeds:
            where = "".join(f" {each.local}" for each in deed.where)
            cells = [Text(f"{deed.sign} {deed.words}{where}", STYLES[deed.state]), Text(deed.measured)]
            if told.looks_ahead:
                cells.append(Text(f"{deed.to_come}\n{deed.briefly}".strip()))
            table.add_row(Text(_short(name, 16)), *cells)
            name = ""
    console.print(table)
    console.print(
        Text(
            f"\nHours of {zone}, neighbours joined; hours hardly measured are left out, and beside settled ones those "
            "that are not settled yet: the sentences below name them. Intervals at "
            f"{findings.confidence:.0%}. A change under {findings.worthwhile_db:g} dB counts as no difference.",
            "dim",
        )
    )
    console.print()
    for band in findings.bands:
        console.print(Text.assemble((band.band, "bold"), "  ", band.recommendation))


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def show_comparison(comparison: Comparison, zone: str = "UTC") -> None:
    """Before and after a fix, band by band."""
    console = open_console()
    console.print(Text(comparison.station, "bold"))
    from sweeper.report.pictures.fix import fix_lines  # with what draws it, which takes a second to load

    for line in fix_lines(comparison, zone):
        console.print(Text(line))
    if not comparison.bands:
        return
    console.print()
    table = open_table(
        ("Band", "left"),
        ("Change of noise, dB", "right"),
        ("Nights before", "right"),
        ("after", "right"),
        ("Verdict", "left"),
    )
    for band in comparison.bands:
        table.add_row(
            Text(_short(band.band, 16)),
            wording.interval(band.change_db),
            str(band.nights_before),
            str(band.nights_after),
            wording.FIX_WORDS[band.verdict],
        )
    console.print(table)
    console.print()
    for reason, bands in _by_reason(comparison).items():
        console.print(Text.assemble((listed(bands), "bold"), "  ", reason))
    console.print(Text(f"\nIntervals at {comparison.confidence:.0%}.", "dim"))


def _by_reason(comparison: Comparison) -> dict[str, list[str]]:
    """Bands that have the same reason together; none for what the line above all bands says already."""
    said = comparison.all_bands.reason if comparison.all_bands else ""
    found: dict[str, list[str]] = {}
    for band in comparison.bands:
        if band.reason != said:
            found.setdefault(band.reason, []).append(band.band)
    return found


def show_budget(station: "Station", budget: "Budget", next_times: Sequence[datetime]) -> None:
    """What a night of this plan costs, and when the next passes are due."""
    console = open_console()
    zone = station.station.timezone
    console.print(Text(station.station.name, "bold"))
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column()
    table.add_column(justify="right", no_wrap=True)
    table.add_column()
    rows = [
        (
            "Visits a pass",
            f"{budget.visits_a_pass:.0f}",
            "channels times paths, on average",
        ),
        ("A pass takes", f"{budget.seconds_a_pass / 60:.1f} min", "at least; slow links add to it"),
        (
            "Passes a day",
            f"{budget.passes_a_day:.0f}",
            "as scheduled" if station.schedule else "one after another",
        ),
        ("Readings a night", f"{budget.readings_a_night:,.0f}".replace(",", " "), ""),
        ("Relay operations a day", f"{budget.relay_operations_a_day:.0f}", "of all relays together"),
    ]
    if budget.relay_years is not None:
        rows.append(
            (
                "Relay life",
                f"{budget.relay_years:.1f} years",
                f"relay {budget.busiest_relay}, rated for {_thousands(station.switch.rated_operations)}",
            )
        )
    for name, value, remark in rows:
        table.add_row(name, value, Text(remark, "dim"))
    console.print(table)
    if not next_times:
        console.print("\nNo schedule in the station file: passes run one after another.")
        return
    console.print(f"\nNext passes ({zone})")
    for moment in next_times:
        console.print(f"  {wording.local_time(moment, zone)}")


def _thousands(operations: int) -> str:
    return f"{operations:,} operations".replace(",", " ")


def show_state(state: "DaemonState", zone: str) -> None:
    """How a running daemon is: what it does, what comes next, how the night goes, how the relays age."""
    console = open_console()
    since = wording.local_time(state.since, zone)
    doing = f"{state.doing}, since {since}" if state.doing != "paused" else f"paused by you, {since}"
    last = state.last_pass
    rows = [
        ("now", f"{doing}. {state.because}" if state.because and state.doing != "paused" else doing),
        (
            "next pass",
            wording.local_time(state.next_pass, zone)
            if state.next_pass is not None
            else wording.no_next_pass(state.doing),
        ),
        (
            "last pass",
            f"{last.pass_number} {last.outcome}. {last.because}".strip() if last is not None else "none yet",
        ),
        ("since the start", f"{state.done} passes done, {state.skipped} skipped, {state.failed} failed"),
        ("the night", state.health or "–"),
    ]
    if state.wear is not None:
        used = f"{state.wear.operations:,} of {state.wear.rated:,} operations".replace(",", " ")
        rows.append(("relay life", f"{used}, {state.wear.share:.1%}. {state.wear.warning}".strip()))
    if state.trouble:
        rows.append(("trouble", state.trouble))
    console.print(Text(f"{state.station}  ({zone})", "bold"))
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    for name, value in rows:
        table.add_row(name, Text(value))
    console.print(table)


def show_fleet(fleet: "Fleet") -> None:
    """Stations side by side: medians per band and hour, then whoever stands out."""
    console = open_console()
    console.print(Text(wording.count(len(fleet.shares), "station"), "bold"))
    console.print(Text(fleet_words.answer(fleet.findings)))
    table = open_table(
        ("Band", "left"),
        ("Hour UTC", "right"),
        ("Stations", "right"),
        ("S/N change, dB", "right"),
        ("Noise over expected, dB", "right"),
    )
    name = None
    for each in fleet.findings.bands:
        table.add_row(
            Text(_short(each.band, 16)) if each.band != name else "",
            f"{each.hour_utc:02d}",
            str(each.stations),
            wording.decibel(each.snr_change_db, True),
            wording.decibel(each.above_expected_db, True),
        )
        name = each.band
    console.print(table)
    for line in fleet_words.unlike_the_others(fleet.findings):
        console.print(Text(line))
