"""What is planted in the recordings of each row of the A/B benchmark. Nothing is analysed here."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

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
    with_load,
)
from sweeper.simulation.recordings.planted import FAST, SLOW, Modulation, intercept, over_noise
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE

Dice = np.random.Generator
K_3_DB = 10**0.3
DOPPLER_HZ = 0.15
AUDIO_HZ, SAMPLES_HZ, HALF_HZ = 12_000, 96_000, 48_000
MODULATED: tuple[Modulation, ...] = ("voice", "am", "keyed", "phase", "shift", "wide")


@dataclass(frozen=True)
class Case:
    """One row: what is planted, and what the program is told. `told` is "marks", "period" or "first" (nothing but
    how it begins)."""

    name: str
    plant: Callable[[Dice, int], Planted]
    told: str = "marks"
    hard: bool = False
    watched: bool = True
    depth: str = "16"


def chain(dice: Dice, gain_db: tuple[float, float] = (5.0, 20.0)) -> Chain:
    """A stage between one that harms and one that is worth it.

    Noise rise 1 to 12 dB in bypass, noise figures 8 to 20 and 1 to 10 dB.
    """
    receiver = 10 ** (dice.uniform(8.0, 20.0) / 10)
    external = receiver * (10 ** (dice.uniform(1.0, 12.0) / 10) - 1) + 1
    stage = 10 ** (dice.uniform(1.0, 10.0) / 10)
    return Chain(external, receiver, stage, 10 ** (dice.uniform(*gain_db) / 10))


def _carrier(dice: Dice, through: Chain, snr_db: float = 20.0, **more: float) -> Signal:
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
        (_carrier(dice, through),),
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
        signals=(_carrier(dice, through),),
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
        signals=(_carrier(dice, through, float(dice.uniform(5.0, 40.0))),),
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


# The hard ones: what else could fool the program.


def hum(dice: Dice, seed: int) -> Planted:
    """Mains hum behind the detector."""
    planted = audio(dice, seed)
    return replace(planted, receiving=replace(planted.receiving, hum_dbfs=float(dice.uniform(-80, -55))))


def birdies(dice: Dice, seed: int) -> Planted:
    """As many lines made in the receiver as there are carriers on the air."""
    planted = samples(dice, seed)
    own = tuple(
        (float(hz), over_noise(planted.chain, float(dice.uniform(10, 30))))
        for hz in dice.uniform(-38e3, 38e3, 6)
    )
    return replace(planted, receiving=replace(planted.receiving, birdies=own), signals=planted.signals[:7])


def one_birdie(dice: Dice, seed: int) -> Planted:
    """Audio with one line of the receiver's own beside the one carrier."""
    planted = audio(dice, seed)
    own = ((2200.0, over_noise(planted.chain, float(dice.uniform(5, 25)))),)
    return replace(planted, receiving=replace(planted.receiving, birdies=own))


def only_a_birdie(dice: Dice, seed: int) -> Planted:
    """Nothing on the air but noise; one line made in the receiver."""
    return replace(one_birdie(dice, seed), signals=())


def mirrored(dice: Dice, seed: int) -> Planted:
    """A poor sampler: images 25 dB down, direct voltage."""
    planted = samples(dice, seed)
    return replace(planted, receiving=replace(planted.receiving, image_db=25.0, offset_dbfs=-40.0))


def eight_bits(dice: Dice, seed: int) -> Planted:
    """Noise of the quieter route at one step of eight bits."""
    planted = samples(dice, seed)
    return replace(planted, receiving=replace(planted.receiving, noise_dbfs=-42.0))


def slow_agc(dice: Dice, seed: int) -> Planted:
    """Slow gain control that recovers in 2 s, switched every 5 s."""
    planted = audio(dice, seed)
    return replace(planted, receiving=replace(planted.receiving, agc=SLOW))


def fast_fading_agc(dice: Dice, seed: int) -> Planted:
    """1 Hz of Doppler under a fast gain control."""
    planted = audio_agc(dice, seed)
    return replace(planted, signals=tuple(replace(s, doppler_hz=1.0, rician_k=0.0) for s in planted.signals))


def carrier_leaves(dice: Dice, seed: int) -> Planted:
    """The stronger of two carriers leaves for the middle third."""
    planted = audio(dice, seed)
    away = Signal(2100.0, over_noise(planted.chain, 26.0), "carrier", DOPPLER_HZ, K_3_DB)
    return replace(planted, signals=(*planted.signals, replace(away, to_s=float(dice.uniform(150, 330)))))


def looks_at_the_load(dice: Dice, seed: int) -> Planted:
    """The load through both routes first, with leakage through the relay."""
    planted = audio(dice, seed)
    stays = with_load(by_relay(420.0, 5.0), 30.0)
    return replace(planted, stays=stays, chain=replace(planted.chain, isolation=10**-3.5))


def drifting_line(dice: Dice, seed: int) -> Planted:
    """The carrier runs through 100 Hz in 8 minutes."""
    planted = audio(dice, seed)
    drift = float(dice.choice([-1, 1])) * 0.2
    return replace(planted, signals=tuple(replace(s, drift_hz_per_s=drift) for s in planted.signals))


def gain_moves(dice: Dice, seed: int) -> Planted:
    """The receiver's gain steps by 6 dB halfway and wanders by 1 dB."""
    planted = audio(dice, seed)
    return replace(planted, receiving=replace(planted.receiving, step_db=6.0, drift_db=1.0))


