"""From what is planted to samples of full scale 1, one second at a time: antenna, relays, stage, receiver, card.

Noise has its density in units of kT0, so that a complex sample at rate R of noise with density D has mean square D·R.
Filters delay nothing: what stands at a second in the file left the relays at that second.
"""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, oaconvolve, upfirdn

from sweeper.simulation.recordings.gain_control import GainControl
from sweeper.simulation.recordings.on_air import Slow, on_air
from sweeper.simulation.recordings.planted import Planted
from sweeper.words import ROUTES, SignalPath

Band = NDArray[np.complex64]
Block = NDArray[np.float32] | NDArray[np.complex64]
FILTER_TAPS = 513
RAISING = 24
"""Half of the length of the filter behind the detector, in samples of the inner rate."""
RIPPLES = 3.5
"""Waves of the ripple over a pass band."""
MAINS_HZ = 50.0
MAINS = ((1, 0.5), (2, 1.0), (3, 0.35), (4, 0.4), (6, 0.2), (8, 0.1))
"""Harmonics of mains hum and their amplitudes."""
CLICK_DB = 30.0
LOUD_DBFS = -22.0
"""How loud a recording is on its louder route, rms: peaks stay free of full scale."""


def render(planted: Planted) -> Iterator[Block]:
    """Blocks of up to a second: real for audio, complex for samples; not yet limited to full scale."""
    band = _before_detection(planted)
    return _cut(planted, _as_audio(planted, band) if planted.kind == "audio" else _as_samples(planted, band))


def scale(planted: Planted) -> float:
    """Full-scale volts for a root of kT0·Hz at the receiver's input."""
    noise = {route: planted.chain.noise(SignalPath("antenna", route)) * _width(planted) for route in ROUTES}
    wanted = planted.receiving.noise_dbfs
    if wanted is not None:
        loud = min(noise.values())
    elif planted.receiving.agc is not None:
        wanted, loud = LOUD_DBFS, noise["bypass"]
    else:
        sent = sum(signal.power for signal in planted.signals)
        wanted, loud = LOUD_DBFS, max(noise["bypass"] + sent, noise["stage"] + planted.chain.gain * sent)
    return float(10 ** (wanted / 20) / math.sqrt(loud))


def noise_density(planted: Planted, path: SignalPath) -> float:
    """Full scale squared per hertz of the noise of a path in the file, without gain control: the planted level."""
    return planted.chain.noise(path) * scale(planted) ** 2


def _width(planted: Planted) -> float:
    receiving = planted.receiving
    return planted.rate_hz if planted.kind == "samples" else receiving.high_hz - receiving.low_hz


