"""Rig and passes in one line, for the top of the report. Words only."""

from collections.abc import Sequence

from sweeper.daemon.service.health import health_sentence
from sweeper.report.setting import Setting
from sweeper.words import PassRecord


def health_line(passes: Sequence[PassRecord], setting: Setting) -> str:
    """What became of the passes measured here, and how much of the relays' life is spent."""
    measured = [record for record in passes if not record.brought_in]
    told = [health_sentence(measured)] if measured else []
    if len(measured) < len(passes):
        told.append("Of readings brought in from a file no record of passes is kept.")
    rated, busiest = setting.rated_operations, setting.busiest_relay
    if rated and busiest:
        told.append(f"Relay life used: {busiest / rated:.1%}.")
    return f"Rig: {' '.join(told)}" if told else "Rig: no pass is over yet."
