"""The page of the mutants counts what was tried, with an interval that can be worked out."""

from pathlib import Path

from tests.benchmarks.mutants_page import keep

TRIED: dict[str, object] = {
    "file": "sweeper/plan/order.py", "line": 1, "source_line": "x = 1", "name": "f", "kind": "constant",
    "before": "1", "after": "2", "seen_by": "tests/test_it.py::test_it",
}  # fmt: skip
UNSEEN = TRIED | {"seen_by": ""}
ALIKE = UNSEEN | {
    "file": "sweeper/analysis/statistics/estimates.py", "name": "inverse_trigamma", "before": "20", "after": "21",
    "source_line": "for _ in range(20):",
}  # fmt: skip


def test_runs_are_counted_together_and_what_changes_nothing_is_left_out_with_its_reason(
    tmp_path: Path,
) -> None:
    """Wilson's interval of 18 in 20: 69.9 to 97.2 % (the formula, by hand)."""
    keep(tmp_path, "seed 1", [TRIED] * 9 + [UNSEEN, ALIKE])
    keep(tmp_path, "seed 2", [TRIED])
    keep(tmp_path, "seed 2", [TRIED] * 9 + [UNSEEN])  # anew
    keep(tmp_path, "every change of a list in a", [TRIED] * 5)
    page = (tmp_path / "mutants.md").read_text(encoding="utf-8")
    assert "| seed 1 | 1 | 10 | 9 |" in page and "| every change of a list in a | 1 | 5 | 5 |" in page
    assert "**18 of 20** that matter were noticed, 90 % (70 to 97 %" in page
    assert page.count("- `sweeper/plan/order.py`, f: `1` → `2`") == 2
    assert "`20` → `21`: Newton's method has ended long before" in page
