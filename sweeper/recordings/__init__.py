"""Where a recording meets the comparison: marks, levels over time, spectra at the edges, the bad ones refused."""

from sweeper.recordings.comparing import Asked, Compared, compare_recording

__all__ = ["Asked", "Compared", "compare_recording"]
