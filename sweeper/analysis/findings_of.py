"""From the summaries of many nights to findings: gain, S/N change, noise rise, verdicts and advice."""

import polars as pl

from sweeper.analysis.evidence import Evidence
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.findings import Findings


def find(summaries: pl.DataFrame, facts: StationFacts) -> tuple[Findings, Evidence]:
    """Reduce the summaries of all nights to findings and the tables behind them."""
    raise NotImplementedError
