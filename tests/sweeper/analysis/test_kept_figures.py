"""No figure of the analysis moves unseen: campaigns of every kind beside what was found in them before."""

import json
from collections.abc import Iterable

import pytest

from tests.sweeper.analysis.kept_figures import CAMPAIGNS, CHANGES, KEPT, METERS, NIGHTS, figures

pytestmark = pytest.mark.slow
QUICK = ("load and carriers", "one night", "a meter with a knee", "an attenuator")

BEFORE = json.loads(KEPT.read_text(encoding="utf-8"))


def some(names: Iterable[str]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize(
        "name", [pytest.param(each, marks=[pytest.mark.quick] if each in QUICK else []) for each in names]
    )


def hold(name: str) -> None:
    """Where figures were meant to move, ``python -m tests.sweeper.analysis.kept_figures`` keeps all anew."""
    now = figures(CAMPAIGNS[name]())
    moved = [
        f"{key}: {kept} → {now.get(key)}"
        for key, kept in BEFORE[name].items()
        if now.get(key) != pytest.approx(kept, rel=1e-5, abs=1e-6)
    ]
    assert not moved, f"{len(moved)} of {len(BEFORE[name])} figures moved: " + "; ".join(moved[:8])


@some(NIGHTS)
def test_figures_of_nights_are_what_they_were(name: str) -> None:
    hold(name)


@some(METERS)
def test_figures_by_doubtful_meters_are_what_they_were(name: str) -> None:
    hold(name)


@some(CHANGES)
def test_figures_of_changes_are_what_they_were(name: str) -> None:
    hold(name)
