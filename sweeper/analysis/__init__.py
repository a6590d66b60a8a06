"""The pure analysis: readings in, findings out. No files, no clock, no rig.

This is its only door: whoever is outside imports from here, never from a room. A name is looked up when it is first
asked for, since the rooms load polars and SciPy, which a daemon that waits must not.

`facts` is what goes in; `results` and `evidence` are what comes out. Between them lie the rooms, each of which imports
from earlier ones only: physics, statistics, meter, day, band, verdict, change, findings.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sweeper.analysis.change.compare import compare as compare
    from sweeper.analysis.day.columns import is_summary as is_summary
    from sweeper.analysis.day.reduce import summarise_day as summarise_day
    from sweeper.analysis.evidence import Evidence as Evidence
    from sweeper.analysis.facts import MeterFacts as MeterFacts
    from sweeper.analysis.facts import Products as Products
    from sweeper.analysis.facts import StationFacts as StationFacts
    from sweeper.analysis.findings.across_stations import BandHour as BandHour
    from sweeper.analysis.findings.across_stations import FleetFindings as FleetFindings
    from sweeper.analysis.findings.across_stations import StationCell as StationCell
    from sweeper.analysis.findings.across_stations import StationResult as StationResult
    from sweeper.analysis.findings.across_stations import compare_stations as compare_stations
    from sweeper.analysis.findings.as_json import comparison_object as comparison_object
    from sweeper.analysis.findings.as_json import findings_json as findings_json
    from sweeper.analysis.findings.as_json import findings_object as findings_object
    from sweeper.analysis.findings.build import evidence_from as evidence_from
    from sweeper.analysis.findings.build import find as find
    from sweeper.analysis.findings.build import findings_from as findings_from
    from sweeper.analysis.findings.claims import COSTS as COSTS
    from sweeper.analysis.findings.claims import HELPS as HELPS
    from sweeper.analysis.findings.claims import SETTLED as SETTLED
    from sweeper.analysis.findings.claims import outlook_words as outlook_words
    from sweeper.analysis.findings.stretches import Stretch as Stretch
    from sweeper.analysis.findings.stretches import hardly_measured as hardly_measured
    from sweeper.analysis.findings.stretches import mean_of as mean_of
    from sweeper.analysis.findings.stretches import stretches as stretches
    from sweeper.analysis.meter.calibration import Curve as Curve
    from sweeper.analysis.meter.calibration import Implausible as Implausible
    from sweeper.analysis.meter.calibration import KnownLevel as KnownLevel
    from sweeper.analysis.meter.calibration import bandwidth_uncertainty_db as bandwidth_uncertainty_db
    from sweeper.analysis.meter.calibration import curve_of as curve_of
    from sweeper.analysis.meter.calibration import flatness_line as flatness_line
    from sweeper.analysis.meter.calibration import mismatch_line as mismatch_line
    from sweeper.analysis.meter.calibration import noise_bandwidth_hz as noise_bandwidth_hz
    from sweeper.analysis.meter.calibration import tolerance_line as tolerance_line
    from sweeper.analysis.meter.pad import ANCHOR_LINE as ANCHOR_LINE
    from sweeper.analysis.meter.pad import PadStep as PadStep
    from sweeper.analysis.meter.pad import ends_of as ends_of
    from sweeper.analysis.meter.pad import pad_lines as pad_lines
    from sweeper.analysis.meter.pad import scale_of as scale_of
    from sweeper.analysis.meter.scale import step_of as step_of
    from sweeper.analysis.meter.seen import MeterSeen as MeterSeen
    from sweeper.analysis.meter.seen import TakenVisit as TakenVisit
    from sweeper.analysis.meter.seen import meter_seen as meter_seen
    from sweeper.analysis.physics.atmospheric import atmospheric_noise_known as atmospheric_noise_known
    from sweeper.analysis.physics.radiometer import thermal_dbm as thermal_dbm
    from sweeper.analysis.results import BandComparison as BandComparison
    from sweeper.analysis.results import BandFinding as BandFinding
    from sweeper.analysis.results import Change as Change
    from sweeper.analysis.results import ChangePeriod as ChangePeriod
    from sweeper.analysis.results import ComparedNight as ComparedNight
    from sweeper.analysis.results import Comparison as Comparison
    from sweeper.analysis.results import Findings as Findings
    from sweeper.analysis.results import FixVerdict as FixVerdict
    from sweeper.analysis.results import PeriodFinding as PeriodFinding
    from sweeper.analysis.results import Verdict as Verdict
    from sweeper.analysis.states import FAULTS as FAULTS
    from sweeper.analysis.states import OF_VERDICT as OF_VERDICT
    from sweeper.analysis.states import STATES as STATES
    from sweeper.analysis.states import State as State
    from sweeper.analysis.states import shown_verdict as shown_verdict
    from sweeper.analysis.states import state_of as state_of
    from sweeper.analysis.states import state_of_period as state_of_period
    from sweeper.analysis.states import words_of as words_of
    from sweeper.analysis.states import words_of_period as words_of_period
    from sweeper.analysis.statistics.change_points import FEWEST_NIGHTS as FEWEST_NIGHTS
    from sweeper.analysis.statistics.interval import Interval as Interval
    from sweeper.analysis.verdict.effort import bands_due as bands_due
    from sweeper.analysis.verdict.effort import effort as effort
    from sweeper.analysis.verdict.expectation import expectations as expectations
    from sweeper.analysis.verdict.expectation import measured_rises as measured_rises
    from sweeper.analysis.verdict.outlook import Outlook as Outlook
    from sweeper.analysis.verdict.outlook import outlook as outlook
    from sweeper.analysis.verdict.table import table_of as table_of
    from sweeper.analysis.wording import S_UNIT_DB as S_UNIT_DB
    from sweeper.analysis.wording import clock_spans as clock_spans
    from sweeper.analysis.wording import listed as listed
    from sweeper.analysis.wording import on_nights_measured as on_nights_measured
    from sweeper.analysis.wording import s_units as s_units

_NAMES = {
    "change.compare": ["compare"],
    "statistics.change_points": ["FEWEST_NIGHTS"],
    "day.columns": ["is_summary"],
    "day.reduce": ["summarise_day"],
    "evidence": ["Evidence"],
    "facts": ["MeterFacts", "Products", "StationFacts"],
    "findings.across_stations": [
        "BandHour",
        "FleetFindings",
        "StationCell",
        "StationResult",
        "compare_stations",
    ],
    "findings.as_json": ["comparison_object", "findings_json", "findings_object"],
    "findings.build": ["evidence_from", "find", "findings_from"],
    "findings.claims": ["COSTS", "HELPS", "SETTLED", "outlook_words"],
    "findings.stretches": [
        "Stretch",
        "hardly_measured",
        "mean_of",
        "stretches",
    ],
    "meter.calibration": [
        "Curve",
        "Implausible",
        "KnownLevel",
        "bandwidth_uncertainty_db",
        "curve_of",
        "flatness_line",
        "mismatch_line",
        "noise_bandwidth_hz",
        "tolerance_line",
    ],
    "meter.scale": ["step_of"],
    "meter.pad": ["ANCHOR_LINE", "PadStep", "ends_of", "pad_lines", "scale_of"],
    "meter.seen": ["MeterSeen", "TakenVisit", "meter_seen"],
    "physics.atmospheric": ["atmospheric_noise_known"],
    "physics.radiometer": ["thermal_dbm"],
    "results": [
        "BandComparison",
        "BandFinding",
        "Change",
        "ChangePeriod",
        "ComparedNight",
        "Comparison",
        "Findings",
        "FixVerdict",
        "PeriodFinding",
        "Verdict",
    ],
    "states": [
        "FAULTS",
        "OF_VERDICT",
        "STATES",
        "State",
        "shown_verdict",
        "state_of",
        "state_of_period",
        "words_of",
        "words_of_period",
    ],
    "statistics.interval": ["Interval"],
    "verdict.effort": ["bands_due", "effort"],
    "verdict.expectation": ["expectations", "measured_rises"],
    "verdict.outlook": ["Outlook", "outlook"],
    "verdict.table": ["table_of"],
    "wording": ["S_UNIT_DB", "clock_spans", "listed", "on_nights_measured", "s_units"],
}
_MODULES = {name: module for module, names in _NAMES.items() for name in names}

if not TYPE_CHECKING:

    def __getattr__(name: str) -> object:
        """The function or shape of that name, from its room."""
        if name not in _MODULES:
            raise AttributeError(f"sweeper.analysis has no {name}")
        return getattr(import_module(f"sweeper.analysis.{_MODULES[name]}"), name)
