"""Every sentence that says what a stage does or is worth, held to the condition under which it may be said.

The source is read for such sentences: one that appears anywhere else fails here until its condition is tested below.
"""

import ast
import re
from datetime import date
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

import sweeper
from sweeper.analysis.band.cells import Cell
from sweeper.analysis.band.switching_threshold import CURVE_RISES_DB, SwitchingThreshold, on_every_scale
from sweeper.analysis.findings.advice import advice, midnight
from sweeper.analysis.findings.claims import (
    COSTS,
    HELPS,
    SETTLED,
    TROUBLES,
    outlook_words,
    reason_of,
    rule_by_eye,
)
from sweeper.analysis.results import PeriodFinding, Verdict
from sweeper.analysis.states import FAULTS, OF_VERDICT, STATES, State, words_of
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.analysis.statistics.group_sequential import last_look
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.verdict.judge import WITHHOLDING, judge

CLAIM = re.compile(
    r"never helps|leave (it|the stage) out|\bworth\b|no stage can|best of stages|\bcosts?\b|improves|\bbrings?\b"
    r"|loses|makes no difference|no difference that matters|no meter reading calls|helps\b",
    re.IGNORECASE,
)
TESTED = {
    ("analysis/findings/claims.py", function)
    for function in ("", "reason_of", "of_hours", "rule_by_eye", "_at_most")
}
"""The one file where claims are made, from intervals that are valid at every look; each function is tested below."""
SAID_OF_VERDICTS = {
    ("analysis/states.py", ""): "names of the states, shown beside one that was given, and what they mean",
    ("report/pictures/stations.py", "medians"): "the legend of intervals that the table of stations has",
    ("report/pictures/noise.py", "_outside"): "the legend of levels",
    ("analysis/physics/external_noise.py", "standing"): "noise beside P.372, nothing of a stage",
    ("analysis/band/overload.py", "_overload"): "what to do about overload, no claim of worth",
    (
        "analysis/band/overload.py",
        "with_products",
    ): "what to do about products of intermodulation, no claim of worth",
    ("report/answer.py", ""): "the outlook below in fewer words, for a phone",
    ("report/pictures/ceiling.py", "ceiling"): "the legend of the curve",
    ("report/pictures/ceiling.py", "_panel"): "the crossing of the threshold below, for who cannot see it",
    (
        "report/pictures/ceiling.py",
        "_title",
    ): "crossings and curves with their intervals, of the threshold below",
    ("analysis/band/chain_faults.py", "_dead"): "a fault of the chain and its measured gain, nothing of S/N",
    (
        "analysis/verdict/expectation.py",
        "_expectation",
    ): "what a forecast assumes of the antenna, before any night",
    ("analysis/band/overload.py", "_compression"): "what to do about compression, no claim of worth",
    ("analysis/change/season.py", "by_season"): "figures of seasons with intervals from three nights on",
}
"""Where such words stand beside what was decided elsewhere, with the reason."""
HERE = Path(sweeper.__file__).parent
CONFIDENCE = 0.95


def claims_in_source() -> set[tuple[str, str]]:
    """File and function of every sentence with a claim in it, docstrings left out; spectra have their own tests."""
    found = set()
    for part in ("analysis", "report", "page", "cli"):
        for file in sorted((HERE / part).rglob("*.py")):
            name = file.relative_to(HERE).as_posix()
            if "ab" in file.stem.split("_") or part == "cli":
                continue
            tree = ast.parse(file.read_text(encoding="utf-8"))
            for function, text in _strings(tree):
                if CLAIM.search(text) and " " in text:
                    found.add((name, function))
    return found


def _strings(tree: ast.Module) -> list[tuple[str, str]]:
    """Each string that is no docstring, with the innermost function it stands in."""
    found = []

    def walk(node: ast.AST, function: str) -> None:
        if isinstance(node, ast.FunctionDef):
            function = node.name
        body = getattr(node, "body", None)
        for child in ast.iter_child_nodes(node):
            if (
                isinstance(child, ast.Expr)
                and isinstance(child.value, ast.Constant)
                and isinstance(body, list)
            ):
                continue
            if isinstance(child, ast.Constant) and isinstance(child.value, str):
                found.append((function, child.value))
            walk(child, function)

    walk(tree, "")
    return found


def test_no_sentence_claims_anything_outside_the_places_tested_here() -> None:
    assert claims_in_source() - TESTED - set(SAID_OF_VERDICTS) == set()
    assert claims_in_source() >= TESTED


def cell(value: float, se: float, nights: int, rise: float | None = None) -> Cell:
    change = Estimate(value, se, max(nights - 1.0, 1.0))
    limits = (None, None) if rise is None else (Estimate(rise, 0.05, 20.0), Estimate(-rise, 0.05, 20.0))
    return Cell("40 m", 20, nights, last_look(nights), 4 * nights, change, change, None, *limits, "", (), 1.0)


