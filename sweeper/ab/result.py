"""What an A/B comparison found: frozen values, and their JSON. Nothing is computed here."""

import json
from dataclasses import asdict, dataclass, field
from math import isfinite
from typing import Any, Literal

from sweeper.analysis import Interval as Interval

Verdict = Literal["stage", "bypass", "either", "undecided"]
FORMAT = "sweeper-ab-1"


@dataclass(frozen=True, slots=True)
class CarrierChange:
    """One signal. `hz` radio frequency (of the audio where the dial is not known); `snr_db` in 2.4 kHz, stage out.
    `kind`: ``steady``, ``unsteady`` (speech, keying, data), or why it was left out: ``birdie``, ``image``, ``left``,
    ``weak``, ``odd``.
    """

    hz: float
    snr_db: float
    snr_change_db: Interval | None
    kind: str

    @property
    def counts(self) -> bool:
        """Whether the answer rests on it."""
        return self.kind in ("steady", "unsteady")


@dataclass(frozen=True, slots=True)
class Switched:
    """From `at_s` on the chain stood at `path`."""

    at_s: float
    path: str


@dataclass(frozen=True, slots=True)
class Picture:
    """What a page draws, none of it in the JSON. Levels in dB of full scale; shapes (bins,).

    `bypass_db`, `stage_db`: mean spectra at the edges, each from its own noise if levels cannot be compared;
    `noise`: bins that count as noise.
    """

    hz: tuple[float, ...]
    bypass_db: tuple[float, ...]
    stage_db: tuple[float, ...]
    noise: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class ABResult:
    """Everything that was found. Uncertain numbers are intervals, or None with a reason in `flags`. `clear`: edges at
    which a signal that counts stood clear of the noise.
    """

    source: Literal["file", "now"]
    at: str | None
    hz: float | None
    edges_hz: tuple[float, float]
    seconds: float
    edges: int
    confidence: float
    worthwhile_db: float
    switched: tuple[Switched, ...]
    noise_change_db: Interval | None
    gain_db: Interval | None
    noise_rise_db: Interval | None
    snr_change_db: Interval | None
    carriers: tuple[CarrierChange, ...]
    verdict: Verdict
    flags: tuple[str, ...]
    reason: str
    watched_db: Interval | None = None
    cap_db: float | None = None
    clear: int = 0
    picture: Picture | None = field(default=None, repr=False)


def as_json(result: ABResult) -> str:
    """The result as the design fixes it: infinite ends become null, pictures stay out."""
    told: dict[str, Any] = {
        "format": FORMAT,
        "from": result.source,
        "at": result.at,
        "hz": _number(result.hz, 1),
        "edges_hz": [_number(edge, 1) for edge in result.edges_hz],
        "seconds": round(result.seconds, 3),
        "edges": result.edges,
        "confidence": result.confidence,
        "worthwhile_db": result.worthwhile_db,
        "switched": [{"at_s": round(each.at_s, 3), "path": each.path} for each in result.switched],
        "noise_change_db": _interval(result.noise_change_db),
        "gain_db": _interval(result.gain_db),
        "noise_rise_db": _interval(result.noise_rise_db),
        "snr_change_db": _interval(result.snr_change_db),
        "carriers": [
            {
                "hz": _number(carrier.hz, 1),
                "snr_db": _number(carrier.snr_db, 2),
                "snr_change_db": _interval(carrier.snr_change_db),
                "kind": carrier.kind,
            }
            for carrier in result.carriers
        ],
        "verdict": result.verdict,
        "flags": list(result.flags),
        "reason": result.reason,
    }
    return json.dumps(told, indent=2, ensure_ascii=False)


def _interval(it: Interval | None) -> dict[str, float | None] | None:
    return None if it is None else {name: _number(value, 3) for name, value in asdict(it).items()}


def _number(value: float | None, digits: int) -> float | None:
    return None if value is None or not isfinite(value) else round(value, digits)
