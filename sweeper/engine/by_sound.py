"""Readings of a pass from a receiver's sound: one spectrum a visit, rows when both routes of a tuning were heard.

Which bins are noise is chosen from both routes together, so no row is made before the pass is over.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import fmean

import numpy as np

from drivers.contracts import Block, SampleSource
from drivers.errors import BadReply
from sweeper.clock import Clock
from sweeper.engine.sound_tests import Sounded, of_its_meter, troubles
from sweeper.spectra.axis import Axis, axis_of
from sweeper.spectra.calm import calm_spectrum
from sweeper.spectra.gain_out import gain_out
from sweeper.spectra.lines import SAME_HZ, Known, to_read
from sweeper.spectra.quiet import with_envelope
from sweeper.spectra.rows import BEYOND_HZ, FIRST_HZ, LOWEST_HZ, Learned, NothingHeard, learn, ratios, rows
from sweeper.words import (
    ANTENNA_BYPASS,
    ANTENNA_STAGE,
    LOAD_BYPASS,
    SIDEBANDS,
    Channel,
    Labelled,
    Reading,
    Spectrum,
    Visit,
    dial_beside,
)

PART = "sound"
SEEN_HZ = 6000.0
"""Spectra go up to here: beyond the receiver's filter the card's own noise shows."""
PITCH_HZ = 600
"""Where a carrier on the dial sounds in CW, unless `tone_hz` says otherwise (common practice)."""
NOT_HELD = (
    "the gain control (not known to be off, so only carriers against the noise beside them were kept: switch it off "
    "and write agc_off: true below audio)"
)
APART_DB = 6.0
"""From this difference on, meter and sound do not see the same stage."""


@dataclass(frozen=True, slots=True)
class SoundSettings:
    """How to measure by sound. A channel's frequency is heard at `tone_hz`, for `seconds`, `delay_s` after the relays.

    `mode`: that of the receiver. `first_hz`: the lower end of the
    receiver's pass band in its sound, `filter_hz`: above it only the card is heard. `gain_held`: its gain control is
    to be off; `vouched`: by somebody's word. `known`: lines that stood in earlier passes, by band.
    """

    seconds: float
    delay_s: float
    tone_hz: int
    filter_hz: float
    gain_held: bool
    vouched: bool = False
    mode: str = "USB"
    step_hz: float = 31.25
    first_hz: float = FIRST_HZ
    known: Mapping[str, Known] = field(default_factory=dict)

    @property
    def sideband(self) -> int:
        """1 where radio frequency rises with the tone, −1 where it falls."""
        return SIDEBANDS[self.mode.upper()]

    def dial_hz(self, hz: int) -> int:
        """Where the dial is set to hear a radio frequency at `tone_hz`; in CW receivers show it themselves."""
        return dial_beside(hz, self.mode, self.tone_hz)

    def lines_hz(self, channel: Channel) -> tuple[int, ...]:
        """The known lines that are read in a channel's pass band, none of them beside a carrier that it names."""
        zero_hz = channel.hz - self.sideband * self.tone_hz
        ends = sorted(
            zero_hz + self.sideband * round(end) for end in (self.first_hz, self.filter_hz - BEYOND_HZ)
        )
        found = to_read(self.known.get(channel.band, {}), (ends[0], ends[1]))
        beside = channel.purpose == "carrier"
        return tuple(hz for hz in found if not beside or abs(hz - channel.hz) > SAME_HZ)


