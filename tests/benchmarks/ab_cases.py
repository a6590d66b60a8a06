"""The rows of the A/B benchmark: what is planted in each, and what the program is told."""

from collections.abc import Callable
from dataclasses import dataclass

from sweeper.simulation.recordings import Planted
from tests.benchmarks import ab_hard as hard
from tests.benchmarks import ab_other_kinds as other
from tests.benchmarks.ab_planting import (
    Dice,
    audio,
    audio_agc,
    audio_hand,
    half_occupied,
    overload,
    samples,
    steps,
    unswitched,
)  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One row: what is planted, and what the program is told. `told` is "marks", "first" (nothing but how it
    begins), "notes" (marks to the second) or "clock" (marks by a clock that is 0.2 % off the sound card's)."""

    name: str
    plant: Callable[[Dice, int], Planted]
    told: str = "marks"
    hard: bool = False
    watched: bool = True
    depth: str = "16"


CASES = (
    Case("audio", audio),
    Case("audio, fast AGC", audio_agc),
    Case("audio, by hand", audio_hand, "first"),
    Case("samples", samples),
    Case("half occupied", half_occupied, watched=False),
    Case("steps", steps, "first", watched=False),
    Case("unswitched", unswitched, "first", watched=False),
    Case("overload", overload, watched=False),
    *(
        Case(name, plant, told, hard=True, watched=False, depth=depth)
        for name, plant, told, depth in (
            ("hum", hard.hum, "marks", "16"),
            ("birdies among samples", hard.birdies, "marks", "16"),
            ("a birdie beside the carrier", hard.one_birdie, "marks", "16"),
            ("only a birdie", hard.only_a_birdie, "marks", "16"),
            ("images at −25 dB", hard.mirrored, "marks", "16"),
            ("8 bits, noise at one step", hard.eight_bits, "marks", "8"),
            ("slow AGC", hard.slow_agc, "marks", "16"),
            ("fast AGC, fading of 1 Hz", hard.fast_fading_agc, "marks", "16"),
            ("a carrier leaves", hard.carrier_leaves, "marks", "16"),
            ("load, relay leaks", hard.looks_at_the_load, "marks", "16"),
            ("the carrier drifts", hard.drifting_line, "marks", "16"),
            ("receiver's gain steps", hard.gain_moves, "marks", "16"),
            ("8 s out, 2 s in", hard.unequal_dwells, "marks", "16"),
            ("noise wanders by 2 dB", hard.noise_wanders, "marks", "16"),
            ("static", hard.static, "marks", "16"),
            ("a lossy stage", hard.no_gain, "marks", "16"),
            ("a stage that does nothing", hard.does_nothing, "marks", "16"),
            ("switched twice", hard.switched_twice, "marks", "16"),
            ("speech only", hard.speech_only, "marks", "16"),
            ("keying only, fast AGC", hard.keying_only, "marks", "16"),
            ("by hand, with notes", hard.hand_and_marks, "notes", "16"),
            ("gaps in samples", hard.gaps, "marks", "16"),
            ("overload in audio", hard.overloaded_audio, "marks", "16"),
            ("data only", other.data_only, "marks", "16"),
            ("carriers fade together", other.fade_together, "marks", "16"),
            ("gain −20 to +40 dB", other.any_gain, "marks", "24"),
            ("stays of 0.8 to 15 s", other.any_dwell, "marks", "16"),
            ("four edges", other.four_edges, "marks", "16"),
            ("seconds drop out", other.drop_outs, "marks", "16"),
            ("clock off by 0.2 %", audio, "clock", "16"),
            ("channels exchanged", other.swapped, "marks", "16"),
            ("slots in step", other.in_step, "marks", "16"),
            ("a carrier beside slots in step", other.carrier_in_step, "marks", "16"),
            ("one wide signal", other.wide_and_strong, "marks", "16"),
            ("twenty crashes a second", other.pulsed, "marks", "16"),
            ("a switch that crackles", other.crackling_switch, "first", "16"),
        )
    ),
)
