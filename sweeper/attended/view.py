"""What somebody who attends an A/B test sees at one moment. Frozen values; the terminal and the page draw them."""

from dataclasses import asdict, dataclass
from typing import Any

from sweeper.ab import ABResult, Interval
from sweeper.words import SignalPath

FARTHEST_DB = 40.0
"""As far as changes are looked for."""


@dataclass(frozen=True, slots=True)
class Route:
    """One side of the switch: levels in dB over the noise with the stage out, or None where not known.

    `snr_db`: of the strongest signal, in 2.4 kHz.
    """

    signal_db: float | None
    noise_db: float | None
    snr_db: float | None


@dataclass(frozen=True, slots=True)
class Curve:
    """A spectrum to draw: `db` over the noise with the stage out, one value a point of `View.hz`."""

    db: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class View:
    """One moment of the test. Sentences are empty where there is nothing to say."""

    hz_dial: float | None
    by_hand: bool
    elapsed_s: float
    left_s: float
    path: SignalPath
    to: SignalPath | None
    switch_in_s: float | None
    edges: int
    planned: int
    out: Route
    within: Route
    signal_change: Interval | None
    noise_change: Interval | None
    snr_change: Interval | None
    answer: str
    sight: str
    next: str
    hint: str
    still: str
    cap: str
    trouble: str
    hz: tuple[float, ...] = ()
    out_curve: Curve = Curve(())
    in_curve: Curve = Curve(())
    meter: tuple[str, str, str] | None = None
    """What the receiver's own meter shows with the stage out, in, and the difference."""
    ended: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Plain values for a page."""
        told = asdict(self)
        for key in ("signal_change", "noise_change", "snr_change"):
            if told[key] is not None:  # an end that is not known yet is infinite, which JSON cannot say
                told[key] = {
                    name: max(-FARTHEST_DB, min(FARTHEST_DB, end)) for name, end in told[key].items()
                }
        told["path"], told["to"] = str(self.path), None if self.to is None else str(self.to)
        return told


@dataclass(frozen=True, slots=True)
class Attended:
    """How the test ended: the result, and what else is told beside its one sentence."""

    result: ABResult
    notes: tuple[str, ...] = ()
