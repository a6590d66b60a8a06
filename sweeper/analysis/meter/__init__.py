"""What the numbers of a meter mean: its curve, its step, its scale."""
