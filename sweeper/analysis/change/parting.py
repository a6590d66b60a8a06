"""On which side of a fix a night lies. Nights run from local mean solar noon to noon."""

from datetime import UTC, date, datetime, timedelta

import polars as pl

from sweeper.analysis.facts import StationFacts


def parted(levels: pl.DataFrame, fix: datetime, facts: StationFacts) -> tuple[date, date | None]:
    """The first night after the fix, and the night to leave out because the fix was made while it was measured.

    Nights run from local mean solar noon to noon. The fix's own night counts where all its hours lie on one side.
    """
    noon_shift = timedelta(hours=12) - timedelta(hours=facts.longitude / 15.0)
    own = (fix.astimezone(UTC) - noon_shift).date()
    if _at_noon(fix, noon_shift):
        return own, None
    begin = noon_of(own, facts).replace(minute=0, second=0, microsecond=0)
    hours = levels.filter(levels["night"] == own)["hour_utc"].unique().to_list()
    moments = [begin + timedelta(hours=(hour - begin.hour) % 24) for hour in hours]
    if moments and min(moments) >= fix:
        return own, None
    during = any(moment + timedelta(hours=1) > fix for moment in moments)
    return own + timedelta(days=1), own if during else None


def _at_noon(fix: datetime, noon_shift: timedelta) -> bool:
    """Whether a fix falls on the very beginning of its night, so that the night is wholly after it."""
    since = fix.astimezone(UTC) - noon_shift
    return since.hour == 0 and since.minute == 0


def noon_of(night: date, facts: StationFacts) -> datetime:
    """The beginning of a night, UTC."""
    midnight = datetime(night.year, night.month, night.day, tzinfo=UTC)
    return midnight + timedelta(hours=12) - timedelta(hours=facts.longitude / 15.0)
