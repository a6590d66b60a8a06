"""A spectrum thinned for keeping: neighbouring bins averaged."""

from dataclasses import replace

from sweeper.words import Spectrum

KEPT_BINS = 1000
"""Of a tuning, on disk: nine bands every ten minutes then take some tens of megabytes a day before packing."""


def in_groups(one: Spectrum) -> Spectrum:
    """The spectrum with so many neighbouring bins averaged that `KEPT_BINS` are left; what fills no group is cut."""
    many = -(-len(one.mean) // KEPT_BINS)
    if many <= 1:
        return one
    whole = len(one.mean) // many * many
    return replace(
        one,
        start_hz=one.start_hz + (many - 1) / 2.0 * one.step_hz,
        step_hz=one.step_hz * many,
        mean=one.mean[:whole].reshape(-1, many).mean(axis=1),
        low=None,
    )
