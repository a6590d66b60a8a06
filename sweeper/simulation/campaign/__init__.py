"""Many nights of readings drawn at once, without wires, with their truth: for the analysis to be measured against."""
