"""Attended A/B tests on planted stations, against the planted truth: how narrow, how often right, at every look.

    python -m tests.benchmarks.ab_now [--tests 60] [--seed 5] [--only WORD] [--quick] [--write docs/ab-now.md]

Audio of one carrier that fades (20 dB S/N in 2.4 kHz, Clarke with 0.15 Hz, Rician K of 3 dB), stages that help, harm
or do neither, at a clock that jumps. An interval counts as right only if it held
the truth whenever it was shown, from the first to the last. Shares with Wilson's interval.
"""

import argparse
import multiprocessing
import os
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

from sweeper.attended.at_station import BY_HAND_S, BY_RELAY_S
from sweeper.attended.listening import PersonHands, Pressed, RelayHands, attend
from sweeper.attended.session import Asked, Session
from sweeper.attended.stays import relay_order
from sweeper.attended.view import View
from sweeper.clock import JumpingClock
from sweeper.errors import UserFacingError
from sweeper.simulation.recordings import truth
from sweeper.simulation.recordings.planted import FAST
from tests.benchmarks.ab_planting import audio, audio_hand
from tests.benchmarks.written import write_row
from tests.sweeper.attended.on_air_now import START, PlantedSound
from tests.sweeper.attended.person import Person

RIGHT = 0.94
HALF_WIDTH_DB, CAP_DB = 1.5, 0.5
UNLIKELY = 1e-3
LEAST_RISE_DB = 4.0
"""Of the load: below, the cap is steep (over 2 dB) and says that much can be gained, not how much."""


@dataclass(frozen=True)
class Case:
    """One row. `ends`: it ends when it is decided, as the program does; else it is watched until time is up."""

    name: str
    seconds: float
    by: str
    load: bool = False
    ends: bool = False
    fast_agc: bool = False


CASES = (
    Case("relay, two minutes", 120.0, "relay"),
    Case("relay, two minutes, fast AGC", 120.0, "relay", fast_agc=True),
    Case("relay, one minute with the load", 60.0, "relay", load=True),
    Case("relay, ends when decided", 300.0, "relay", load=True, ends=True),
    Case("hand with keys, two minutes", 120.0, "keys"),
    Case("hand with keys, two minutes, fast AGC", 120.0, "keys", fast_agc=True),
    Case("hand without keys, two minutes", 120.0, "ears"),
    Case("hand, keys pressed twice now and then", 120.0, "twice"),
    Case("hand, the load once each way", 150.0, "keys", load=True),
)
QUICK = ("relay, one minute with the load",)


@dataclass(frozen=True)
class Judged:
    """One test. `held`: None where no interval was shown; `wrong`: the verdict; `cap_off_db`: bound − truth."""

    refused: str = ""
    held: bool | None = None
    half_db: float = float("inf")
    wrong: bool = False
    decided: bool = False
    seconds: float = 0.0
    cap_off_db: float | None = None


class Endless(Session):
    """Watched until time is up."""

    decided = False  # type: ignore[assignment]


def judge(task: tuple[Case, int, int]) -> Judged:
    """Run one test."""
    case, seed, number = task
    dice = np.random.default_rng([seed, number])
    planted = (audio if case.by == "relay" else audio_hand)(dice, number)
    planted = replace(planted, seconds=case.seconds + 30.0)
    if case.fast_agc:
        planted = replace(planted, receiving=replace(planted.receiving, agc=FAST))
    told, clock = truth(planted), JumpingClock(START)
    sound = PlantedSound(planted, clock)
    by_relay = case.by == "relay"
    asked = Asked(
        case.seconds, BY_RELAY_S if by_relay else BY_HAND_S, not by_relay, keys=case.by != "ears", has_load=case.load,
        gain_known=None if case.fast_agc else True,
    )  # fmt: skip
    session = (Session if case.ends else Endless)(asked, clock.monotonic())
    change_db, held = float(told["snr_change_db"]), list[bool]()  # type: ignore[arg-type]

    def seen(view: View) -> None:
        it = view.snr_change
        if it is not None:
            held.append(it.low <= change_db <= it.high)

    if by_relay:
        hands = RelayHands(session, sound, relay_order(case.load), 0.1, clock)
        attend(sound, session, hands, clock, threading.Event(), seen)
    else:
        _by_hand(case, session, sound, clock, number, seen)
    return _judged(session, held, change_db, float(told["noise_rise_db"]))  # type: ignore[arg-type]


