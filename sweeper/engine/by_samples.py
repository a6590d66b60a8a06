"""Readings of a pass from samples of a band: one spectrum a visit, rows when both routes of a tuning were seen."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from drivers.contracts import Block, SampleSource
from drivers.errors import BadReply
from drivers.samples.full_scale import hardly_moves
from drivers.waiting import bounded
from sweeper.clock import Clock
from sweeper.spectra.axis import axis_of
from sweeper.spectra.quiet import with_envelope
from sweeper.spectra.rows import NothingHeard, rows
from sweeper.spectra.tuning import Asked, Edges, learn_tuning
from sweeper.spectra.welch import spectrum, without_steps
from sweeper.words import ANTENNA_BYPASS, LOAD_BYPASS, Channel, Labelled, Reading, Visit

PART = "receiver"
FINE_STEPS = 12.0
"""Power of the samples, over that of the converter's steps alone, that a whole step rms has: with less, a true step of
1 dB reads up to 0.3 dB short."""


@dataclass(frozen=True, slots=True)
class SampledSettings:
    """How to measure by samples: for so long, in bins of `step_hz`.

    `edges_hz`: what of each tuning is looked at; `noise_hz`: where in it noise is read; `lines_hz`: the carriers that
    are read. `shift_hz`: how far beside a tuning's middle the samples are centred in this pass, so that the
    converter's line does not hide the same signal for ever.
    """

    seconds: float
    step_hz: float
    edges_hz: Mapping[Channel, Edges]
    noise_hz: Mapping[Channel, tuple[Edges, ...]]
    lines_hz: Mapping[Channel, tuple[int, ...]]
    shift_hz: int = 0


class Sampling:
    """The samples of one pass. Holds a spectrum a visit."""

    def __init__(self, source: SampleSource, settings: SampledSettings, clock: Clock) -> None:
        self._source, self._settings, self._clock = source, settings, clock
        self.seen: dict[Channel, list[Labelled]] = {}
        self._coarse: set[str] = set()
        self._untold: tuple[str, ...] = ()
        self._stood: dict[str, tuple[int, ...]] = {}

    def allowed(self, unknown: Sequence[str]) -> tuple[str, ...]:
        """What moves the level and could not be known, beyond what the receiver has told already."""
        with bounded(clock=self._clock):
            untold = self._source.unknown()
        return tuple(each for each in untold if each not in unknown)

    def hear(self, visit: Visit) -> None:
        """One visit: what is captured from now on. `BadReply` where no level can be told from it."""
        settings, centre_hz = self._settings, visit.channel.hz + self._settings.shift_hz
        with bounded(clock=self._clock):
            block = self._source.take(settings.seconds, self._clock.monotonic())
        until = self._clock.now().timestamp()
        self._check(visit, block)
        low_hz, high_hz = settings.edges_hz[visit.channel]
        axis = axis_of(
            block.rate_hz,
            real=False,
            centre_hz=float(centre_hz),
            band_hz=(float(low_hz - centre_hz), float(high_hz - centre_hz)),
            step_hz=settings.step_hz,
        )
        inside = replace(block, gaps=tuple(gap for gap in block.gaps if gap > 0))
        one = without_steps(spectrum([inside], axis), block.step_noise, block.rate_hz)
        if visit.path in (ANTENNA_BYPASS, LOAD_BYPASS):
            one = with_envelope(one, inside, axis)
        labelled = Labelled(until - settings.seconds, until, visit.path, float(centre_hz), one)
        self.seen.setdefault(visit.channel, []).append(labelled)

    def shown(self, visit: Visit, witness: float | None) -> None:
        """A receiver of samples has no meter beside them."""

    def latest(self, visit: Visit) -> Labelled:
        """The spectrum of the visit that was just heard."""
        return self.seen[visit.channel][-1]

    def last(self, visit: Visit, pass_number: int) -> list[Reading]:
        """Nothing yet: which bins are noise is known when both routes were seen."""
        return []

    def readings(self, pass_number: int) -> tuple[Reading, ...]:
        """The rows of all visits, in order of time. A tuning without a quiet place gives none, and is named."""
        found: list[Reading] = []
        settings = self._settings
        for channel, sequence in self.seen.items():
            asked = Asked(channel.band, settings.noise_hz[channel], settings.lines_hz.get(channel, ()))
            try:
                learned, stood = learn_tuning(asked, pass_number, sequence)
            except NothingHeard as why:
                self._untold += (f"noise on {channel.band}, {channel.hz / 1e3:g} kHz ({why})",)
                continue
            self._stood[channel.band] = (*self._stood.get(channel.band, ()), *stood)
            for one in sequence:
                found += rows(one, learned)
        return tuple(sorted(found, key=lambda reading: reading.time))

    def stood(self) -> Mapping[str, Sequence[int]]:
        """Frequencies of the lines that stood through the pass, in hertz, by band; known after `readings`."""
        return self._stood

    def spectra(self) -> list[tuple[str, Labelled]]:
        """Each spectrum with its band."""
        return [(channel.band, one) for channel, sequence in self.seen.items() for one in sequence]

    def troubles(self, readings: Sequence[Reading]) -> tuple[str, ...]:
        """What the pass itself shows to be wrong with its samples, and what to turn."""
        coarse = (
            f"the gain on {band} (its samples move by less than a step: raise gain_db)"
            for band in sorted(self._coarse)
        )
        return (*self._untold, *coarse)

    def _check(self, visit: Visit, block: Block) -> None:
        if block.unplaced:
            raise BadReply(PART, "samples went missing, nobody knows where.", "Lower sample_rate_hz.")
        moving = block.moving_power()
        if not np.isfinite(moving) or moving <= 0.0:
            raise BadReply(PART, "its samples are all alike.", "Is the antenna port the right one?")
        if block.pauses():
            raise BadReply(PART, "its samples stood still for a while.", "Does its receiver hang?")
        if hardly_moves(moving, block.step_noise):
            raise BadReply(
                PART,
                f"on {visit.channel.band}, {visit.path}, its samples move by less than half a step.",
                "Raise gain_db.",
            )
        if moving - block.step_noise < FINE_STEPS * block.step_noise:
            self._coarse.add(visit.channel.band)
