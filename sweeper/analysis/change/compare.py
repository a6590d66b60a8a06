"""Before and after a fix: nights at matching hours, the load as control, carriers asked about the sky.

The change is (after − before) of the antenna's noise less (after − before) of the control, from nights as the unit,
at hours that both sides have; weekdays are matched with weekdays where there is enough. Neighbouring nights are alike,
by as much as all bands show. Intervals are valid for
somebody who looks every morning after the fix. Finding the date is for `changes`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import polars as pl
from scipy.special import stdtrit

from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.nightly import SCALES, nightly
from sweeper.analysis.band.overload import diagnose, places_near_overload
from sweeper.analysis.change.before_after import (
    BeforeAfter,
    Control,
    MatchedNights,
    before_after,
    control_of,
    matched_nights,
    shared_dependence,
)
from sweeper.analysis.change.detect import find_changes
from sweeper.analysis.change.levels import noise_levels
from sweeper.analysis.change.reasons import POWER, ToSay, reason
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.results import BandComparison, ChangePeriod, Comparison, FixVerdict
from sweeper.analysis.statistics.dependent_nights import Dependence
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.verdict.judge import allowed_level

ALL_BANDS = "all bands"
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
    bands = [
        band
        for band in dict.fromkeys(channel.band for channel in facts.channels)
        if band not in control_bands
    ]
    alpha = 1.0 - facts.confidence
    control_rows = levels.filter(levels["band"].is_in(list(control_bands)))
    levels = levels.filter(~levels["band"].is_in(list(control_bands)))
    parted = levels.partition_by("band", as_dict=True)
    matched = {
        band: matched_nights(parted[(band,)], first, ("hour_utc",)) for band in bands if (band,) in parted
    }
    of_control = matched_nights(control_rows, first, ("band", "hour_utc")) if len(control_rows) else None
    alike = shared_dependence([*matched.values(), *([of_control] if of_control is not None else [])])
    control = None if of_control is None else control_of(of_control, alike)
    look = _Look(first, alike, control, facts)
    measured = {band: look.change(nights) for band, nights in matched.items()}
    chances = [_chance(change, alpha) for change in measured.values()]
    several = (
        len(chances) > 1
    )  # then all together are a question of their own, and half is left for single ones
    bearable = allowed_level(chances, alpha / 2.0 if several else alpha)
    found = tuple(
        _finding(band, change, parted[(band,)], look, chance <= bearable or chance > alpha)
        for (band, change), chance in zip(measured.items(), chances, strict=True)
    )
    whole = None
    if len(found) > 1:
        together = look.change(matched_nights(levels, first, ("band", "hour_utc")))
        whole = _finding(ALL_BANDS, together, levels, look, True)
    sky = _sky(summaries, first, facts)
    return Comparison(facts.name, fix, facts.confidence, found, whole, sky, changes, left_out)


@dataclass(frozen=True, slots=True)
class _Look:
    """What every estimate of a comparison needs. A control that changed at the fix itself is set aside."""

    first: date
    alike: Dependence
    control: Control | None
    facts: StationFacts

    @property
    def control_stepped(self) -> bool:
        return self.control is not None and self.control.stepped

    def change(self, nights: MatchedNights) -> BeforeAfter:
        control = None if self.control_stepped else self.control
        return before_after(nights, self.alike, 1.0 - self.facts.confidence, control)


def _chance(change: BeforeAfter, alpha: float) -> float:
    """The alpha for which the interval of this change would just touch zero, all looks counted."""
    if change.estimate is None:
        return 1.0
    level = change.estimate.level_beyond(0.0)
    return min(alpha * level / change.level, 1.0)


def _finding(
    band: str, change: BeforeAfter, here: pl.DataFrame, look: _Look, bearable: bool
) -> BandComparison:
    facts, matched = look.facts, change.matched
    interval = change.estimate.interval(change.level) if change.estimate else None
    otherwise = _measured_otherwise(here, look.first)
    holds = {
        "control-changed": interval is not None and look.control_stepped,
        "control-moved": change.control_moved,
        "table": not bearable,
    }
    held = next((flag for flag, stands in holds.items() if stands), "")
    verdict = "undecided" if held else _verdict(interval, facts.worthwhile_db)
    smallest = _smallest(change)
    told = ToSay(change, interval, verdict, smallest, held, facts.worthwhile_db, bool(otherwise))
    periods: list[ChangePeriod] = []
    keys = ("band", "hour_utc") if band == ALL_BANDS else ("hour_utc",)
    for hour in sorted(here["hour_utc"].unique().to_list()):
        part = look.change(matched_nights(here.filter(pl.col("hour_utc") == hour), look.first, keys))
        periods.append(ChangePeriod(hour, part.estimate.interval(part.level) if part.estimate else None))
    flags = {
        "weekdays-matched": matched.kinds_matched,
        "no-control": not matched.controlled,
        "own-noise-included": not matched.external,
        "trend": change.trend_db is not None,
        "leaning": change.leaning_db is not None,
        **holds,
    }
    return BandComparison(
        band=band,
        change_db=interval,
        nights_before=matched.before,
        nights_after=matched.after,
        verdict=verdict,
        periods=tuple(periods),
        reason=reason(told) + "".join(f" {MEASURED_OTHERWISE[flag]}" for flag in otherwise),
        flags=(*(flag for flag, stands in flags.items() if stands), *otherwise),
        smallest_change_db=smallest,
        nights=matched.nights,
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


def _sky(summaries: pl.DataFrame, first: date, facts: StationFacts) -> str:
    """What the carriers say: they come by the sky, so that nothing done at home changes them."""
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
        measured = summaries.filter(pl.col("for") == "carrier")["hz"].unique().sort().to_list()
        if not measured:
            return "No carriers were measured, so nothing tells whether propagation changed."
        named = ", ".join(f"{hz / 1000:.10g} kHz" for hz in measured[:4]) + (
            " and others" if len(measured) > 4 else ""
        )
        return (
            f"The carriers measured ({named}) did not stand clear of the noise, so nothing tells whether propagation "
            "changed."
        )
    nights = matched_nights(rows, first, ("hz", "hour_utc"))
    change = before_after(nights, shared_dependence([nights]), 1.0 - facts.confidence)
    if change.estimate is None:
        return "Too few nights with carriers to tell whether propagation changed."
    interval = change.estimate.interval(change.level)
    span = f"{interval.low:+.1f} to {interval.high:+.1f} dB".replace("-", "−")
    if interval.low <= 0.0 <= interval.high:
        return f"Distant stations show no change in propagation ({span})."
    way = "stronger" if interval.value > 0 else "weaker"
    return (
        f"Distant stations came in {way} after the fix ({span}): propagation changed too, so part of a change in noise "
        "may come from there. More nights, or nights of another month, would tell them apart."
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
