"""Recordings whose truth is known: audio of a receiver and samples of a band, switched in and out while they ran.

Fading carriers, speech, keying and data, with noise before and behind the stage, through a receiver with its filter,
gain control and faults, written as files. Shares no formula with what reads such files.
"""

from sweeper.simulation.recordings.planted import Chain, Gaining, Mishaps, Planted, Receiving, Signal, truth
from sweeper.simulation.recordings.rendering import render
from sweeper.simulation.recordings.switching import Stay, by_hand, by_relay, with_load
from sweeper.simulation.recordings.written import Written, write

__all__ = [
    "Chain",
    "Gaining",
    "Mishaps",
    "Planted",
    "Receiving",
    "Signal",
    "Stay",
    "Written",
    "by_hand",
    "by_relay",
    "render",
    "truth",
    "with_load",
    "write",
]
