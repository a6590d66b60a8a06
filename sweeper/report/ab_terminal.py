"""An A/B comparison on the terminal: the sentence first, then figures and signals. Prints, and computes nothing."""

from typing import TYPE_CHECKING

from rich.console import Console
from rich.text import Text

from sweeper.ab import ABResult
from sweeper.analysis import state_of
from sweeper.report import wording
from sweeper.report.ab_words import figures, remarks
from sweeper.report.console import STYLES, open_console, open_table

if TYPE_CHECKING:  # slow to load, and a test that somebody attends is shown without
    from sweeper.recordings.comparing import Compared

MOST = 12


def show_result(console: Console, result: ABResult) -> None:
    """Its sentence and its figures."""
    console.print(Text(result.reason, STYLES[state_of(result.verdict)]))
    console.print()
    table = open_table(("", "left"), (f"at {result.confidence:.0%}", "left"))
    for name, value in figures(result):
        table.add_row(name, value)
    console.print(table)


def show_ab(compared: "Compared") -> None:
    """Print the result of a comparison in a recording, at most 80 columns wide."""
    result = compared.result
    console = open_console()
    show_result(console, result)
    if result.carriers:
        console.print()
        table = open_table(
            ("Signal, Hz", "right"), ("S/N out, dB", "right"), ("S/N change, dB", "left"), ("", "left")
        )
        for carrier in result.carriers[:MOST]:
            table.add_row(
                f"{carrier.hz:.0f}",
                wording.decibel(carrier.snr_db),
                wording.interval(carrier.snr_change_db),
                carrier.kind,
            )
        console.print(table)
        if len(result.carriers) > MOST:
            console.print(f"and {len(result.carriers) - MOST} more")
    for line in remarks(compared):
        console.print(Text(line, "dim"))
