"""Days of measuring: from local mean solar noon to noon, so that a night is never cut in two."""

from datetime import UTC, date, datetime, timedelta


def day_of(time: datetime, longitude: float) -> date:
    """The day that an aware instant belongs to, named by the date on which it begins. `longitude` in degrees east."""
    solar = time.astimezone(UTC) + timedelta(hours=longitude / 15)
    return (solar - timedelta(hours=12)).date()


def day_starts(day: date, longitude: float) -> datetime:
    """The UTC instant at which a day begins: local mean solar noon."""
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC) - timedelta(hours=longitude / 15)
