"""The whole table of a station: gains, diagnoses and noise figures by band, cells and their verdicts.

What findings, forecasts and evidence are all made from. Nothing is put into words here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from sweeper.analysis.band.by_ratio import BY_RATIO, NO_FIGURES, UNDIAGNOSED, as_noise, bands_by_ratio
from sweeper.analysis.band.cells import Cell, cells_of_bands, persistence
from sweeper.analysis.band.channels import DISAGREE, OCCUPIED, Channels, channels
from sweeper.analysis.band.empty_carriers import Empty, empty_carriers
from sweeper.analysis.band.gain import Gain, carriers_contradict, combine, quieter_antenna
from sweeper.analysis.band.gain_by_hour import HourGains, gain_by_hour
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.nightly import nightly
from sweeper.analysis.band.noise_figure import NoiseFigures, figures
from sweeper.analysis.band.overload import Diagnosis, diagnose, seen_together, with_products, without_overload
from sweeper.analysis.band.ratio_agreement import MOVED, ByRatio, beside_levels, told_by_ratio
from sweeper.analysis.band.stage_steps import STEPPED, StageStep, stage_steps
from sweeper.analysis.band.steady_signals import Place, of_band, steady_signals, without_steady
from sweeper.analysis.band.switching_threshold import (
    SwitchingThreshold,
    on_every_scale,
    switching_threshold,
)
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.meter.changed import CHANGED, meter_change
from sweeper.analysis.meter.scales import Scale, on_scale
from sweeper.analysis.thresholds import REAL_SLOPES
from sweeper.analysis.verdict.judge import Judged, judge
from sweeper.analysis.verdict.scales import Meter, held_on_all, meter_of, without_dbm, without_untested


@dataclass(frozen=True, slots=True)
class Table:
    """Everything known of a station; `cells`, `judged` and `troubles` go together, mappings are by band."""

    bands: tuple[str, ...]
    nights: pl.DataFrame
    gains: Mapping[str, Gain | None]
    diagnoses: Mapping[str, Diagnosis]
    noise: Mapping[str, NoiseFigures]
    thresholds: Mapping[str, SwitchingThreshold | None]
    cells: tuple[Cell, ...]
    troubles: tuple[frozenset[str], ...]
    judged: tuple[Judged, ...]
    measured: tuple[Judged, ...]
    """What became of each cell as far as the nights measured go, which is the same before the third."""
    alike: float
    """Correlation of neighbouring nights."""
    meter: Meter
    empty_carriers: Mapping[str, dict[int, Empty]]
    by_ratio: Mapping[str, ByRatio]
    """The S/N change by ratio beside the direct one, where levels tell that."""

    @property
    def by_cell(self) -> dict[tuple[str, int], Judged]:
        """What became of each band and hour."""
        return self._placed(self.judged)

    @property
    def measured_by_cell(self) -> dict[tuple[str, int], Judged]:
        """The same on the nights measured."""
        return self._placed(self.measured)

    def _placed(self, judged: Sequence[Judged]) -> dict[tuple[str, int], Judged]:
        return {(cell.band, cell.hour_utc): each for cell, each in zip(self.cells, judged, strict=True)}

    @property
    def gain_errors(self) -> dict[str, float]:
        """Standard error of the gain by band, dB."""
        return {band: gain.se_db for band, gain in self.gains.items() if gain is not None}


def table_of(summaries: pl.DataFrame, facts: StationFacts) -> Table:
    """The table from the `summaries` of all nights. Bands in the order of the station file.

    On a meter whose scale the readings leave open, what is said holds on every scale that may be its own.
    """
    ratios = as_noise(summaries, by_ratio := bands_by_ratio(summaries))
    levels = ~pl.col("band").is_in(sorted(by_ratio))
    beside, summaries = (
        beside_levels(summaries.filter(levels)),
        summaries.filter(levels & (pl.col("for") != "ratio")),
    )
    changed = meter_change(summaries)
    if changed is not None:
        beside, summaries = (rows.filter(pl.col("night") >= changed.night) for rows in (beside, summaries))
    held = steady_signals(summaries, facts.meter)
    meter = replace(meter_of(without_steady(summaries, held), facts), change=changed)
    facts = without_dbm(facts, meter)
    first, *others = (
        _on_scale(summaries, ratios, beside, facts, meter, scale, held) for scale in meter.scales
    )
    return replace(
        first,
        judged=held_on_all(first.by_cell, [other.by_cell for other in others]),
        measured=held_on_all(first.measured_by_cell, [other.measured_by_cell for other in others]),
        gains=_covering(first.gains, [other.gains for other in others]),
        thresholds={
            band: on_every_scale(known, [other.thresholds[band] for other in others])
            for band, known in first.thresholds.items()
        },
        noise={
            band: known.covering([other.noise[band] for other in others])
            for band, known in first.noise.items()
        },
    )


def _covering(
    gains: Mapping[str, Gain | None], others: Sequence[Mapping[str, Gain | None]]
) -> dict[str, Gain | None]:
    """The gains, less sure by what they are on other scales."""
    covering = dict(gains)
    for band, gain in gains.items():
        apart = [other.gain_db - gain.gain_db for each in others if gain and (other := each[band])]
        if gain is not None and apart:
            covering[band] = replace(gain, se_db=float(np.hypot(gain.se_db, np.abs(apart).max() / 2)))
    return covering


def _on_scale(
    summaries: pl.DataFrame,
    ratios: pl.DataFrame,
    beside: pl.DataFrame,
    facts: StationFacts,
    meter: Meter,
    scale: Scale,
    held: Mapping[Place, float],
) -> Table:
    """The table as it would be if this were the meter's scale. `held`: noise channels that hold a carrier; `ratios`:
    bands that no scale touches; `beside`: ratios of the others.
    """
    summaries = on_scale(summaries, scale)
    bands = list(dict.fromkeys([channel.band for channel in facts.channels]))
    by_band = summaries.partition_by("band", as_dict=True)
    by_ratio = sorted(set(ratios["band"].to_list()))
    bands += sorted({str(band) for (band,) in by_band}.union(by_ratio) - set(bands))
    rows = {band: by_band[band,] for band in bands if (band,) in by_band}
    gains: dict[str, Gain | None] = {}
    quieter: dict[str, bool] = {}
    diagnoses: dict[str, Diagnosis] = {}
    noise: dict[str, NoiseFigures] = {}
    thresholds: dict[str, SwitchingThreshold | None] = {}
    told: dict[str, ByRatio] = {}
    hourly: dict[str, HourGains] = {}
    fellows = {band: channels(here, of_band(held, band)) for band, here in rows.items()}
    rows = {band: fellows[band].without_occupied(here) for band, here in rows.items()}
    stepped = stage_steps(rows)
    since = {band: _since(stepped.get(band), here) for band, here in rows.items()}
    alike_nights = persistence(pl.concat([summaries.clear(), *since.values(), ratios]))
    for band, here in since.items():
        methods = GainMethods(here, alike_nights)
        diagnoses[band] = _with_steps(
            _with_channels(diagnose(methods, facts), fellows[band]), stepped.get(band)
        )
        lines = [each for each in facts.products if each.band == band]
        diagnoses[band] = with_products(_with_meter(diagnoses[band], meter), lines)
        steady = _steady(methods, diagnoses[band])
        steady_gain = without_untested(steady, meter)
        gains[band] = gain = combine(steady_gain, facts)
        hourly[band] = HourGains() if gain is None else gain_by_hour(steady_gain, gain)
        quieter[band] = quieter_antenna(steady, facts)
        noise[band] = figures(steady.summaries, gains[band], facts, alike_nights)
        thresholds[band] = switching_threshold(steady.summaries, gains[band], facts, alike_nights)
        mine = _since(stepped.get(band), beside.filter(pl.col("band") == band))
        told[band] = told_by_ratio(mine, methods.noise, gains[band])
        if told[band].sentence and "compression" not in diagnoses[band].flags:
            diagnoses[band] = diagnoses[band].with_sign([MOVED], [told[band].sentence], first=True)
    diagnoses = _with_carriers(seen_together(diagnoses, facts), since, gains)
    gains |= {band: hourly[band].applied(gain) for band in rows if (gain := gains[band]) is not None}
    alike = [_alike(here, gains[band], hourly[band]) for band, here in rows.items()]
    for band in by_ratio:
        gains[band], quieter[band], thresholds[band] = BY_RATIO, False, None
        diagnoses[band], noise[band] = UNDIAGNOSED, NO_FIGURES
    nights = _of_one_stage(nightly(pl.concat([summaries.clear(), *alike, ratios])), stepped)
    by_band = nights.partition_by("band", as_dict=True)
    parts = {band: by_band[band,] for band in bands if (band,) in by_band}
    of_now = {band: _since(stepped.get(band), part) for band, part in parts.items()}
    cells = [
        _near_overload(cell, diagnoses[cell.band])
        for cell in cells_of_bands(of_now, gains, quieter, alike_nights, _widest_step(facts, scale))
    ]
    troubles = [
        _troubles(cell, diagnoses[cell.band], noise[cell.band])
        | (frozenset() if cell.band in by_ratio else meter.troubles(cell.band))
        | hourly.get(cell.band, HourGains()).troubles(cell.hour_utc)
        for cell in cells
    ]
    judged = judge(cells, facts.worthwhile_db, facts.confidence, troubles)
    these = [cell.as_measured for cell in cells]
    measured = judge(these, facts.worthwhile_db, facts.confidence, troubles)
    return Table(
        tuple(bands),
        pl.concat([nights.clear(), *parts.values()]),
        gains,
        diagnoses,
        noise,
        thresholds,
        tuple(cells),
        tuple(troubles),
        tuple(judged),
        tuple(measured),
        alike_nights,
        meter,
        {band: empty_carriers(here) for band, here in rows.items()},
        told,
    )


def _with_channels(diagnosis: Diagnosis, beside: Channels) -> Diagnosis:
    """The diagnosis with what the noise channels say of each other."""
    flags = [OCCUPIED] * bool(beside.occupied or beside.held) + [DISAGREE] * bool(beside.apart)
    return diagnosis.with_sign(flags, beside.sentences)


def _with_steps(diagnosis: Diagnosis, step: StageStep | None) -> Diagnosis:
    """The diagnosis with the night from which on the stage is another; graver things are told first."""
    return diagnosis if step is None else diagnosis.with_sign([STEPPED], [step.sentence])


def _with_meter(diagnosis: Diagnosis, meter: Meter) -> Diagnosis:
    """The diagnosis with the night from which on the meter is another: told first, since it explains much."""
    if meter.change is None:
        return diagnosis
    return diagnosis.with_sign([CHANGED], [meter.change.sentence], first=True)


def _with_carriers(
    diagnoses: dict[str, Diagnosis], rows: Mapping[str, pl.DataFrame], gains: Mapping[str, Gain | None]
) -> dict[str, Diagnosis]:
    """The diagnoses, with what carriers say against the noise of all bands where those have no load."""
    sentence = carriers_contradict([gain for gain in gains.values() if gain is not None])
    if not sentence:
        return diagnoses
    bare = {band for band, here in rows.items() if not here["level_load_bypass"].count()}
    return {
        band: found.with_sign(["routes-disagree"], [sentence]) if band in bare else found
        for band, found in diagnoses.items()
    }


def _since(step: StageStep | None, rows: pl.DataFrame) -> pl.DataFrame:
    """The rows of nights with the stage as it is now."""
    return rows if step is None else rows.filter(pl.col("night") >= step.night)


def _of_one_stage(nights: pl.DataFrame, stepped: Mapping[str, StageStep]) -> pl.DataFrame:
    """Nightly rows of all bands, whose differences are null before the stage's last step: they are another stage's."""
    first = {band: step.night for band, step in stepped.items()}
    if not first:
        return nights
    begins = pl.col("band").replace_strict(first, default=None, return_dtype=pl.Date)
    now = begins.is_null() | (pl.col("night") >= begins)
    return nights.with_columns(pl.when(now).then(pl.col("difference_db")).alias("difference_db"))


def _alike(rows: pl.DataFrame, gain: Gain | None, hourly: HourGains) -> pl.DataFrame:
    """Differences less what the gain of each channel, and of each hour, differs from the band's."""
    offsets_db = {"hz": {} if gain is None else gain.offsets_db, "hour_utc": hourly.offsets_db}
    for column, of in offsets_db.items():
        if of:
            offset = pl.col(column).replace_strict(dict(of), default=0.0, return_dtype=pl.Float64)
            rows = rows.with_columns(pl.col("difference_db") - offset)
    return rows


