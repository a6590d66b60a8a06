"""What must fit together in a band that is measured between its edges: each mistake has its sentence."""

from collections.abc import Iterator
from typing import Any

from sweeper.station.lines import Place

Finding = tuple[Place, str, str]


def edges(place: Place, band: Any, receiver: Any) -> Iterator[Finding]:
    """A band has channels, or edges where its receiver gives spectra of samples; never both."""
    spectrum = getattr(receiver, "spectrum", None)
    if band.edges_hz is None:
        for key in ("noise_edges_hz", "carriers_hz"):
            if getattr(band, key):
                yield (*place, key), "these belong to edges_hz.", "Add edges_hz, or name channels for them."
        if not band.channels:
            yield (*place, "channels"), "this key is missing.", "A list of channels, at least one for: noise."
        elif spectrum is not None:
            yield (
                (*place, "channels"),
                "with a spectrum a band is measured between its edges.",
                "Write edges_hz: [lowest, highest] in place of channels, or leave spectrum out.",
            )
        return
    lowest, highest = band.edges_hz
    if band.channels:
        yield (*place, "edges_hz"), "the band has channels as well.", "Leave one of the two out."
    for hz in band.carriers_hz or ():
        if not lowest < hz < highest:
            yield (*place, "carriers_hz"), f"{hz} Hz is outside the band.", "Move it, or edges_hz."
    for key, edges_hz in (
        ("edges_hz", band.edges_hz),
        *(("noise_edges_hz", each) for each in band.noise_edges_hz or ()),
    ):
        yield from _between((*place, key), edges_hz, receiver)
    if receiver is not None and spectrum is None:
        yield (
            (*place, "edges_hz"),
            "what is between edges is seen in samples only.",
            "Add spectrum: {seconds: 0.5} to a receiver of samples (driver: soapy or iq-tcp), or name channels.",
        )


def _between(place: Place, edges_hz: tuple[int, int], receiver: Any) -> Iterator[Finding]:
    """Whether edges are the right way round, wide enough, and within the receiver's range."""
    lowest, highest = edges_hz
    if lowest >= highest:
        yield place, "the band ends below where it begins.", "Write [lowest, highest] in hertz."
    elif highest - lowest < 10_000:
        yield place, "that is too narrow to find quiet places in.", "Give it 10 kHz or more."
    limits_hz = receiver.range_hz if receiver is not None else None
    if limits_hz and not (limits_hz[0] <= lowest and highest <= limits_hz[1]):
        yield (
            place,
            f"they reach beyond the receiver's range, {limits_hz[0]} to {limits_hz[1]} Hz.",
            "Move them, or mend receiver.range_hz.",
        )
