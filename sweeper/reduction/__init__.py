"""From what is stored to what is found: the store on one side, the pure analysis on the other.

The only place where the two meet. It computes nothing itself.
"""

from sweeper.reduction.facts import facts_of
from sweeper.reduction.summaries import summaries_of

__all__ = ["facts_of", "summaries_of"]
