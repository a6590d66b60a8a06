"""`simulate --recording`: recordings of the invented station to try `ab --file` on, with the truth beside them."""

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from sweeper.cli.progress import progress
from sweeper.errors import WrongInput

if TYPE_CHECKING:
    from sweeper.simulation.recordings import Planted

Gain = Literal["off", "fast", "slow"]
Form = Literal["wav", "flac", "rf64", "auxi", "sigmf"]
LOAD_MINUTES = 1.0
"""A recording with looks at the load is at least this long."""


def invent(
    folder: Path,
    *,
    samples: bool,
    minutes: float,
    every_s: float | None,
    hand: bool,
    load: bool,
    agc: Gain,
    overload: bool,
    form: Form,
    seed: int,
) -> None:
    """Write one recording with its marks and its truth, and say what to type next."""
    from sweeper.simulation.recordings import write
    from sweeper.simulation.recordings.saltmarsh_evening import evening

    every_s = every_s or (30.0 if hand else 2.0 if samples else 5.0)
    if 60 * minutes < 2 * every_s + (60 * LOAD_MINUTES if load else 0.0):
        raise WrongInput(
            f"{minutes:g} minutes leave no time to switch in and out every {every_s:g} s. "
            "Make it longer with --minutes, or switch more often with --every."
        )
    planted = evening(
        "samples" if samples else "audio",
        seconds=60 * minutes,
        every_s=every_s,
        hand=hand,
        load=load,
        agc=agc,
        overload=overload,
        seed=seed,
    )
    try:
        with progress(f"Recording {minutes:g} simulated minutes") as told:
            written = write(planted, folder, form=form, progress=told)
    except OSError as refused:
        raise WrongInput(
            f"{folder}: cannot be written ({refused.strerror}). Name another folder with --recording."
        ) from refused
    what = "samples of a band" if samples else "audio of a receiver"
    print(f"{written.recording}: {minutes:g} minutes of {what}, switched {_switched(hand, every_s)}.")
    print(f"{written.truth}: what was planted. The station is invented, and so is every signal.")
    marks = "" if hand and not load else f" --marks {written.marks}"
    first = "" if marks else " --first bypass"
    print(f"\nNow type: sweeper ab --file {written.recording}{_tuned(planted, form)}{marks}{first}")


def _switched(hand: bool, every_s: float) -> str:
    return f"by hand about every {every_s:g} s" if hand else f"every {every_s:g} s"


def _tuned(planted: "Planted", form: Form) -> str:
    """What the file itself does not say."""
    if planted.kind == "audio":
        return f" --dial {planted.centre_hz} --mode {planted.mode}"
    return ""