def _delay_s(planted: Planted) -> float:
    """What the filters delay, which is made up for by beginning that much later."""
    raised = RAISING if planted.kind == "audio" and planted.rate_hz != planted.inner_hz else 0
    return (FILTER_TAPS // 2 + raised) / planted.inner_hz


def _white(dice: np.random.Generator, size: int, rate: int) -> Band:
    """White noise of density 1."""
    pairs: Band = dice.standard_normal(2 * size, dtype=np.float32).view(np.complex64)
    pairs *= np.float32(math.sqrt(rate / 2))
    return pairs


def _at_the_input(planted: Planted) -> Iterator[Band]:
    """The band at the receiver's input, in roots of kT0·Hz."""
    rate, mishaps = planted.inner_hz, planted.mishaps
    ahead_s = _delay_s(planted)
    dice = np.random.default_rng([planted.seed, 12])
    edges = np.array([stay.at_s for stay in planted.stays])
    slow = Slow(rate, ahead_s)
    for block, sky in enumerate(on_air(planted, ahead_s)):
        time_s = ahead_s + block + np.arange(rate) / rate
        stay = np.searchsorted(edges, time_s, side="right") - 1
        nodes = planted.external(slow.times(block)).astype(complex)
        outside = slow.between(nodes).real.astype(np.float32)
        if mishaps.clicks_per_s:
            sky += _static(planted, dice, rate)
        heard = np.empty(rate, np.complex64)
        for number in np.unique(stay):
            here = stay == number
            heard[here] = _through(planted, planted.stays[number].path, sky[here], outside[here], dice)
        between = (time_s - edges[stay] < mishaps.transit_s) & (stay > 0)
        if between.any():
            size = int(between.sum())
            heard[between] = _white(dice, size, rate) * np.float32(math.sqrt(planted.chain.receiver - 1.0))
        yield heard


def _through(
    planted: Planted, path: SignalPath, sky: Band, outside: NDArray[np.float32], dice: np.random.Generator
) -> Band:
    """Signals and noise behind relays and stage. Sums of independent Gaussian voltages are drawn as one."""
    chain, rate = planted.chain, planted.inner_hz
    on_antenna = path.source == "antenna"
    passed = sky * np.float32(1.0 if on_antenna else math.sqrt(chain.isolation))
    source = outside if on_antenna else 1.0 + chain.isolation * outside
    own = chain.receiver - 1.0
    if path.route == "bypass":
        return _complex64(passed + _white(dice, sky.size, rate) * np.sqrt(source + own))
    gain = chain.gain
    if math.isinf(chain.intercept):
        noise = np.sqrt(gain * (source + chain.stage - 1.0) + own)
        return _complex64(passed * math.sqrt(gain) + _white(dice, sky.size, rate) * noise)
    driven = passed + _white(dice, sky.size, rate) * np.sqrt(source + chain.stage - 1.0)
    # Bends as 1 − |x|²/IP at first and holds its output in the end, as an amplifier at its supply does.
    bent = 1 / np.sqrt(1 + 2 / np.float32(chain.intercept) * np.abs(driven) ** 2)
    behind = _white(dice, sky.size, rate) * math.sqrt(own)
    return _complex64(driven * bent * math.sqrt(gain) + behind)


def _complex64(band: NDArray[np.complexfloating]) -> Band:
    return np.asarray(band, np.complex64)


def _static(planted: Planted, dice: np.random.Generator, rate: int) -> Band:
    """Impulses at the antenna, their peaks behind 2.4 kHz some 30 dB over the external noise there."""
    impulses = np.zeros(rate, np.complex64)
    count = int(dice.poisson(planted.mishaps.clicks_per_s))
    peak = 10 ** (dice.normal(CLICK_DB, 6.0, count) / 20) * math.sqrt(planted.chain.external * 2400)
    impulses[dice.integers(0, rate, count)] = peak * rate / 2400 * np.exp(2j * np.pi * dice.random(count))
    return impulses


def _before_detection(planted: Planted) -> Iterator[Band]:
    """Full-scale volts behind filter and gain control."""
    rate, receiving = planted.inner_hz, planted.receiving
    volts = np.float32(scale(planted))
    taps = _filter(planted)
    tail = np.zeros(FILTER_TAPS - 1, np.complex64)
    control = None
    if receiving.agc is not None:
        loud = math.sqrt(planted.chain.noise(SignalPath("antenna", "bypass")) * _width(planted)) * float(
            volts
        )
        control = GainControl(receiving.agc, rate, loud * 10 ** (receiving.agc.threshold_db / 20))
    tones = [
        (math.sqrt(level), np.exp(2j * np.pi * hz * np.arange(rate) / rate).astype(np.complex64), hz)
        for hz, level in receiving.birdies
    ]
    slow = Slow(rate, 0.0)
    dice = np.random.default_rng([planted.seed, 13])
    wander, phases = dice.uniform(0.004, 0.02, 6), 2 * np.pi * dice.random(6)
    for block, heard in enumerate(_at_the_input(planted)):
        for size, tone, hz in tones:
            heard += tone * np.complex64(size * np.exp(2j * np.pi * hz * block))
        whole = oaconvolve(heard * volts, taps).astype(np.complex64)
        whole[: tail.size] += tail
        filtered, tail = whole[:rate], whole[rate:]
        if receiving.drift_db or receiving.step_db:
            time_s = slow.times(block)
            moved = (
                receiving.drift_db * np.cos(np.multiply.outer(time_s, wander) + phases).sum(-1) / math.sqrt(3)
            )
            moved += receiving.step_db * (time_s > planted.seconds / 2)
            filtered = filtered * slow.between((10 ** (moved / 20)).astype(complex)).real.astype(np.float32)
        yield filtered if control is None else control.take(filtered)


def _filter(planted: Planted) -> NDArray[np.complex64]:
    """The pass band with its ripple and tilt, linear in phase."""
    rate, receiving = planted.inner_hz, planted.receiving
    if planted.kind == "samples":
        low, high = -0.46 * rate, 0.46 * rate
    elif planted.mode == "AM":
        low, high = -receiving.high_hz, receiving.high_hz
    else:
        low, high = receiving.low_hz, receiving.high_hz
    middle, half = (low + high) / 2, (high - low) / 2
    taps = firwin(FILTER_TAPS, half, fs=rate, window=("kaiser", 7.0)).astype(complex)
    n = np.arange(FILTER_TAPS) - FILTER_TAPS // 2
    taps *= np.exp(2j * np.pi * middle / rate * n)
    if receiving.ripple_db or receiving.tilt_db:
        hz = np.fft.fftfreq(FILTER_TAPS, 1 / rate)
        across = np.clip((hz - low) / (high - low), 0.0, 1.0)
        shape = receiving.ripple_db * np.cos(2 * np.pi * RIPPLES * across) + receiving.tilt_db * (
            across - 0.5
        )
        bent = np.fft.fft(np.fft.ifftshift(taps)) * 10 ** (shape / 20)
        taps = np.fft.fftshift(np.fft.ifft(bent)) * np.kaiser(FILTER_TAPS, 2.0)
    return taps.astype(np.complex64)


def _as_audio(planted: Planted, band: Iterator[Band]) -> Iterator[NDArray[np.float32]]:
    """What the sound card hears: detected, at its own rate, with its noise, hum and the clicks of switching."""
    rate, receiving = planted.rate_hz, planted.receiving
    up = rate // planted.inner_hz
    taps = firwin(2 * RAISING * up + 1, 0.9 / up, window=("kaiser", 8.0)) * up if up > 1 else np.ones(1)
    tail = np.zeros(taps.size - 1, np.float32)
    dice = np.random.default_rng([planted.seed, 14])
    card = np.float32(math.sqrt(10 ** (receiving.card_dbfs_per_hz / 10) * rate / 2))
    hum_power = 10 ** (receiving.hum_dbfs / 10)
    mean = 0.0
    for block, filtered in enumerate(band):
        if planted.mode == "AM":
            size = np.abs(filtered)
            mean = float(size.mean()) if not block else 0.7 * mean + 0.3 * float(size.mean())
            detected = size - np.float32(mean)
        else:
            detected = filtered.real * np.float32(math.sqrt(2))
        whole = np.zeros(rate + taps.size - 1, np.float32)
        raised = upfirdn(taps, detected, up).astype(np.float32)[: whole.size]
        whole[: raised.size] = raised
        whole[: tail.size] += tail
        heard, tail = whole[:rate], whole[rate:]
        heard += card * dice.standard_normal(rate, dtype=np.float32)
        if hum_power:
            cycle = 2 * np.pi * MAINS_HZ * np.arange(rate) / rate
            total = sum(part**2 for _, part in MAINS) / 2
            for harmonic, part in MAINS:
                heard += np.float32(math.sqrt(hum_power / total) * part) * np.cos(
                    harmonic * cycle + harmonic
                ).astype(np.float32)
        _click(planted, block, heard)
        yield heard


def _as_samples(planted: Planted, band: Iterator[Band]) -> Iterator[Band]:
    """What a sampler makes of the band: with its mirror image and direct voltage."""
    receiving = planted.receiving
    image = np.float32(10 ** (-receiving.image_db / 20))
    offset = np.complex64(10 ** (receiving.offset_dbfs / 20) * (0.8 + 0.6j))
    for block, filtered in enumerate(band):
        heard = filtered + image * filtered.conj() if image else filtered
        if offset:
            heard = heard + offset
        if receiving.swapped:
            heard = _complex64(1j * heard.conj())
        _click(planted, block, heard)
        yield heard


def _click(planted: Planted, block: int, heard: Block) -> None:
    """Adds what the change of a switch puts on the line: a pulse that dies away within milliseconds, and crackle."""
    mishaps, rate = planted.mishaps, planted.rate_hz
    for number, stay in enumerate(planted.stays):
        since_s = block - stay.at_s
        if not number or not -1.0 < since_s <= 8.0 * mishaps.crackle_s:
            continue
        at = max(0, round(-since_s * rate))
        if mishaps.switch_click and since_s <= 0.0:
            pulse = np.exp(-np.arange(heard.size - at) / (0.002 * rate)).astype(np.float32)
            heard[at:] += pulse * np.float32(mishaps.switch_click * (1 if number % 2 else -1))
        if mishaps.switch_crackle:
            after_s = max(since_s, 0.0) + np.arange(heard.size - at) / rate
            loud = mishaps.switch_crackle * np.exp(-after_s / mishaps.crackle_s)
            dice = np.random.default_rng((planted.seed, number, block))
            heard[at:] += (loud * dice.standard_normal(loud.size)).astype(np.float32)


def _cut(planted: Planted, made: Iterator[Block]) -> Iterator[Block]:
    """Ends in time; takes out what is missing, silences what is silent."""
    rate = planted.rate_hz
    end = round(planted.seconds * rate)
    for number, block in enumerate(made):
        start = number * rate
        if start >= end:
            return
        kept = np.ones(block.size, bool)
        kept[max(0, end - start) :] = False
        for at_s, lasts_s in planted.mishaps.lost_s:
            kept[_within(at_s, lasts_s, start, block.size, rate)] = False
        for at_s, lasts_s in planted.mishaps.zeroed_s:
            block[_within(at_s, lasts_s, start, block.size, rate)] = 0
        yield block[kept]


def _within(at_s: float, lasts_s: float, start: int, size: int, rate: int) -> slice:
    first = min(max(round(at_s * rate) - start, 0), size)
    return slice(first, min(max(round((at_s + lasts_s) * rate) - start, 0), size))
