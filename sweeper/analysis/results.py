"""The shape of findings: what the analysis says, and how it is written as JSON.

Shapes only; nothing here computes. Formats ``sweeper-findings-1`` and ``sweeper-comparison-1``.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from sweeper.analysis.statistics.interval import Interval

Verdict = Literal["stage", "bypass", "either", "undecided"]
FixVerdict = Literal["quieter", "noisier", "no change", "undecided"]
GainSource = Literal["carriers", "load", "noise", "rated", "combined", "ratio"]


@dataclass(frozen=True, slots=True)
class PeriodFinding:
    """One band in one hour of the day (UTC). `reason` is one sentence for a listener.

    `snr_change_db` and `verdict` are about nights to come from the third on, before that about the nights measured.
    """

    hour_utc: int
    passes: int
    nights: int
    snr_change_db: Interval | None
    noise_rise_db: Interval | None
    fa_db: Interval | None
    verdict: Verdict
    flags: tuple[str, ...]
    reason: str
    measured_db: Interval | None = None
    """The S/N change on the nights measured, whatever other nights may bring."""
    measured_verdict: Verdict = "undecided"
    """The verdict on those nights; the same as `verdict` before the third."""
    by_ratio_db: Interval | None = None
    """The S/N change on those nights by carriers over the noise of the same instant, where levels are kept, too."""

    @property
    def withheld(self) -> bool:
        """Undecided not for want of nights but because something is wrong, which `reason` names."""
        return "withheld" in self.flags


@dataclass(frozen=True, slots=True)
class BandFinding:
    """One band: the stage's gain and noise figures there, its hours, and one sentence of advice."""

    band: str
    gain_db: Interval | None
    gain_from: GainSource | None
    stage_noise_figure_db: Interval | None
    receiver_noise_figure_db: Interval | None
    flags: tuple[str, ...]
    periods: tuple[PeriodFinding, ...]
    recommendation: str
    chain_change_db: Interval | None = None
    """What the stage does to the noise figure of the whole chain (negative: better)."""


@dataclass(frozen=True, slots=True)
class Findings:
    """All bands of a station over the nights from `start` to `end`."""

    station: str
    start: datetime
    end: datetime
    confidence: float
    worthwhile_db: float
    bands: tuple[BandFinding, ...]


@dataclass(frozen=True, slots=True)
class ChangePeriod:
    """What a fix changed in one hour of the day, dB (negative: quieter)."""

    hour_utc: int
    change_db: Interval | None


@dataclass(frozen=True, slots=True)
class ComparedNight:
    """Noise of one night, dB above the mean of the nights before the fix: matching hours, control taken out."""

    night: date
    after: bool
    level_db: float


@dataclass(frozen=True, slots=True)
class BandComparison:
    """Before and after a fix on one band. `smallest_change_db`: what these nights would most likely have shown."""

    band: str
    change_db: Interval | None
    nights_before: int
    nights_after: int
    verdict: FixVerdict
    periods: tuple[ChangePeriod, ...]
    reason: str
    flags: tuple[str, ...] = ()
    smallest_change_db: float | None = None
    nights: tuple[ComparedNight, ...] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """A night from which on the noise stood elsewhere, found without being told.

    `chance`: how often nights without any change, shuffled, would have shown one as clear. `notes`: what was noted
    about that time.
    """

    night: date
    change_db: Interval
    bands: tuple[str, ...]
    chance: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Comparison:
    """Before and after a fix: by band, over all bands, and what the carriers say of the sky.

    `fix` is None when none was given and none was found. `changes` are the dates found, when looked for. `left_out` is
    the night in which the fix was made, where it was measured before and after it and so belongs to neither side.
    """

    station: str
    fix: datetime | None
    confidence: float
    bands: tuple[BandComparison, ...]
    all_bands: BandComparison | None = None
    sky: str = ""
    changes: tuple[Change, ...] = ()
    left_out: date | None = None
