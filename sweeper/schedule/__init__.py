"""When passes run. Pure: from a station and an instant to the instants that come next. It reads no clock."""

from sweeper.schedule.times import next_times, passes_a_day, times, trigger

__all__ = ["next_times", "passes_a_day", "times", "trigger"]