def _by_hand(
    case: Case, session: Session, sound: PlantedSound, clock: JumpingClock, number: int, seen: "object"
) -> None:
    pressed = Pressed()
    twice = (3, 8, 14) if case.by == "twice" else ()
    person = Person(
        sound, pressed, clock.monotonic, presses=case.by != "ears", twice_at=twice,
        load_at=9 if case.load else None, seed=number,
    )  # fmt: skip

    def told(view: View) -> None:
        person(view)
        seen(view)  # type: ignore[operator]

    attend(sound, session, PersonHands(session, pressed, clock), clock, threading.Event(), told)


def _judged(session: Session, held: list[bool], change_db: float, rise_db: float) -> Judged:
    try:
        result = session.finish().result
    except UserFacingError as why:
        return Judged(refused=str(why), seconds=session.elapsed_s)
    it = result.snr_change_db
    cap_db = rise_db - 10.0 * float(np.log10(10.0 ** (rise_db / 10.0) - 1.0))
    off = result.cap_db - cap_db if result.cap_db is not None and rise_db >= LEAST_RISE_DB else None
    right = {"stage": change_db > 0.0, "bypass": change_db < 0.0, "either": abs(change_db) < 1.0}
    return Judged(
        held=all(held) if held else None,
        half_db=float("inf") if it is None else (it.high - it.low) / 2.0,
        wrong=not right.get(result.verdict, True),
        decided=result.verdict != "undecided",
        seconds=session.elapsed_s,
        cap_off_db=off,
    )


def figures(case: Case, found: Sequence[Judged]) -> tuple[str, bool]:
    """A row of the table, and whether it is kept as far as chance allows."""
    shown = [each for each in found if each.held is not None]
    held = sum(bool(each.held) for each in shown)
    low, high = proportion_confint(held, len(shown), method="wilson") if shown else (0.0, 1.0)
    half = np.array([each.half_db for each in found if not each.refused] or [np.inf])
    caps = np.array([each.cap_off_db for each in found if each.cap_off_db is not None])
    cells = [
        case.name,
        f"{held} of {len(shown)} ({low:.0%} to {high:.0%})",
        f"{np.median(half):.2f} ({np.quantile(half, 0.9, method='higher'):.2f})",
        f"{np.mean(half <= HALF_WIDTH_DB):.0%}",
        f"{sum(each.wrong for each in found)} of {sum(each.decided for each in found)}",
        f"{np.median([each.seconds for each in found]):.0f}",
        "–" if not len(caps) else f"{np.mean(np.abs(caps) <= CAP_DB):.0%} of {len(caps)}",
        "–" if not len(caps) else f"{np.mean(caps >= 0.0):.0%}",
        str(sum(bool(each.refused) for each in found)),
    ]
    kept = not shown or float(binom.cdf(held, len(shown), RIGHT)) >= UNLIKELY
    return f"| {' | '.join(cells)} |", kept


HEAD = (
    "Each row by a run of its own.\n\n"
    "| test | held the truth at every look | half-width at the end, dB: median (9 of 10) | within 1.5 dB "
    "| wrong verdicts | seconds | cap within 0.5 dB | bound not under the truth | refused |\n"
    + "| --- " * 9
    + "|"
)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--tests", type=int, default=60)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--only", default="")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--write", type=Path, help="page to put each row into, in place of its last")
    asked = parser.parse_args()
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"
    print(HEAD, flush=True)
    broken = []
    with multiprocessing.get_context("spawn").Pool(asked.processes) as pool:
        for case in CASES:
            if asked.only not in case.name or (asked.quick and case.name not in QUICK):
                continue
            count = 1 if asked.quick else asked.tests
            row, kept = figures(case, pool.map(judge, [(case, asked.seed, nth) for nth in range(count)], 1))
            print(row, flush=True)
            if asked.write is not None:
                write_row(asked.write, "ab_now", HEAD, row)
            broken += [] if kept else [case.name]
    for name in broken:
        print(f"missed by more than chance explains: {name}", file=sys.stderr)
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