def _steady(methods: GainMethods, diagnosis: Diagnosis) -> GainMethods:
    """Hours fit for gain and noise figures: away from overload, where there are such."""
    near, rows = diagnosis.hours_near_overload, methods.summaries
    if not near:
        return methods
    away = rows.filter(~pl.col("hour_utc").is_in(sorted(near)))
    for kept in (away, without_overload(rows, diagnosis)):
        if not kept.is_empty():
            return GainMethods(kept, methods.alike)
    return methods


def _widest_step(facts: StationFacts, scale: Scale) -> float:
    """The meter's step in true decibels, dB, at the most that they are on this scale."""
    return (facts.meter.step_db or 0.0) / (1.0 if scale.plain else REAL_SLOPES[0])


def _near_overload(cell: Cell, diagnosis: Diagnosis) -> Cell:
    """The cell; in or next to an hour that overloads with the flag ``near-overload``."""
    if cell.hour_utc not in diagnosis.hours_near_overload:
        return cell
    return replace(cell, flags=(*cell.flags, "near-overload"))


def _troubles(cell: Cell, diagnosis: Diagnosis, noise: NoiseFigures) -> frozenset[str]:
    """Flags that hold for the cell: those of the band, with overload only in the hours in which it shows."""
    flags = set(diagnosis.flags) | set(noise.flags)
    flags.discard("overload")
    if cell.hour_utc in diagnosis.overloaded_hours and "mismatch" not in flags:
        flags.add("overload")
    return frozenset(flags)
