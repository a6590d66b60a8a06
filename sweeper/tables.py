"""polars, loaded when the first table is made: a daemon that waits, and a command that talks to it, makes none.

Say ``from sweeper.tables import pl`` where readings and summaries pass through a process that may never see any; the
rooms of the analysis, which are loaded late themselves, import polars as everybody does.
"""

from typing import TYPE_CHECKING

__all__ = ["pl"]

if TYPE_CHECKING:
    import polars as pl
else:

    class _Polars:
        def __getattr__(self, name: str) -> object:
            import polars

            return getattr(polars, name)

    pl = _Polars()
