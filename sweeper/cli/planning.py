"""`plan`: what a night will cost, and what it can settle, before it is run."""

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from sweeper.cli.options import DataFolder, StationFile, data_folder
from sweeper.clock import SystemClock

if TYPE_CHECKING:
    from sweeper.plan import Budget
    from sweeper.station import Station

WIDTH = 80
PASSES_SHOWN = 3


def plan(station_file: StationFile, data: DataFolder = None) -> None:
    """Say before the night: visits, minutes a pass, relay operations a day, years of relay life, nights needed."""
    from sweeper.plan import budget
    from sweeper.report.terminal import show_budget
    from sweeper.schedule import next_times, passes_a_day
    from sweeper.station import load

    station, now = load(station_file), SystemClock().now()
    cost = budget(station, passes_a_day(station, now))
    show_budget(station, cost, next_times(station, now, PASSES_SHOWN))
    for sentence in (
        *_warnings(station, cost),
        *_edges(station, cost.passes_a_day),
        *_nights_to_a_verdict(station, data_folder(station_file, data)),
        *_found_by_check(station, data_folder(station_file, data)),
    ):
        print(textwrap.fill(sentence, WIDTH, subsequent_indent="  "))


def _warnings(station: "Station", cost: "Budget") -> list[str]:
    """What the figures alone do not say: passes due faster than they can be measured, and a hand that takes time."""
    from sweeper.station.moments import parse_duration

    told = []
    if station.switch.by_hand:
        told.append(
            f"You set the path by hand, {cost.changes_a_pass:.0f} times a pass; the time that this takes is not in "
            "the figures above."
        )
    for window in station.schedule:
        if window.every is not None and parse_duration(window.every).total_seconds() < cost.seconds_a_pass:
            told.append(
                f"Passes are due every {window.every}, but one takes {cost.seconds_a_pass / 60:.1f} min at least: "
                "those due meanwhile are skipped. Write a longer `every`, or measure fewer channels."
            )
    return told


def _edges(station: "Station", passes_a_night: float) -> list[str]:
    """What changes of route while the dial stays cost, and what they buy."""
    from sweeper.plan import edge_budget

    told = edge_budget(station, passes_a_night)
    if told is None:
        return []
    buys = (
        f"The gain of the stage by one fading carrier should be known to ±0.5 dB after {_nights(told.nights)}: the "
        f"route changes {told.edges_a_night:.0f} times a night while the dial stays on that carrier. Visits alone "
        f"would take {_nights(told.nights_without)}."
    )
    if not told.operations_a_pass:
        return [f"{buys} No relay moves more for it."]
    cost = f"This costs {told.operations_a_pass:.0f} more relay operations and {told.seconds_a_pass:.0f} s a pass"
    if told.passes is None:
        return [f"{buys} {cost}, as `edges_a_pass` says."]
    return [
        f"{buys} {cost} for the first {told.passes} passes, a twentieth of the relays' life; after them it costs "
        f"nothing and takes {_nights(told.later_nights)}."
    ]


def _nights(number: int) -> str:
    return "one night" if number == 1 else f"{number} nights"


def _found_by_check(station: "Station", folder: Path) -> tuple[str, ...]:
    """What the last `check` found: what failed, and where the meter is blind, before a night is spent on it."""
    from sweeper.daemon.last_check import LastCheck

    last = LastCheck.of(folder / station.station.name)
    return ("`sweeper check` has not looked at this rig yet.",) if last is None else last.sentences()


def _nights_to_a_verdict(station: "Station", folder: Path) -> list[str]:
    """A sentence for each band: from what is stored where there is something, else from the station file alone."""
    from sweeper.analysis import expectations, measured_rises, outlook
    from sweeper.reduction import facts_of, summaries_of
    from sweeper.store import Store

    facts = facts_of(station)
    has_load = any(path.source == "load" for path in station.paths())
    if not folder.is_dir():
        return [each.sentence for each in expectations(facts, has_load)]
    store = Store(folder, station.station.name, station.station.longitude, read_only=True)
    try:
        summaries = summaries_of(store, facts)
    finally:
        store.close()
    measured_db = measured_rises(summaries)
    expected = expectations(facts, has_load, measured_rise_db=measured_db)
    promised = {each.band: each.sentence for each in expected}
    if summaries.height:
        for each in outlook(summaries, facts):
            held = len(each.hours_withheld)
            said = [each.sentence or "decided; no more nights are needed"]
            if held and each.hours_open:
                hours = "an hour has" if held == 1 else f"{held} hours have"
                said.append(f"{hours} no answer until what is wrong there is mended")
            if each.band in measured_db:
                said.append(f"noise was measured {measured_db[each.band]:.0f} dB above the receiver's own")
            promised[each.band] = f"{each.band}: {'; '.join(said)}."
    return list(promised.values())
