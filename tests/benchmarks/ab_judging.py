"""One recording planted, written, handed to the program as a user would, and judged by what was planted."""

import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from sweeper.simulation.recordings import Planted, truth, write
from sweeper.simulation.recordings.rendering import noise_density
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE
from tests.benchmarks.ab_cases import CASES, Case

FOUND_WITHIN_S = 1.0
CLOCK_OFF = 1.002
"""A sound card and a computer that do not agree on the second."""
LOOKS = 1.2
"""From one look at a watched comparison to the next, the edges grow by this factor."""


@dataclass
class Judged:
    """What became of one recording; None where there was nothing to judge."""

    case: str
    number: int
    refused: str = ""
    verdict: str = ""
    wrong: bool = False
    truth_db: float = float("nan")
    snr_db: tuple[float, float, float] | None = None
    noise_error_db: float | None = None
    noise_covered: bool | None = None
    gain_covered: bool | None = None
    rise_covered: bool | None = None
    watched: list[bool] = field(default_factory=list)
    watched_ratio: float | None = None
    level_error_db: dict[str, float] = field(default_factory=dict)
    edges: int = 0
    edges_found: int = 0
    edges_false: int = 0
    flags: tuple[str, ...] = ()

    @property
    def half_db(self) -> float | None:
        return None if self.snr_db is None else (self.snr_db[2] - self.snr_db[1]) / 2

    @property
    def covered(self) -> bool | None:
        return None if self.snr_db is None else self.snr_db[1] <= self.truth_db <= self.snr_db[2]


def planted_of(case: Case, seed: int, number: int) -> Planted:
    row = next(n for n, each in enumerate(CASES) if each.name == case.name)
    return case.plant(np.random.default_rng([seed, row, number]), seed * 100_003 + row * 1009 + number)


def judge(name: str, seed: int, number: int, watch: bool) -> Judged:
    """Plant recording `number` of a row, let the program read it, and hold its answer against the truth."""
    from sweeper.errors import UserFacingError
    from sweeper.recordings import comparing
    from sweeper.recordings.comparing import Asked

    case = next(each for each in CASES if each.name == name)
    planted = planted_of(case, seed, number)
    true: dict[str, Any] = truth(planted)
    judged = Judged(name, number, truth_db=true["snr_change_db"], edges=len(true["switched"]) - 1)
    with tempfile.TemporaryDirectory() as folder:
        written = write(planted, Path(folder), depth=case.depth)  # type: ignore[arg-type]
        asked = Asked(files=(written.recording,), **_told(case, planted, written.marks))
        kept: list[tuple[Any, Any]] = []
        compare = comparing.compare

        def keeping(sequence: Any, terms: Any) -> Any:
            kept.append((sequence, terms))
            return compare(sequence, terms)

        comparing.compare = keeping
        try:
            result = comparing.compare_recording(asked).result
        except UserFacingError as refused:
            judged.refused = str(refused).replace(folder, "")
            return judged
        finally:
            comparing.compare = compare
        if watch and case.watched:
            _watch(judged, *kept[0], compare, result)
    _hold(judged, result, true, planted)
    return judged


def _told(case: Case, planted: Planted, marks: Path) -> dict[str, Any]:
    told: dict[str, Any] = {}
    if planted.kind == "audio":
        told = {"dial_hz": float(planted.centre_hz), "mode": "USB"}
    if case.told == "first":
        return told | {"first": "bypass"}
    if case.told == "notes":  # somebody's notes are right to the second
        lines = marks.read_text(encoding="utf-8").splitlines()
        rounded = [f"{round(float(line.split(',')[0]))},{line.split(',')[1]}" for line in lines[1:]]
        marks.write_text("\n".join([lines[0], *rounded, ""]), encoding="utf-8")
    if case.told == "clock":
        lines = marks.read_text(encoding="utf-8").splitlines()
        late = [f"{float(line.split(',')[0]) * CLOCK_OFF:.3f},{line.split(',')[1]}" for line in lines[1:]]
        marks.write_text("\n".join([lines[0], *late, ""]), encoding="utf-8")
    return told | {"marks": marks}


def _hold(judged: Judged, result: Any, true: dict[str, Any], planted: Planted) -> None:
    judged.flags, judged.verdict = tuple(result.flags), result.verdict
    change, worthwhile = true["snr_change_db"], result.worthwhile_db
    judged.wrong = {
        "stage": change <= worthwhile,
        "bypass": change >= -worthwhile,
        "either": abs(change) >= worthwhile,
        "undecided": False,
    }[result.verdict]
    if (it := result.snr_change_db) is not None:
        judged.snr_db = (it.value, it.low, it.high)
    if (it := result.noise_change_db) is not None:
        judged.noise_error_db = it.value - true["noise_change_db"]
        judged.noise_covered = it.low <= true["noise_change_db"] <= it.high
    if (it := result.gain_db) is not None:
        judged.gain_covered = it.low <= true["gain_db"] <= it.high
    if (it := result.noise_rise_db) is not None:
        judged.rise_covered = it.low <= true["noise_rise_db"] <= it.high
    seen = [mark.at_s for mark in result.switched[1:]]
    edges = [mark["at_s"] for mark in true["switched"][1:]]
    judged.edges_found = sum(any(abs(at - edge) <= FOUND_WITHIN_S for at in seen) for edge in edges)
    judged.edges_false = sum(all(abs(at - edge) > FOUND_WITHIN_S for edge in edges) for at in seen)
    picture = result.picture
    if picture is not None and planted.kind == "samples":
        keep = np.array(picture.noise)
        step = picture.hz[1] - picture.hz[0]
        for route, path, level in (
            ("bypass", ANTENNA_BYPASS, picture.bypass_db),
            ("stage", ANTENNA_STAGE, picture.stage_db),
        ):
            # A 4-term Blackman-Harris window takes in 2.0 bins of noise (Harris 1978, table 1).
            planted_level = noise_density(planted, path) * 2.004 * step
            seen_level = float(np.mean(10 ** (np.array(level)[keep] / 10)))
            judged.level_error_db[route] = 10 * float(np.log10(seen_level / planted_level))


def _watch(judged: Judged, sequence: Any, terms: Any, compare: Any, at_the_end: Any) -> None:
    """The interval that somebody who watches would have seen after ever more edges: whether it held each time."""
    from dataclasses import replace

    from sweeper.ab import NoNoise

    whole = list(sequence)
    changes = [n for n in range(1, len(whole)) if whole[n].path != whole[n - 1].path]
    terms = replace(terms, watched=True)
    count = 10.0
    looks = set()
    while count < len(changes):
        looks.add(int(count))
        count *= LOOKS
    for edges in [*sorted(looks), len(changes)]:
        end = changes[edges] if edges < len(changes) else len(whole)
        try:
            shown = compare(whole[:end], terms).snr_change_db
        except NoNoise:
            continue
        if shown is None:
            continue
        judged.watched.append(shown.low <= judged.truth_db <= shown.high)
        once = at_the_end.snr_change_db
        if edges == len(changes) and once is not None and np.isfinite(shown.high - shown.low):
            judged.watched_ratio = (shown.high - shown.low) / (once.high - once.low)