class Listening:
    """The sound of one pass. Holds a spectrum a visit, and what the receiver's own meter showed beside it.

    Where the receiver's gain control is not known to be off, sound tells ratios and no levels: `by_ratio`. A visit then
    has several spectra, one for each piece.
    """

    def __init__(self, source: SampleSource, settings: SoundSettings, clock: Clock) -> None:
        self._source, self._settings, self._clock = source, settings, clock
        self.heard: dict[Channel, list[Labelled]] = {}
        self._witness: dict[tuple[Channel, str], list[float]] = {}
        self.unheard: tuple[str, ...] = ()
        self.sounded: list[Sounded] = []
        self.learned: dict[Channel, Learned] = {}
        self.by_ratio = not settings.gain_held

    def allowed(self, unknown: Sequence[str]) -> tuple[str, ...]:
        """What of the sound's way in could not be known."""
        self.by_ratio = not self._settings.gain_held or ("AGC" in unknown and not self._settings.vouched)
        return self._source.unknown()

    def hear(self, visit: Visit) -> None:
        """One visit: what is captured from now on, less the sound's own delay."""
        settings = self._settings
        block = self._source.take(settings.seconds, self._clock.monotonic() + settings.delay_s)
        until = self._clock.now().timestamp()
        if block.unplaced:
            raise BadReply(PART, "samples went missing, nobody knows where.", "Is this computer too busy?")
        self.sounded.append(_sounded(visit, block))
        zero_hz = visit.channel.hz - settings.sideband * settings.tone_hz
        axis = axis_of(
            block.rate_hz,
            real=True,
            centre_hz=zero_hz,
            inverted=settings.sideband < 0,
            band_hz=(0.0, min(SEEN_HZ, 0.45 * block.rate_hz)),
            step_hz=settings.step_hz,
        )
        from_s = until - settings.seconds
        self.heard.setdefault(visit.channel, []).extend(
            Labelled(from_s + first_s, from_s + last_s, visit.path, zero_hz, one)
            for first_s, last_s, one in self._spectra(visit, _in_one(block), axis)
        )

    def _spectra(self, visit: Visit, block: Block, axis: Axis) -> Iterator[tuple[float, float, Spectrum]]:
        """With seconds from the block's beginning: one of it all; by ratio those of its pieces."""
        band_hz = (LOWEST_HZ, self._settings.filter_hz)
        if self.by_ratio:
            yield from gain_out(block, axis, band_hz)
            return
        one = calm_spectrum(block, axis, band_hz)
        if visit.path in (ANTENNA_BYPASS, LOAD_BYPASS):
            one = with_envelope(one, block, axis)
        yield 0.0, self._settings.seconds, one

    def shown(self, visit: Visit, witness: float | None) -> None:
        """What the receiver's own meter showed meanwhile; None where it has none."""
        if witness is not None:
            self._witness.setdefault((visit.channel, str(visit.path)), []).append(witness)

    def latest(self, visit: Visit) -> Labelled:
        """The last spectrum of the visit that was just heard."""
        return self.heard[visit.channel][-1]

    def readings(self, pass_number: int) -> tuple[Reading, ...]:
        """The rows of all visits, in order of time. A tuning without noise gives none, and is named in `unheard`."""
        found: list[Reading] = []
        for channel, sequence in self.heard.items():
            try:
                learned = self._learn(channel, pass_number, sequence)
                self.learned[channel] = learned
            except NothingHeard as why:
                self.unheard += (f"noise on {channel.band}, {channel.hz / 1e3:g} kHz ({why})",)
                continue
            found += self._rows(channel, sequence, learned)
        return tuple(sorted(found, key=lambda reading: reading.time))

    def _learn(self, channel: Channel, pass_number: int, sequence: Sequence[Labelled]) -> Learned:
        settings = self._settings
        lines_hz = settings.lines_hz(channel)
        return learn(channel, pass_number, sequence, settings.filter_hz, settings.first_hz, lines_hz)

    def stood(self) -> Mapping[str, Sequence[int]]:
        """Frequencies of the lines that nobody named and that stood through the pass, in hertz, by band."""
        found: dict[str, list[int]] = {}
        for channel, learned in self.learned.items() if not self.by_ratio else ():
            found.setdefault(channel.band, []).extend(line.channel.hz for line in learned.stood)
        return found

    def _rows(self, channel: Channel, sequence: Sequence[Labelled], learned: Learned) -> list[Reading]:
        if self.by_ratio:
            hz = channel.hz if channel.purpose == "carrier" else 0
            return [row for one in sequence for row in ratios(one, learned, hz)]
        return [row for one in sequence for row in rows(one, learned)]

    def spectra(self) -> list[tuple[str, Labelled]]:
        """All that was heard, in order of time, each with the name of its band; nothing where it holds no levels."""
        if self.by_ratio:
            return []
        found = [(channel.band, one) for channel, sequence in self.heard.items() for one in sequence]
        return sorted(found, key=lambda each: each[1].time)

    def noise_db(self, channel: Channel) -> float | None:
        """Noise of a tuning that was heard on one route only, of full scale in a cell; None where it cannot be told."""
        found = self._by_themselves(channel, self.heard.get(channel, []), 0)
        powers = [10 ** (row.reading / 10) for row in found if row.channel.purpose == "noise"]
        return 10 * math.log10(fmean(powers)) if powers else None

    def last(self, visit: Visit, pass_number: int) -> list[Reading]:
        """The rows of the last spectrum of a visit as far as it tells alone, for whoever looks on."""
        return self._by_themselves(visit.channel, self.heard[visit.channel][-1:], pass_number)

    def _by_themselves(
        self, channel: Channel, sequence: Sequence[Labelled], pass_number: int
    ) -> list[Reading]:
        """Rows of spectra of one route, as if the other had sounded the same; none where no noise can be told."""
        both = [replace(one, path=path) for one in sequence for path in (ANTENNA_BYPASS, ANTENNA_STAGE)]
        try:
            learned = self._learn(channel, pass_number, both)
        except NothingHeard:
            return []
        return self._rows(channel, sequence, learned)

    def troubles(self, readings: Sequence[Reading]) -> tuple[str, ...]:
        """What the pass itself shows to be wrong with its sound, and what to turn."""
        return (
            *((NOT_HELD,) if self.by_ratio else ()),
            *self.unheard,
            *troubles(self.sounded, self.heard, self.learned, readings),
            *of_its_meter(self._witness, readings, APART_DB),
        )


def _sounded(visit: Visit, block: Block) -> Sounded:
    samples = block.samples.real.astype(np.float64)
    return Sounded(
        visit, float(np.abs(samples).max()), float(samples.mean()), float(np.sqrt(np.mean(samples**2)))
    )


def _in_one(block: Block) -> Block:
    """A gap before the first sample parts it from an earlier block only."""
    return replace(block, gaps=tuple(gap for gap in block.gaps if gap > 0))
