"""Before and after a fix: nights at matching hours, the load as control, carriers asked about the sky.

The change is (after − before) of the antenna's noise less (after − before) of the control, from nights as the unit,
at hours that both sides have; weekdays are matched with weekdays where there is enough. Neighbouring nights are alike,
by as much as all bands show. Intervals are valid for
somebody who looks every morning after the fix, and whichever of the scales that its readings leave open is the meter's.
Finding the date is for `detect`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime

import polars as pl

from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.nightly import nightly
from sweeper.analysis.band.overload import diagnose, places_near_overload
from sweeper.analysis.band.steady_signals import steady_signals, without_steady
from sweeper.analysis.change.detect import find_changes
from sweeper.analysis.change.levels import noise_levels
from sweeper.analysis.change.measured import (
    ALL_BANDS,
    MEASURED_OTHERWISE,
    Measured,
    MeasuredBands,
    measured,
)
from sweeper.analysis.change.parting import noon_of, parted
from sweeper.analysis.change.reasons import ToSay, reason
from sweeper.analysis.change.sky import Sky
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.meter.changed import CHANGED, MeterChange, meter_change
from sweeper.analysis.meter.scales import on_scale
from sweeper.analysis.results import BandComparison, Change, ChangePeriod, Comparison
from sweeper.analysis.verdict.scales import UNTESTED, Meter, covering, meter_of

SAME_CHANGE_NIGHTS = 3
"""A change found on another scale is the same one when its night is no further away."""

NO_NOISE = (
    "No level of noise was measured on any night (with the receiver's gain control on there is none), so whether noise "
    "changed cannot be told."
)


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
    changed = meter_change(summaries)
    if changed is not None:
        summaries = _of_one_meter(summaries, changed, fix, facts)
    summaries = without_steady(summaries, steady_signals(summaries, facts.meter))
    meter = meter_of(summaries, facts)
    scaled_on_each = [on_scale(summaries, scale) for scale in meter.scales]
    on_each = [(scaled, _levels(scaled, facts)) for scaled in scaled_on_each]
    levels = on_each[0][1]
    changes = _found_on_all([find_changes(each, facts, notes) for _, each in on_each]) if fix is None else ()
    if fix is None:
        if not changes:
            unheard = "" if levels.height else NO_NOISE
            return Comparison(facts.name, None, facts.confidence, (), None, unheard, ())
        clearest = min(changes, key=lambda change: (change.chance, -abs(change.change_db.value)))
        fix = noon_of(clearest.night, facts)
    first, left_out = parted(levels, fix, facts)
    bands = [
        band
        for band in dict.fromkeys(channel.band for channel in facts.channels)
        if band not in control_bands
    ]
    looks = [
        measured(_without(rows, left_out), _without(scaled, left_out), first, facts, bands, control_bands)
        for scaled, rows in on_each
    ]
    found = {
        band: _on_all(each, [look.bands.get(band) for look in looks[1:]], meter, band)
        for band, each in looks[0].bands.items()
    }
    whole = looks[0].whole
    if whole is not None:
        whole = _on_all(whole, [look.whole for look in looks[1:]], meter, "")
    return Comparison(
        facts.name,
        fix,
        facts.confidence,
        tuple(_told(band, each, facts, changed) for band, each in found.items()),
        None if whole is None else _told(ALL_BANDS, whole, facts, changed),
        _sky_on_all(looks).sentence,
        changes,
        left_out,
    )


def _of_one_meter(
    summaries: pl.DataFrame, changed: MeterChange, fix: datetime | None, facts: StationFacts
) -> pl.DataFrame:
    """The nights with the meter that was there at the fix and after it: levels of two meters are not compared."""
    if fix is not None and parted(summaries, fix, facts)[0] < changed.night:
        return summaries.filter(pl.col("night") < changed.night)
    return summaries.filter(pl.col("night") >= changed.night)


def _levels(summaries: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    diagnoses = {
        str(band): diagnose(GainMethods(rows), facts)
        for (band,), rows in summaries.partition_by("band", as_dict=True).items()
    }
    return noise_levels(nightly(summaries), places_near_overload(diagnoses))


def _without(rows: pl.DataFrame, left_out: date | None) -> pl.DataFrame:
    return rows if left_out is None else rows.filter(rows["night"] != left_out)


def _found_on_all(each: Sequence[Sequence[Change]]) -> tuple[Change, ...]:
    """Changes of the likeliest scale that all others show too, with intervals that hold on every one."""
    found = []
    for change in each[0]:
        beside = [
            next(
                (other for other in others if abs((other.night - change.night).days) <= SAME_CHANGE_NIGHTS),
                None,
            )
            for others in each[1:]
        ]
        span = covering(change.change_db, [other.change_db if other else None for other in beside])
        if span is not None:
            found.append(replace(change, change_db=span))
    return tuple(found)


def _on_all(first: Measured, others: Sequence[Measured | None], meter: Meter, band: str) -> Measured:
    """What is measured of a band whichever of the scales is the meter's."""
    troubles = meter.troubles(band)
    beside = [other for other in others if other is not None]
    interval = covering(first.interval, [other.interval if other else None for other in others])
    held = first.held or min(troubles, default="")
    if not held and first.verdict != "undecided" and {other.verdict for other in beside} - {first.verdict}:
        held = UNTESTED
    smallest = [each.smallest_db for each in (first, *beside) if each.smallest_db is not None]
    return replace(
        first,
        interval=interval,
        verdict="undecided" if held or interval is None else first.verdict,
        smallest_db=max(smallest) if smallest and interval is not None else None,
        periods=_periods_on_all(first.periods, [other.periods for other in beside]),
        flags=tuple(dict.fromkeys((*first.flags, *sorted(troubles), *([held] if held else [])))),
        held=held,
    )


def _periods_on_all(
    first: Sequence[ChangePeriod], others: Sequence[Sequence[ChangePeriod]]
) -> tuple[ChangePeriod, ...]:
    by_hour: list[Mapping[int, ChangePeriod]] = [{each.hour_utc: each for each in other} for other in others]
    return tuple(
        replace(
            each,
            change_db=covering(
                each.change_db,
                [(other[each.hour_utc].change_db if each.hour_utc in other else None) for other in by_hour],
            ),
        )
        for each in first
    )


def _sky_on_all(looks: Sequence[MeasuredBands]) -> Sky:
    sky = looks[0].sky
    return replace(sky, change_db=covering(sky.change_db, [look.sky.change_db for look in looks[1:]]))


def _told(band: str, found: Measured, facts: StationFacts, changed: MeterChange | None) -> BandComparison:
    told = ToSay(
        found.change,
        found.interval,
        found.verdict,
        found.smallest_db,
        found.held,
        facts.worthwhile_db,
        bool(found.otherwise),
    )
    said = [reason(told), *(MEASURED_OTHERWISE[flag] for flag in found.otherwise)]
    if changed is not None:
        said.append(changed.parting)
    return BandComparison(
        band=band,
        change_db=found.interval,
        nights_before=found.change.matched.before,
        nights_after=found.change.matched.after,
        verdict=found.verdict,
        periods=found.periods,
        reason=" ".join(said),
        flags=(*found.flags, *found.otherwise, *([CHANGED] if changed is not None else [])),
        smallest_change_db=found.smallest_db,
        nights=found.change.matched.nights,
    )
