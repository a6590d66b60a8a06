"""Where a recording meets the comparison: marks, levels over time, spectra at the edges, the bad ones refused."""
