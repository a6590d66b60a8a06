"""Sources: kinds of noise that pass after pass shows again, followed through nights and over bands.

What one pass shows may be chance, a station that stood there just then, or fading. A comb is followed by its spacing,
which drifts with load and temperature; a hump by its two edges and a birdie by its place, which stand still.
Mains-synchronous noise of several devices looks alike and is one source.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from sweeper.noise.seen import Found, Heard, Kind

FEWEST_PASSES = 3
"""Fewer may be chance."""
CLOSE_PASSES = 5
"""Among so many that heard its band one after another a hump is seen that often: noise between its edges stays for a
while, and stations side by side that fade alike do not."""
DRIFT = 0.02
"""A spacing may have moved by this share since it was last seen (warming up; common practice: a few per cent)."""
EDGE_HZ = 9_000.0
"""Edges are told to a few blocks of bins; within so much they are the same."""
LINE_HZ = 150.0
"""Receivers are tuned to a step of some hertz, and drift."""


@dataclass
class Source:
    """One kind of noise at one place (`bands`): what showed it, by pass, in order of time."""

    kind: Kind
    seen: list[tuple[Heard, Found]] = field(default_factory=list)

    @property
    def bands(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(heard.band for heard, _ in self.seen))

    @property
    def passes(self) -> frozenset[int]:
        return frozenset(heard.pass_number for heard, _ in self.seen)

    @property
    def last(self) -> Found:
        return self.seen[-1][1]

    @property
    def spacing_hz(self) -> tuple[float, float]:
        """The lowest and the highest spacing that was seen; of mains the frequency; 0 for the rest."""
        every = [found.every_hz for _, found in self.seen]
        return min(every), max(every)

    @property
    def on_load(self) -> bool:
        """Whether it was mostly there on the load, too: then it comes from the receiver's side of the relay."""
        return sum(found.on_load for _, found in self.seen) * 2 > len(self.seen)

    @property
    def name(self) -> str:
        """What a person calls it."""
        if self.kind == "mains":
            return "mains-synchronous noise"
        if self.kind == "comb":
            return f"comb every {sum(self.spacing_hz) / 2e3:.3g} kHz"
        found = self.last
        if self.kind == "hump":
            return f"hump {found.low_hz / 1e3:.0f}–{found.high_hz / 1e3:.0f} kHz"
        return f"birdie at {found.low_hz / 1e3:.1f} kHz"


def sources(heard: Iterable[Heard]) -> list[Source]:
    """The sources that at least `FEWEST_PASSES` passes show, in order of kind and place."""
    tracks: list[Source] = []
    passes: dict[str, dict[int, int]] = {}
    for one in sorted(heard, key=lambda each: (each.time, each.start_hz)):
        of_band = passes.setdefault(one.band, {})
        of_band.setdefault(one.pass_number, len(of_band))
        for found, track in _matched(tracks, one):
            if track is None:
                track = Source(found.kind)
                tracks.append(track)
            track.seen.append((one, found))
    kept = [track for track in tracks if _seen_enough(track, passes)]
    order = ("mains", "comb", "hump", "birdie")
    return sorted(kept, key=lambda each: (order.index(each.kind), each.last.every_hz, each.last.low_hz))


def _seen_enough(track: Source, passes: Mapping[str, Mapping[int, int]]) -> bool:
    """`passes`: of each band the passes that heard it, counted."""
    if track.kind != "hump":
        return len(track.passes) >= FEWEST_PASSES
    of_band = passes[track.seen[0][0].band]
    nth = sorted(of_band[each] for each in track.passes)
    return any(
        last - first < CLOSE_PASSES for first, last in zip(nth, nth[FEWEST_PASSES - 1 :], strict=False)
    )


def belongs(source: Source, one: Heard, found: Found) -> bool:
    """Whether a find of another pass is of this source."""
    return _off(source, one, found) is not None


def _matched(tracks: Sequence[Source], one: Heard) -> list[tuple[Found, Source | None]]:
    """Each find of a tuning with the track that it goes on, the nearest pairs first; a track goes on with one only."""
    pairs = [
        (off, nth, place)
        for nth, found in enumerate(one.found)
        for place, track in enumerate(tracks)
        if (off := _off(track, one, found)) is not None
    ]
    chosen: dict[int, int] = {}
    for _, nth, place in sorted(pairs):
        if nth not in chosen and place not in chosen.values():
            chosen[nth] = place
    return [(found, tracks[chosen[nth]] if nth in chosen else None) for nth, found in enumerate(one.found)]


def _off(track: Source, one: Heard, found: Found) -> float | None:
    """How far a find is from a track, 0 to 1; None where it is none of it."""
    if track.kind != found.kind:
        return None
    last = track.last
    if found.kind == "mains":
        return 0.0
    if found.kind == "comb":
        ratio = found.every_hz / last.every_hz
        whole = max(round(max(ratio, 1 / ratio)), 1)  # every other line hidden: twice the spacing
        off = abs(max(ratio, 1 / ratio) / whole - 1.0) / DRIFT
        return off + (whole - 1) if whole <= 2 and off < 1.0 else None
    reach = EDGE_HZ if found.kind == "hump" else LINE_HZ
    off = max(abs(found.low_hz - last.low_hz), abs(found.high_hz - last.high_hz)) / reach
    return off if track.seen[-1][0].band == one.band and off < 1.0 else None
