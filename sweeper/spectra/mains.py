"""How much of the noise comes and goes with the mains: arcs, dimmers and rectifiers do, the sky and a resistor do not.

From the power of the noise over time p(t) (`envelope.noise_power`), freed from slow changes by its mean over `SLOW_S`.

*Whether.* X(f) is the Fourier transform of p(t) over a look of `LOOK_S`. Over Gaussian noise |X(f)|² over its local
mean, taken as median / ln 2 beside each harmonic, is close to an exponential variable, so that the sum over K harmonics
of twice the mains frequency is a Gamma variable of shape K (the periodogram of noise: Percival and Walden, Spectral
Analysis for Physical Applications, 1993, chapter 6, from memory). Mains are looked for within ±0.5 %: the chance of the
best place is multiplied by the number of separate places, 1/`LOOK_S` apart at the highest harmonic, and of looks.

*How much.* p(t) is folded over half a cycle. What lies over the quietest eighth of it comes with the mains; the
eighth is chosen in all other half seconds than the one it is read in, so that choosing it feigns nothing. A source that
never rests for so long (1 + cos) is read 3 % of its share too low, one that rests for longer nearly right: a bound.
The error is that of the mean over them, Student's t.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft
from scipy.ndimage import uniform_filter1d
from scipy.special import gammaincc, stdtrit

from sweeper.spectra.noise_bins import Floats

MAINS_HZ = (50.0, 60.0)
OFF = 0.005
"""Grids stay within 0.2 % of their frequency, the clock of a sound card is off by up to 0.2 %."""
SLOW_S = 0.2
"""A whole number of half cycles of either mains."""
LOOK_S = 12.0
"""So long a grid keeps its phase to well under a cycle of the tenth harmonic."""
LEAST_LOOK_S = 1.5
CHUNK_S = 0.5
"""A whole number of half cycles, long enough to hold a few hundred values."""
CHANCE = 1e-4
"""Of a false find in one call, over all places and looks."""
PHASES, QUIET = 16, 2


@dataclass(frozen=True, slots=True)
class MainsShare:
    """`mains_hz`: as measured by the samples' own clock. `share` of the noise's power, with its interval `low` to
    `high` at the confidence asked for; `seconds` that were read; `chance` of such a find in steady noise.
    """

    mains_hz: float
    share: float
    low: float
    high: float
    seconds: float
    chance: float


@dataclass(frozen=True, slots=True)
class _Look:
    power: Floats
    mains_hz: float
    chance: float


def mains_share(
    stretches: Sequence[NDArray[np.floating]],
    rate_hz: float,
    confidence: float = 0.95,
    bandwidth_hz: float = 2000.0,
) -> MainsShare | None:
    """What of the noise comes with the mains; None where nothing does beyond chance, where less than some seconds last
    or where the bandwidth has no room for twice the mains' frequency.

    `stretches`: the noise's power over time, each whole, `rate_hz` values a second. `bandwidth_hz` of the noise: its
    envelope holds nothing beyond it.
    """
    flat = [each for stretch in stretches for each in _looks(stretch, rate_hz)]
    if not flat:
        return None
    highest_hz = min(0.45 * rate_hz, bandwidth_hz, 1000.0)
    if highest_hz < 2 * max(MAINS_HZ) * (1 + OFF):
        return None
    found = [
        min((_found(power, rate_hz, mains_hz, highest_hz) for power in flat), key=lambda look: look.chance)
        for mains_hz in MAINS_HZ
    ]
    best = min(found, key=lambda look: look.chance)
    chance = min(best.chance * len(flat) * len(MAINS_HZ), 1.0)
    if chance > CHANCE:
        return None
    nominal = min(MAINS_HZ, key=lambda mains_hz: abs(best.mains_hz - mains_hz))
    looks = [_found(power, rate_hz, nominal, highest_hz) for power in flat]
    sure = [look.mains_hz for look in looks if look.chance < CHANCE] or [best.mains_hz]
    shares = np.concatenate(
        [
            _shares(look, rate_hz, look.mains_hz if look.chance < 0.01 else float(np.median(sure)))
            for look in looks
        ]
    )
    reach = float(
        stdtrit(len(shares) - 1, 0.5 + confidence / 2) * np.std(shares, ddof=1) / np.sqrt(len(shares))
    )
    share = float(shares.mean())
    low, high = max(share - reach, 0.0), min(share + reach, 1.0)
    if low <= 0.0:
        return None
    return MainsShare(float(np.mean(sure)), share, low, high, len(shares) * CHUNK_S, chance)


def _looks(stretch: NDArray[np.floating], rate_hz: float) -> list[Floats]:
    """Parts of up to `LOOK_S`, divided by their slow changes: powers about 1."""
    slow = round(SLOW_S * rate_hz)
    if len(stretch) < LEAST_LOOK_S * rate_hz + slow:
        return []
    level = uniform_filter1d(stretch.astype(np.float64), slow)
    steady = (stretch / np.maximum(level, np.finfo(np.float64).tiny))[slow // 2 : len(stretch) - slow // 2]
    count = max(round(len(steady) / (LOOK_S * rate_hz)), 1)
    return [each for each in np.array_split(steady, count) if len(each) >= LEAST_LOOK_S * rate_hz]


def _found(power: Floats, rate_hz: float, mains_hz: float, highest_hz: float) -> _Look:
    """The likeliest frequency near `mains_hz`, and the chance of so much in steady noise."""
    size = next_fast_len(4 * len(power), real=True)
    squares = np.square(np.abs(rfft(power - power.mean(), size)))
    step_hz, seconds = rate_hz / size, len(power) / rate_hz
    harmonics = np.arange(1, int(highest_hz / (2 * mains_hz * (1 + OFF))) + 1)
    trials = max(int(np.ceil(4 * mains_hz * OFF * harmonics[-1] * seconds)), 1)
    tried_hz = 2 * mains_hz * np.linspace(1 - OFF, 1 + OFF, 4 * trials + 1)
    score = np.zeros(len(tried_hz))
    for harmonic in harmonics:
        beside = np.abs(np.arange(len(squares)) * step_hz - harmonic * 2 * mains_hz)
        local = np.median(squares[(beside > 3.0 + 2 * harmonic * mains_hz * OFF) & (beside < 20.0)]) / np.log(
            2.0
        )
        score += squares[np.rint(harmonic * tried_hz / step_hz).astype(int)] / local
    at = int(np.argmax(score))
    chance = float(gammaincc(len(harmonics), score[at])) * trials
    return _Look(power, float(tried_hz[at]) / 2, min(chance, 1.0))


def _shares(look: _Look, rate_hz: float, mains_hz: float) -> Floats:
    """The share in each half second, its quiet eighth being that of all others. Shape (half seconds,)."""
    chunks = int(len(look.power) / rate_hz / CHUNK_S)
    at_s = np.arange(len(look.power)) / rate_hz
    phase = np.floor((2 * mains_hz * at_s) % 1.0 * PHASES).astype(int)
    chunk = np.floor(at_s / CHUNK_S).astype(int)
    inside = chunk < chunks
    place = chunk[inside] * PHASES + phase[inside]
    sums = np.bincount(place, look.power[inside], chunks * PHASES).reshape(chunks, PHASES)
    counts = np.bincount(place, minlength=chunks * PHASES).reshape(chunks, PHASES)
    others = (sums.sum(axis=0) - sums) / (counts.sum(axis=0) - counts)
    around = np.concatenate([others, others[:, : QUIET - 1]], axis=1)
    quiet = np.array([np.convolve(each, np.ones(QUIET), "valid") for each in around]).argmin(axis=1)
    chosen = (quiet[:, None] + np.arange(QUIET)) % PHASES
    rows = np.arange(chunks)[:, None]
    in_quiet = sums[rows, chosen].sum(axis=1) / counts[rows, chosen].sum(axis=1)
    shares: Floats = 1.0 - in_quiet / (sums.sum(axis=1) / counts.sum(axis=1))
    return shares
