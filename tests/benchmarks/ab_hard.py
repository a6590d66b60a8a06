"""What else could fool the comparison: rows in which nothing is promised but to be right or to say nothing."""

from dataclasses import replace

import numpy as np

from sweeper.simulation.recordings import Mishaps, Planted, Signal, Stay, by_hand, by_relay, with_load
from sweeper.simulation.recordings.planted import SLOW, intercept, over_noise
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE
from tests.benchmarks.ab_planting import DOPPLER_HZ, K_3_DB, Dice, audio, audio_agc, carrier, chain, samples


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
    return replace(planted, chain=through, signals=(carrier(dice, through),))


def does_nothing(dice: Dice, seed: int) -> Planted:
    """A switch with nothing behind it."""
    planted = audio(dice, seed)
    through = replace(planted.chain, stage=1.0, gain=1.0)
    return replace(planted, chain=through, signals=(carrier(dice, through),))


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
