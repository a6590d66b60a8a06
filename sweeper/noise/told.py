"""All that a station's passes tell of its noise, put together: sources with rhythm and cost, and each band's split."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from sweeper.noise.change import Change
from sweeper.noise.rhythm import Rhythm, rhythm
from sweeper.noise.seen import Heard
from sweeper.noise.shown import Shown
from sweeper.noise.sources import Source, sources
from sweeper.noise.split import Split, split, won_db

WHAT_IT_MAY_BE = {
    "mains": "an arc, a dimmer or a rectifier, at home or on the line",
    "comb": "a switched supply, a lamp, a display or a charge controller",
    "hump": "communications over power lines, or another broad-band modem",
    "birdie": "the receiver's own",
}
"""By kind (common practice); none of it is certain."""


@dataclass(frozen=True, slots=True)
class Told:
    """A source. `costs_db`: by how much it lifts the noise of each band, the highest first, averaged over the band's
    tunings and over the passes that show it there; so much S/N could be won at most without it. Empty for lines of no
    width, and for the receiver's own. `over_db`: height of its lines.
    """

    source: Source
    rhythm: Rhythm
    costs_db: Mapping[str, float]
    over_db: float | None

    @property
    def cost_db(self) -> float | None:
        """On the band where it costs most."""
        return max(self.costs_db.values(), default=None)

    @property
    def may_be(self) -> str:
        if self.source.on_load:
            return "the receiver's own, or what gets past the relay: it is there on the load as well"
        return WHAT_IT_MAY_BE[self.source.kind]


@dataclass(frozen=True, slots=True)
class NoiseTold:
    """Of one station; `passes` that told anything of noise. `shown`: what of it stored spectra show.
    `changed`: what a fix changed, where one is asked about.
    """

    passes: int
    sources: tuple[Told, ...]
    splits: tuple[Split, ...]
    heard: tuple[Heard, ...]
    shown: tuple[Shown, ...] = ()
    changed: tuple[Change, ...] = ()


def told_of(
    heard: Sequence[Heard],
    zone: tzinfo,
    sun_is_up: Callable[[datetime], bool] | None = None,
    notes: Sequence[tuple[datetime, str]] = (),
    confidence: float = 0.95,
    longitude_deg: float = 0.0,
) -> NoiseTold:
    """Everything there is to say, the costliest source first."""
    found = [
        Told(each, rhythm(each, heard, zone, sun_is_up, notes), _costs_db(each), _over_db(each))
        for each in sources(heard)
    ]
    found.sort(key=lambda each: -(each.cost_db or 0.0))
    return NoiseTold(
        len({each.pass_number for each in heard}),
        tuple(found),
        tuple(split(heard, confidence, longitude_deg)),
        tuple(heard),
    )


def _costs_db(source: Source) -> dict[str, float]:
    if source.kind == "birdie" or source.on_load:
        return {}
    shares: dict[str, list[float]] = {}
    for heard, found in source.seen:
        shares.setdefault(heard.band, []).append(found.share)
    costs = {band: won_db(sum(each) / len(each)) for band, each in shares.items()}
    return dict(sorted(costs.items(), key=lambda each: -each[1]))


def _over_db(source: Source) -> float | None:
    if source.kind == "mains":
        return None
    return sum(found.over_db for _, found in source.seen) / len(source.seen)