def unequal_dwells(dice: Dice, seed: int) -> Planted:
    """Eight seconds out, two in."""
    planted = audio(dice, seed)
    stays = tuple(
        Stay(10.0 * n + (8.0 if k else 0.0), ANTENNA_STAGE if k else ANTENNA_BYPASS)
        for n in range(48)
        for k in (0, 1)
    )
    return replace(planted, stays=stays)


def noise_wanders(dice: Dice, seed: int) -> Planted:
    """External noise wanders by 2 dB within seconds to minutes."""
    planted = audio(dice, seed)
    return replace(planted, chain=replace(planted.chain, external_wander_db=2.0, wander_s=15.0))


def static(dice: Dice, seed: int) -> Planted:
    """A crash of static each second."""
    planted = audio(dice, seed)
    return replace(planted, mishaps=Mishaps(clicks_per_s=1.0))


def no_gain(dice: Dice, seed: int) -> Planted:
    """A lossy stage: −10 to 0 dB."""
    planted = audio(dice, seed)
    through = chain(dice, (-10.0, 0.0))
    return replace(planted, chain=through, signals=(_carrier(dice, through),))


def does_nothing(dice: Dice, seed: int) -> Planted:
    """A switch with nothing behind it."""
    planted = audio(dice, seed)
    through = replace(planted.chain, stage=1.0, gain=1.0)
    return replace(planted, chain=through, signals=(_carrier(dice, through),))


def switched_twice(dice: Dice, seed: int) -> Planted:
    """In once, out once, in a minute and a half."""
    planted = audio(dice, seed)
    return replace(planted, seconds=90.0, stays=by_relay(90.0, 30.0))


def speech_only(dice: Dice, seed: int) -> Planted:
    """Nothing but a conversation on one side band."""
    planted = audio(dice, seed)
    talk = Signal(0.0, over_noise(planted.chain, float(dice.uniform(8, 20))), "voice", 0.2, 1.0, duty=0.8)
    return replace(planted, signals=(talk,))


def keying_only(dice: Dice, seed: int) -> Planted:
    """Nothing but somebody who keys by hand, under a fast gain control."""
    planted = audio_agc(dice, seed)
    key = Signal(800.0, over_noise(planted.chain, float(dice.uniform(8, 20))), "keyed", 0.2, 1.0, duty=0.8)
    return replace(planted, signals=(key,))


def hand_and_marks(dice: Dice, seed: int) -> Planted:
    """By hand with notes: the period is anything, the notes are right to a second or so."""
    planted = audio(dice, seed)
    return replace(
        planted, stays=by_hand(480.0, 20.0, 8.0, seed), mishaps=Mishaps(transit_s=0.3, switch_click=0.05)
    )


def gaps(dice: Dice, seed: int) -> Planted:
    """Samples lost now and then; a stretch of silence."""
    planted = samples(dice, seed)
    lost = tuple((float(at), float(dice.uniform(0.001, 0.05))) for at in np.sort(dice.uniform(2, 98, 12)))
    return replace(planted, mishaps=Mishaps(lost_s=lost, zeroed_s=((41.3, 0.4),)))


def overloaded_audio(dice: Dice, seed: int) -> Planted:
    """Two strong carriers beside the pass band: their product falls in it when the stage is in."""
    planted = audio(dice, seed)
    through = planted.chain
    strong = tuple(
        Signal(hz, over_noise(through, 45.0), "carrier", 0.1, 4.0, steady=False) for hz in (3500.0, 5050.0)
    )
    return replace(
        planted,
        chain=replace(through, intercept=intercept(through, strong[0].power, float(dice.uniform(10, 25)))),
        signals=(*planted.signals, *strong),
    )


CASES = (
    Case("audio", audio),
    Case("audio, fast AGC", audio_agc),
    Case("audio, by hand", audio_hand, "first"),
    Case("samples", samples),
    Case("half occupied", half_occupied, watched=False),
    Case("steps", steps, "first", watched=False),
    Case("unswitched", unswitched, "first", watched=False),
    Case("overload", overload, watched=False),
    *(
        Case(name, plant, told, hard=True, watched=False, depth=depth)
        for name, plant, told, depth in (
            ("hum", hum, "marks", "16"),
            ("birdies among samples", birdies, "marks", "16"),
            ("a birdie beside the carrier", one_birdie, "marks", "16"),
            ("only a birdie", only_a_birdie, "marks", "16"),
            ("images at −25 dB", mirrored, "marks", "16"),
            ("8 bits, noise at one step", eight_bits, "marks", "8"),
            ("slow AGC", slow_agc, "marks", "16"),
            ("fast AGC, fading of 1 Hz", fast_fading_agc, "marks", "16"),
            ("a carrier leaves", carrier_leaves, "marks", "16"),
            ("load, relay leaks", looks_at_the_load, "marks", "16"),
            ("the carrier drifts", drifting_line, "marks", "16"),
            ("receiver's gain steps", gain_moves, "marks", "16"),
            ("8 s out, 2 s in", unequal_dwells, "marks", "16"),
            ("noise wanders by 2 dB", noise_wanders, "marks", "16"),
            ("static", static, "marks", "16"),
            ("a lossy stage", no_gain, "marks", "16"),
            ("a stage that does nothing", does_nothing, "marks", "16"),
            ("switched twice", switched_twice, "marks", "16"),
            ("speech only", speech_only, "marks", "16"),
            ("keying only, fast AGC", keying_only, "marks", "16"),
            ("by hand, with notes", hand_and_marks, "notes", "16"),
            ("gaps in samples", gaps, "marks", "16"),
            ("overload in audio", overloaded_audio, "marks", "16"),
        )
    ),
)
