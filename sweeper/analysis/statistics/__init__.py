"""Numbers only: estimates and their intervals, looks that repeat, means through a curve. Knows no station."""
