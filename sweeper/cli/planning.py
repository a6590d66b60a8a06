"""`plan`: what a night will cost, and what it can settle, before it is run."""

from sweeper.cli.options import DataFolder, StationFile


def plan(station_file: StationFile, data: DataFolder = None) -> None:
    """Say before the night: visits, minutes a pass, relay operations a day, years of relay life, nights needed."""
    from sweeper.clock import SystemClock
    from sweeper.plan import budget
    from sweeper.report.terminal import show_budget
    from sweeper.schedule import next_times, passes_a_day
    from sweeper.station import load

    station, now = load(station_file), SystemClock().now()
    cost = budget(station, passes_a_day(station, now))
    show_budget(station, cost, next_times(station, now, 10))
