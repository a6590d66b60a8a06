"""What is planted in the recordings of what the A/B benchmark holds to its promises. Nothing is analysed here."""

import math
from dataclasses import replace

import numpy as np

from sweeper.simulation.recordings import (
    Chain,
    Mishaps,
    Planted,
    Receiving,
    Signal,
    Stay,
    by_hand,
    by_relay,
)
from sweeper.simulation.recordings.planted import FAST, SLOW, Modulation, intercept, over_noise
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE

Dice = np.random.Generator
K_3_DB = 10**0.3
DOPPLER_HZ = 0.15
AUDIO_HZ, SAMPLES_HZ, HALF_HZ = 12_000, 96_000, 48_000
MODULATED: tuple[Modulation, ...] = ("voice", "am", "keyed", "phase", "shift", "wide")


def chain(dice: Dice, gain_db: tuple[float, float] = (5.0, 20.0)) -> Chain:
    """A stage between one that harms and one that is worth it.

    Noise rise 1 to 12 dB in bypass, noise figures 8 to 20 and 1 to 10 dB.
    """
    receiver = 10 ** (dice.uniform(8.0, 20.0) / 10)
    external = receiver * (10 ** (dice.uniform(1.0, 12.0) / 10) - 1) + 1
    stage = 10 ** (dice.uniform(1.0, 10.0) / 10)
    return Chain(external, receiver, stage, 10 ** (dice.uniform(*gain_db) / 10))


def carrier(dice: Dice, through: Chain, snr_db: float = 20.0, **more: float) -> Signal:
    hz = float(dice.uniform(700.0, 1700.0))
    return Signal(hz, over_noise(through, snr_db), "carrier", DOPPLER_HZ, K_3_DB, **more)


def audio(dice: Dice, seed: int) -> Planted:
    """One carrier at 20 dB over the noise in 2.4 kHz, switched every 5 s for 8 minutes."""
    through = chain(dice)
    return Planted(
        "audio",
        AUDIO_HZ,
        480.0,
        7_100_000,
        by_relay(480.0, 5.0),
        through,
        (carrier(dice, through),),
        Receiving(ripple_db=0.5, tilt_db=float(dice.uniform(-3, 3))),
        seed=seed,
    )


def audio_agc(dice: Dice, seed: int) -> Planted:
    planted = audio(dice, seed)
    return replace(planted, receiving=replace(planted.receiving, agc=FAST))


def audio_hand(dice: Dice, seed: int) -> Planted:
    """By hand, nothing noted: the stage has 8 dB of gain or more, so that its moments can be heard."""
    planted = audio(dice, seed)
    through = chain(dice, (8.0, 20.0))
    return replace(
        planted,
        chain=through,
        signals=(carrier(dice, through),),
        stays=by_hand(480.0, 30.0, 6.0, seed),
        mishaps=Mishaps(transit_s=0.1, switch_click=0.01),
    )


def _band(dice: Dice, through: Chain, width_hz: float, steady: int, modulated: int) -> tuple[Signal, ...]:
    """Signals at random places at least 5 kHz apart, 8 to 30 dB over the noise in 2.4 kHz."""
    count = steady + modulated
    spacing = width_hz / count
    places = (np.arange(count) + dice.uniform(0.25, 0.75, count)) * spacing - width_hz / 2
    dice.shuffle(places)
    signals = []
    for n, hz in enumerate(places.tolist()):
        manner: Modulation = "carrier" if n < steady else MODULATED[int(dice.integers(len(MODULATED)))]
        signals.append(
            Signal(
                hz,
                over_noise(through, float(dice.uniform(8.0, 30.0))),
                manner,
                float(dice.uniform(0.1, 0.5)),
                float(dice.choice([0.0, 1.0, K_3_DB])),
                duty=1.0 if manner in ("carrier", "am") else float(dice.uniform(0.4, 1.0)),
            )
        )
    return tuple(signals)


