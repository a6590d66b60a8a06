"""From what is stored to what is found: the store on one side, the pure analysis on the other.

The only place where the two meet. It computes nothing itself.
"""

from sweeper.reduction.facts import facts_of
from sweeper.reduction.kept import by_month, read_kept
from sweeper.reduction.reduced import Reduced, compare_fix, reduce_store
from sweeper.reduction.summaries import summaries_of

__all__ = ["Reduced", "by_month", "compare_fix", "facts_of", "read_kept", "reduce_store", "summaries_of"]
