"""One band over many nights: gain, faults of the chain, noise figures, and the S/N change of each hour."""