def samples(dice: Dice, seed: int) -> Planted:
    """96 kHz, twelve signals, a third of them modulated, switched every 2 s for 100 s."""
    through = chain(dice)
    return Planted(
        "samples",
        SAMPLES_HZ,
        100.0,
        7_150_000,
        by_relay(100.0, 2.0),
        through,
        _band(dice, through, 0.84 * SAMPLES_HZ, 8, 4),
        Receiving(ripple_db=0.2),
        seed=seed,
    )


def half_occupied(dice: Dice, seed: int) -> Planted:
    """48 kHz, half of it under speech, data and broadcasters: 40 % by their channels, the rest by their skirts."""
    through = chain(dice)
    width = 0.84 * HALF_HZ
    signals: list[Signal] = []
    occupied = 0.0
    at = -width / 2
    while at < width / 2 - 4000:
        if occupied < 0.4 * (at + width / 2 + 4000):
            manner: Modulation = ("voice", "wide", "am")[int(dice.integers(3))]  # type: ignore[assignment]
            wide = {"voice": 3200.0, "wide": 2800.0, "am": 5600.0}[manner]
            middle = {"voice": 250.0, "wide": 1400.0, "am": 2800.0}[manner]
            snr_db = float(dice.uniform(5.0, 35.0))
            signals.append(
                Signal(
                    at + middle,
                    over_noise(through, snr_db),
                    manner,
                    0.2,
                    1.0,
                    duty=float(dice.uniform(0.5, 1.0)),
                )
            )
            occupied += wide
            at += wide
        else:
            at += float(dice.uniform(500.0, 3000.0))
    return Planted(
        "samples",
        HALF_HZ,
        60.0,
        7_150_000,
        by_relay(60.0, 2.0),
        through,
        tuple(signals),
        Receiving(ripple_db=0.2),
        seed=seed,
    )


def steps(dice: Dice, seed: int) -> Planted:
    """Noise steps of 6 dB or more, by hand, under a fading carrier: are all moments found?"""
    while True:
        through = chain(dice, (8.0, 22.0))
        stage, bypass = through.noise(ANTENNA_STAGE), through.noise(ANTENNA_BYPASS)
        if 10 * math.log10(stage / bypass) >= 6.0:
            break
    planted = audio_hand(dice, seed)
    return replace(
        planted,
        seconds=300.0,
        chain=through,
        signals=(carrier(dice, through, float(dice.uniform(5.0, 40.0))),),
        stays=by_hand(300.0, float(dice.uniform(6.0, 30.0)), 3.0, seed),
    )


def unswitched(dice: Dice, seed: int) -> Planted:
    """Ten minutes of fading, never switched; half of the time with a gain control, noise that wanders and static."""
    through = replace(
        chain(dice), external_wander_db=float(dice.choice([0.0, 1.0])), wander_s=float(dice.uniform(20, 120))
    )
    agc = (None, FAST, SLOW)[int(dice.integers(3))]
    return Planted(
        "audio",
        AUDIO_HZ,
        600.0,
        7_100_000,
        (Stay(0.0, ANTENNA_BYPASS),),
        through,
        (
            Signal(
                1000.0,
                over_noise(through, float(dice.uniform(5.0, 40.0))),
                "carrier",
                float(dice.uniform(0.05, 0.5)),
                float(dice.choice([0.0, K_3_DB])),
            ),
        ),
        Receiving(agc=agc, drift_db=0.5),
        Mishaps(clicks_per_s=float(dice.choice([0.0, 0.1]))),
        seed=seed,
    )


def overload(dice: Dice, seed: int) -> Planted:
    """Strong carriers in the middle and a stage that bends under them: products 10 to 20 dB over the noise in
    31 Hz, in places that are quiet in bypass."""
    planted = samples(dice, seed)
    through = planted.chain
    strong = tuple(
        Signal(hz, over_noise(through, 50.0), "carrier", 0.1, 4.0)
        for hz in (dice.uniform(-14e3, -10e3), dice.uniform(-4e3, 2e3), dice.uniform(7e3, 13e3))
    )
    return replace(
        planted,
        chain=replace(through, intercept=intercept(through, strong[0].power, float(dice.uniform(10, 20)))),
        signals=(*planted.signals, *strong),
    )
