"""The whole table of bands and hours, its verdicts, and what is still open."""
