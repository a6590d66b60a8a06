"""The live page: what the station is doing now, how tonight's intervals close in, and a few buttons."""
