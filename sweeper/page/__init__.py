"""The live page: what the station is doing now, how certain the answer is so far, and a few buttons."""
