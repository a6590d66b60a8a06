"""What a fix changed, as it is if one scale is the meter's: numbers by band, over all bands, and of the sky.

No words: whether a verdict holds on the other scales that the meter may have is for `compare`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl
from scipy.special import stdtrit

from sweeper.analysis.band.nightly import SCALES
from sweeper.analysis.change.before_after import (
    BeforeAfter,
    Control,
    MatchedNights,
    before_after,
    control_of,
    matched_nights,
    shared_dependence,
)
from sweeper.analysis.change.reasons import POWER
from sweeper.analysis.change.sky import Sky, sky_of
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.results import ChangePeriod, FixVerdict
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


@dataclass(frozen=True, slots=True)
class Measured:
    """One band, or all: the estimate, its interval, and the flag in `held` for which a verdict is held back.

    `otherwise`: flags of what was not the same on both sides. `smallest_db`: the change that nights like these show
    four times in five.
    """

    change: BeforeAfter
    interval: Interval | None
    verdict: FixVerdict
    smallest_db: float | None
    periods: tuple[ChangePeriod, ...]
    otherwise: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    held: str = ""


@dataclass(frozen=True, slots=True)
class MeasuredBands:
    """All of it on one scale; `bands` in the order asked for, `whole` where there are several."""

    bands: Mapping[str, Measured]
    whole: Measured | None
    sky: Sky


def measured(
    levels: pl.DataFrame,
    summaries: pl.DataFrame,
    first: date,
    facts: StationFacts,
    bands: Sequence[str],
    control_bands: Sequence[str],
) -> MeasuredBands:
    """Before and after from rows of `noise_levels`, and from the carriers of the `summaries`."""
    alpha = 1.0 - facts.confidence
    receiver_drift = levels.group_by("night").agg(pl.col("drift_db").mean()).sort("night")
    control_rows = levels.filter(levels["band"].is_in(list(control_bands)))
    levels = levels.filter(~levels["band"].is_in(list(control_bands)))
    parted = levels.partition_by("band", as_dict=True)
    matched = {
        band: matched_nights(parted[(band,)], first, ("hour_utc",)) for band in bands if (band,) in parted
    }
    of_control = matched_nights(control_rows, first, ("band", "hour_utc")) if len(control_rows) else None
    alike = shared_dependence([*matched.values(), *([of_control] if of_control is not None else [])])
    control = None if of_control is None else control_of(of_control, alike)
    sky = sky_of(summaries, first, facts, receiver_drift)
    look = _Look(first, alike, control, facts, sky)
    changes = {band: look.change(nights) for band, nights in matched.items()}
    chances = [_chance(change, alpha) for change in changes.values()]
    # with several, all together are a question of their own, and half is left for single ones
    bearable = allowed_level(chances, alpha / 2.0 if len(chances) > 1 else alpha)
    found = {
        band: _finding(change, parted[(band,)], look, ("hour_utc",), chance <= bearable or chance > alpha)
        for (band, change), chance in zip(changes.items(), chances, strict=True)
    }
    whole = None
    if len(found) > 1:
        keys = ("band", "hour_utc")
        whole = _finding(look.change(matched_nights(levels, first, keys)), levels, look, keys, True)
    return MeasuredBands(found, whole, sky)


@dataclass(frozen=True, slots=True)
class _Look:
    """What every estimate of a comparison needs. A control that changed at the fix itself is set aside."""

    first: date
    alike: Dependence
    control: Control | None
    facts: StationFacts
    sky: Sky

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
    change: BeforeAfter, here: pl.DataFrame, look: _Look, keys: tuple[str, ...], bearable: bool
) -> Measured:
    facts, matched = look.facts, change.matched
    interval = change.estimate.interval(change.level) if change.estimate else None
    holds = {
        "control-changed": interval is not None and look.control_stepped,
        "control-moved": change.control_moved,
        "carriers-moved": interval is not None
        and not matched.controlled
        and look.sky.went_with(interval.value),
        "table": not bearable,
    }
    held = next((flag for flag, stands in holds.items() if stands), "")
    periods: list[ChangePeriod] = []
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
    return Measured(
        change,
        interval,
        "undecided" if held else _verdict(interval, facts.worthwhile_db),
        _smallest(change),
        tuple(periods),
        tuple(_measured_otherwise(here, look.first)),
        tuple(flag for flag, stands in flags.items() if stands),
        held,
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
