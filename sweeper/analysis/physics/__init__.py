"""Closed formulas of noise and gain, each with its source. No data of a station, no statistics."""