VALUES = {
    "value": st.floats(-8.0, 8.0),
    "se": st.floats(0.05, 5.0),
    "nights": st.integers(3, 20),
    "trouble": st.sampled_from(["", *sorted(WITHHOLDING)]),
    "rise": st.none() | st.floats(0.05, 6.0),
}


@given(**VALUES)
def test_what_is_said_of_an_hour_holds_over_its_interval(
    value: float, se: float, nights: int, trouble: str, rise: float | None
) -> None:
    asked = cell(value, se, nights, rise)
    (judged,) = judge([asked], 1.0, CONFIDENCE, [{trouble} if trouble else ()])
    said = reason_of(asked, judged, 1.0)
    period = PeriodFinding(
        20, 4 * nights, nights, judged.snr_change_db, None, None, judged.verdict,
        tuple({judged.withheld, "withheld"} if judged.withheld else ()), said,
    )  # fmt: skip
    told = said + " " + advice([period], "UTC", midnight(date(2026, 1, 10)))
    span = judged.snr_change_db
    if trouble:
        plain = told.lower().replace(TROUBLES[trouble].lower(), "").replace(FAULTS[trouble], "")
        assert not CLAIM.search(plain), told
        assert not re.search(r"stage (in|out)|no difference", plain, re.IGNORECASE), told
    if re.search(r"improves|stage in .*worth", told, re.IGNORECASE):
        assert span is not None and span.low > 1.0
    if re.search(r"costs|[^:] stage out", told, re.IGNORECASE):
        assert span is not None and span.high < -1.0
    if re.search(r"no difference", told, re.IGNORECASE):
        assert span is not None and span.low >= -1.0 and span.high <= 1.0
    if judged.verdict == "undecided":
        assert not CLAIM.search(told.replace(TROUBLES.get(trouble, "-"), "")), told
        assert not re.search(r"[.] stage (in|out)|no difference", told, re.IGNORECASE), told


@given(low=st.floats(-20.0, 20.0), width=st.floats(0.0, 20.0), worthwhile_db=st.floats(0.5, 3.0))
def test_never_and_at_most_are_said_of_the_upper_end(low: float, width: float, worthwhile_db: float) -> None:
    best = Interval(low + width / 2, low, low + width)
    threshold = SwitchingThreshold(CURVE_RISES_DB, CURVE_RISES_DB, best, None, None)
    found = on_every_scale(threshold, [threshold])
    assert found is not None
    said = rule_by_eye(found, "dBm", worthwhile_db)
    assert ("never helps" in said) == (best.high < 0.0)
    assert ("no meter reading calls for it" in said) == (0.0 <= best.high < worthwhile_db)
    assert ("Not settled" in said) == (best.high >= worthwhile_db)


@given(low=st.floats(-9.0, 9.0), width=st.floats(0.0, 9.0), settled=st.booleans())
def test_what_is_said_of_nights_to_come_holds_over_their_interval(
    low: float, width: float, settled: bool
) -> None:
    span = Interval(low + width / 2, low, low + width)
    for state in get_args(State):
        said = outlook_words(state, span, settled, 1.0)
        if said == HELPS:
            assert span.low > 0
        elif said == COSTS:
            assert span.high < 0
        elif said == SETTLED:
            assert settled
            assert {"in": low > 1, "out": low + width < -1, "same": low > -1 and low + width < 1}[state]
        else:
            assert said == "not settled yet"
    assert outlook_words("in", None, True, 1.0) == ""


@pytest.mark.parametrize(("low", "said"), [(0.04, "not settled yet"), (0.06, HELPS)])
def test_an_end_that_is_shown_as_nothing_helps_nobody(low: float, said: str) -> None:
    assert outlook_words("in", Interval(1.0, low, 2.0), False, 1.0) == said
    mirrored = said if said != HELPS else COSTS
    assert outlook_words("out", Interval(-1.0, -2.0, -low), False, 1.0) == mirrored


def test_between_looks_it_is_said_of_how_many_nights_an_answer_is() -> None:
    for nights, said in (
        (14, "over 14 nights"),
        (19, "over the first 14 of 19 nights"),
        (2, "on the 2 nights"),
    ):
        asked = cell(5.0, 0.1, nights)
        (judged,) = judge([asked], 1.0, CONFIDENCE, [()])
        assert said in reason_of(asked, judged, 1.0)


def test_every_verdict_that_withholds_has_its_words() -> None:
    assert set(TROUBLES) == set(FAULTS) == set(WITHHOLDING)


def test_every_verdict_of_the_fixed_format_has_its_state_and_every_state_its_words() -> None:
    assert set(OF_VERDICT) == set(get_args(Verdict))
    assert set(STATES) == set(get_args(State)) == {*OF_VERDICT.values(), "fault"}
    assert [each.words for each in STATES.values()] == [
        "stage in", "stage out", "no difference", "not settled yet", "no answer",
    ]  # fmt: skip
    assert all(words.startswith(("overload:", "no answer:")) for words in FAULTS.values())
    assert words_of("undecided", ("overload", "withheld")) == "overload: stage out"
    assert words_of("undecided", ("overload",)) == "not settled yet"
