"""Spectra: from samples to powers by frequency, noise bins and signals. Pure: no files, no clock, no rig."""
