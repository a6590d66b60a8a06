"""What makes the noise: its kinds in a pass, followed through nights, with their rhythm, cost and change. Pure.

Mains-synchronous noise, combs of lines, humps with steep edges and lines that stay on the load, told from the labelled
spectra of a pass (`in_pass`), followed as sources (`sources`), and what they come to: `rhythm`, `split`, `change`.
"""
