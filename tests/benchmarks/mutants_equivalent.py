"""Mutants that were looked at by hand and change nothing that matters, each with the reason.

By file: in which name (``*`` for any), what the expression before and after contains, and why.
"""

EQUIVALENT: dict[str, tuple[tuple[str, str, str, str], ...]] = {}
