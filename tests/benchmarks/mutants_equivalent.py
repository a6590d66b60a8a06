"""Mutants that were looked at by hand and change nothing that matters, each with the reason.

By file: in which name (``*`` for any), what the expression before and after contains, and why.
"""

EQUIVALENT: dict[str, tuple[tuple[str, str, str, str], ...]] = {
    "sweeper/analysis/verdict/judge.py": (
        (
            "_by_physics", "cell.ceiling is None or cell.lower_bound is None", "",
            "asked only where `_agrees_with_physics` has found both; it is there for the types",
        ),
    ),
}  # fmt: skip
