"""No figure of the analysis moves unseen: campaigns of every kind beside what was found in them before."""

import json

import pytest

from tests.sweeper.analysis.kept_figures import CAMPAIGNS, KEPT, figures

pytestmark = pytest.mark.slow
QUICK = ("load and carriers", "one night", "a meter with a knee", "an attenuator")

BEFORE = json.loads(KEPT.read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "name", [pytest.param(each, marks=[pytest.mark.quick] if each in QUICK else []) for each in CAMPAIGNS]
)
def test_figures_are_what_they_were(name: str) -> None:
    """Where one was meant to move, ``python -m tests.sweeper.analysis.kept_figures`` keeps all anew."""
    now = figures(CAMPAIGNS[name]())
    moved = [
        f"{key}: {kept} → {now.get(key)}"
        for key, kept in BEFORE[name].items()
        if now.get(key) != pytest.approx(kept, rel=1e-5, abs=1e-6)
    ]
    assert not moved, f"{len(moved)} of {len(BEFORE[name])} figures moved: " + "; ".join(moved[:8])
