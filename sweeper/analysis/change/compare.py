"""Before and after a fix: nights at matching hours, the load as control, carriers asked about the sky.

The change is (after − before) of the antenna's noise less (after − before) of the control, from nights as the unit,
at hours that both sides have; weekdays are matched with weekdays where there is enough. Intervals are valid for
somebody who looks every morning after the fix. Finding the date is for `changes`.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

import polars as pl
from scipy.special import stdtrit

from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.nightly import SCALES, nightly
from sweeper.analysis.band.overload import diagnose, places_near_overload
from sweeper.analysis.change.before_after import BeforeAfter, before_after
from sweeper.analysis.change.detect import find_changes
from sweeper.analysis.change.levels import noise_levels
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.results import BandComparison, ChangePeriod, Comparison, FixVerdict
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.verdict.judge import allowed_level
from sweeper.analysis.wording import nights_of

ALL_BANDS = "all bands"
POWER = 0.8
MEASURED_OTHERWISE = {
    "bandwidth-changed": "The bandwidth was changed: without a load, nights are compared only with nights of the same "
    "bandwidth, since a wider one holds more noise.",
    "calibration-changed": "The meter's calibration or unit was changed: without a load, nights are compared only with "
    "nights that were read alike.",
}


def compare(
    summaries: pl.DataFrame,
    facts: StationFacts,
    fix: datetime | None,
    notes: Sequence[tuple[datetime, str]] = (),
    control_bands: Sequence[str] = (),
) -> Comparison:
    """What a fix changed, by band and over all. Without `fix`, changes are looked for and the clearest is taken.

    `control_bands` name bands that the fix cannot have touched: what moved there is taken out everywhere else.
    """
    diagnoses = {
        str(band): diagnose(GainMethods(rows), facts)
        for (band,), rows in summaries.partition_by("band", as_dict=True).items()
    }
    levels = noise_levels(nightly(summaries), places_near_overload(diagnoses))
    changes = find_changes(levels, facts, notes) if fix is None else ()
    if fix is None:
        if not changes:
            return Comparison(facts.name, None, facts.confidence, (), None, "", ())
        clearest = min(changes, key=lambda change: (change.chance, -abs(change.change_db.value)))
        fix = _noon_of(clearest.night, facts)
    first, left_out = _parted(levels, fix, facts)
    levels = levels.filter(levels["night"] != left_out) if left_out is not None else levels
    summaries = summaries.filter(summaries["night"] != left_out) if left_out is not None else summaries
    levels = _less_control(levels, control_bands)
    bands = [
        band
        for band in dict.fromkeys(channel.band for channel in facts.channels)
        if band not in control_bands
    ]
    alpha = 1.0 - facts.confidence
    measured: list[tuple[str, BeforeAfter]] = []
    for band in bands:
        here = levels.filter(levels["band"] == band)
        if not here.is_empty():
            measured.append((band, before_after(here, first, ("hour_utc",), alpha)))
    chances = [_chance(change, alpha) for _, change in measured]
    bearable = allowed_level(chances, alpha)
    found = tuple(
        _finding(band, change, levels, first, facts, chance <= bearable or chance > alpha)
        for (band, change), chance in zip(measured, chances, strict=True)
    )
    whole = before_after(levels, first, ("band", "hour_utc"), alpha) if len(found) > 1 else None
    return Comparison(
        facts.name,
        fix,
        facts.confidence,
        found,
        None if whole is None else _finding(ALL_BANDS, whole, levels, first, facts, True),
        _sky(summaries, first, facts),
        changes,
        left_out,
    )


def _chance(change: BeforeAfter, alpha: float) -> float:
    """The alpha for which the interval of this change would just touch zero, all looks counted."""
    if change.estimate is None:
        return 1.0
    level = change.estimate.level_beyond(0.0)
    return min(alpha * level / change.level, 1.0)


def _finding(
    band: str,
    change: BeforeAfter,
    levels: pl.DataFrame,
    first: date,
    facts: StationFacts,
    bearable: bool,
) -> BandComparison:
    alpha = 1.0 - facts.confidence
    interval = change.estimate.interval(change.level) if change.estimate else None
    flags = []
    if change.kinds_matched:
        flags.append("weekdays-matched")
    if not change.controlled:
        flags.append("no-control")
    if not change.external:
        flags.append("own-noise-included")
    if not bearable:
        flags.append("table")
    here = levels if band == ALL_BANDS else levels.filter(pl.col("band") == band)
    otherwise = _measured_otherwise(here, first)
    flags += otherwise
    verdict = _verdict(interval, facts.worthwhile_db) if bearable else "undecided"
    smallest = _smallest(change)
    periods: list[ChangePeriod] = []
    for hour in sorted(here["hour_utc"].unique().to_list()):
        keys = ("band", "hour_utc") if band == ALL_BANDS else ("hour_utc",)
        part = before_after(here.filter(pl.col("hour_utc") == hour), first, keys, alpha)
        periods.append(ChangePeriod(hour, part.estimate.interval(part.level) if part.estimate else None))
    return BandComparison(
        band=band,
        change_db=interval,
        nights_before=change.before,
        nights_after=change.after,
        verdict=verdict,
        periods=tuple(periods),
        reason=_reason(change, interval, verdict, smallest, bearable, facts.worthwhile_db, bool(otherwise))
        + "".join(f" {MEASURED_OTHERWISE[flag]}" for flag in otherwise),
        flags=tuple(flags),
        smallest_change_db=smallest,
        nights=change.nights,
    )


def _measured_otherwise(levels: pl.DataFrame, first: date) -> list[str]:
    """Flags that say what was not the same on both sides of the fix."""
    late = pl.col("night") >= first

    def differs(column: str) -> bool:
        before, after = (
            set(levels.filter(side).select("band", column).unique().iter_rows()) for side in (~late, late)
        )
        return bool(before and after and before != after)

    return [flag for flag, column in zip(MEASURED_OTHERWISE, SCALES, strict=True) if differs(column)]


def _verdict(interval: Interval | None, worthwhile_db: float) -> FixVerdict:
    if interval is None:
        return "undecided"
    if interval.high < 0:
        return "quieter"
    if interval.low > 0:
        return "noisier"
    return "no change" if -worthwhile_db < interval.low and interval.high < worthwhile_db else "undecided"


def _smallest(change: BeforeAfter) -> float | None:
    """The change that nights like these show four times in five."""
    if change.estimate is None:
        return None
    dof = change.estimate.dof
    reach = float(stdtrit(dof, 1.0 - change.level / 2.0) + stdtrit(dof, POWER))
    return reach * change.estimate.se


def _reason(
    change: BeforeAfter,
    interval: Interval | None,
    verdict: FixVerdict,
    smallest: float | None,
    bearable: bool,
    worthwhile_db: float,
    otherwise: bool,
) -> str:
    """One sentence for a listener."""
    if interval is None or smallest is None:
        return _too_few(change, otherwise)
    nights = f"{change.before} nights before against {change.after} after"
    size = f"{abs(interval.value):.1f} dB ({_ends(interval)})"
    if verdict == "quieter":
        return f"Noise fell by {size}, {nights}."
    if verdict == "noisier":
        return f"Noise rose by {size}, {nights}."
    shown = f"These nights would most likely have shown a change of {smallest:.1f} dB or more."
    span = f"{interval.low:+.1f} to {interval.high:+.1f} dB".replace("-", "−")
    if verdict == "no change":
        return f"No change that matters: {span}, {nights}. {shown}"
    if not bearable:
        return f"Too early: this band looks changed ({span}), but among so many bands one does by chance; {nights}."
    return f"Too early: the change could be {span}, {nights}. {shown}"


def _too_few(change: BeforeAfter, otherwise: bool) -> str:
    after = nights_of(change.after) if change.after else "none"
    nights = f"{nights_of(change.before)} before the fix and {after} after"
    if change.before == 0:
        return (
            f"Cannot be told: no night was measured before the fix ({nights_of(change.after)} after); at least "
            f"{FIRST_LOOK} on each side are needed."
        )
    if otherwise:
        return f"Cannot be told: {nights}, but fewer than {FIRST_LOOK} on each side that were measured alike."
    if min(change.before, change.after) >= FIRST_LOOK:
        return (
            f"Too early: {nights}, but fewer than {FIRST_LOOK} on one side at the same hours as on the other."
        )
    return f"Too early: {nights}; at least {FIRST_LOOK} on each side, at the same hours, are needed."


def _ends(interval: Interval) -> str:
    ends = sorted((abs(interval.low), abs(interval.high)))
    return f"{ends[0]:.1f} to {ends[1]:.1f}"


def _less_control(levels: pl.DataFrame, control_bands: Sequence[str]) -> pl.DataFrame:
    """What moved from night to night on the control bands, taken out of all others."""
    if not control_bands:
        return levels
    control = levels.filter(pl.col("band").is_in(list(control_bands)))
    moved = (
        control.with_columns(
            (pl.col("level") - pl.col("level").mean().over("band", "hour_utc", *SCALES)).alias("moved")
        )
        .group_by("night")
        .agg(pl.col("moved").mean())
    )
    return (
        levels.filter(~pl.col("band").is_in(list(control_bands)))
        .join(moved, on="night", how="inner")
        .with_columns(pl.col("level") - pl.col("moved"), pl.lit(True).alias("controlled"))
        .drop("moved")
    )


def _sky(summaries: pl.DataFrame, first: date, facts: StationFacts) -> str:
    """What the carriers say: they come by the sky and know nothing of the house."""
    rows = summaries.filter(
        (pl.col("for") == "carrier")
        & (pl.col("carrier_passes") > 0)
        & pl.col("level_antenna_bypass").is_not_null()
    ).select(
        "night",
        "hour_utc",
        "hz",
        *SCALES,
        pl.col("level_antenna_bypass").alias("level"),
        pl.lit(True).alias("controlled"),
        pl.lit(False).alias("external"),
        (pl.col("night").dt.weekday() >= 6).alias("weekend"),
    )
    if rows.is_empty():
        return "No carriers were measured, so nothing tells whether the sky itself changed."
    change = before_after(rows, first, ("hz", "hour_utc"), 1.0 - facts.confidence)
    if change.estimate is None:
        return "Too few nights with carriers to tell whether the sky itself changed."
    interval = change.estimate.interval(change.level)
    span = f"{interval.low:+.1f} to {interval.high:+.1f} dB".replace("-", "−")
    if interval.low <= 0.0 <= interval.high:
        return f"Carriers from afar show no change of the sky ({span})."
    way = "stronger" if interval.value > 0 else "weaker"
    return (
        f"Carriers from afar came in {way} after the fix ({span}): the sky changed too, so part of a change in noise "
        "may be the sky's. More nights, or nights of another month, would tell them apart."
    )


def _parted(levels: pl.DataFrame, fix: datetime, facts: StationFacts) -> tuple[date, date | None]:
    """The first night after the fix, and the night to leave out because the fix was made while it was measured.

    Nights run from local mean solar noon to noon. The fix's own night counts where all its hours lie on one side.
    """
    noon_shift = timedelta(hours=12) - timedelta(hours=facts.longitude / 15.0)
    own = (fix.astimezone(UTC) - noon_shift).date()
    if _at_noon(fix, noon_shift):
        return own, None
    begin = _noon_of(own, facts).replace(minute=0, second=0, microsecond=0)
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


def _noon_of(night: date, facts: StationFacts) -> datetime:
    """The beginning of a night, UTC."""
    midnight = datetime(night.year, night.month, night.day, tzinfo=UTC)
    return midnight + timedelta(hours=12) - timedelta(hours=facts.longitude / 15.0)
