"""Kinds of recordings that nobody thought of when the comparison was built: right, or nothing said."""

from dataclasses import replace

import numpy as np

from sweeper.simulation.recordings import Mishaps, Planted, Signal, Stay, by_relay
from sweeper.simulation.recordings.planted import Modulation, over_noise
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE
from tests.benchmarks.ab_planting import Dice, audio, audio_hand, carrier, chain, samples


def data_only(dice: Dice, seed: int) -> Planted:
    """Nothing but three data signals: two-phase and frequency-shift keying."""
    planted = audio(dice, seed)
    manners: tuple[Modulation, ...] = ("phase", "shift", "phase")
    data = tuple(
        Signal(hz, over_noise(planted.chain, float(dice.uniform(8, 25))), manner, 0.2, 1.0, duty=0.9)
        for hz, manner in zip((650.0, 1400.0, 2200.0), manners, strict=True)
    )
    return replace(planted, signals=data)


def fade_together(dice: Dice, seed: int) -> Planted:
    """Four carriers that fade as one, down to nothing, by 0.3 Hz."""
    planted = audio(dice, seed)
    together = tuple(
        Signal(hz, over_noise(planted.chain, float(dice.uniform(12, 25))), "carrier", 0.3, 0.0, fades_with=0)
        for hz in (600.0, 1100.0, 1650.0, 2300.0)
    )
    return replace(planted, signals=together)


def any_gain(dice: Dice, seed: int) -> Planted:
    """A stage of −20 to +40 dB."""
    planted = audio(dice, seed)
    through = chain(dice, (-20.0, 40.0))
    return replace(planted, chain=through, signals=(carrier(dice, through),))


def any_dwell(dice: Dice, seed: int) -> Planted:
    """Stays of anything between 0.8 and 15 s."""
    planted = audio(dice, seed)
    at = np.cumsum(dice.uniform(0.8, 15.0, 200))
    stays = tuple(
        Stay(float(each), ANTENNA_BYPASS if nth % 2 == 0 else ANTENNA_STAGE)
        for nth, each in enumerate([0.0, *at[at < planted.seconds - 1.0]])
    )
    return replace(planted, stays=stays)


def four_edges(dice: Dice, seed: int) -> Planted:
    """Four switches in two minutes and a half."""
    planted = audio(dice, seed)
    return replace(planted, seconds=150.0, stays=by_relay(150.0, 30.0))


def drop_outs(dice: Dice, seed: int) -> Planted:
    """Seconds that are missing from the file, and seconds of silence."""
    planted = audio(dice, seed)
    at = np.sort(dice.uniform(5, 470, 10)).tolist()
    lost = tuple((each, float(dice.uniform(0.3, 3.0))) for each in at[::2])
    still = tuple((each, float(dice.uniform(0.3, 3.0))) for each in at[1::2])
    return replace(planted, mishaps=Mishaps(lost_s=lost, zeroed_s=still))


def swapped(dice: Dice, seed: int) -> Planted:
    """Samples whose two channels are exchanged."""
    planted = samples(dice, seed)
    return replace(planted, receiving=replace(planted.receiving, swapped=True))


def in_step(dice: Dice, seed: int) -> Planted:
    """Switched each 15 s, in step with stations that send in slots of 15 s: four in the one, one in the other."""
    planted = audio(dice, seed)
    hz = np.linspace(500.0, 2400.0, 5)
    sent = tuple(
        Signal(
            float(each), over_noise(planted.chain, float(dice.uniform(5, 25))), "shift", 0.2, 1.0,
            slot=(15.0, int(nth == 4)),
        )
        for nth, each in enumerate(hz)
    )  # fmt: skip
    return replace(planted, stays=by_relay(planted.seconds, 15.0), signals=sent)


def carrier_in_step(dice: Dice, seed: int) -> Planted:
    """A carrier, and beside it stations in slots of 15 s with which the switch is in step."""
    planted = in_step(dice, seed)
    return replace(planted, signals=(*planted.signals[1:], carrier(dice, planted.chain)))


def wide_and_strong(dice: Dice, seed: int) -> Planted:
    """One data signal of 2.8 kHz at 20 to 45 dB among samples, and four carriers."""
    planted = samples(dice, seed)
    wide = Signal(
        float(dice.uniform(-30e3, 30e3)), over_noise(planted.chain, float(dice.uniform(20, 45))), "wide"
    )
    return replace(planted, signals=(wide, *planted.signals[:4]))


def pulsed(dice: Dice, seed: int) -> Planted:
    """Crashes at the antenna, twenty a second."""
    planted = audio(dice, seed)
    return replace(planted, mishaps=Mishaps(clicks_per_s=20.0))


def crackling_switch(dice: Dice, seed: int) -> Planted:
    """By hand, by a worn switch: each turn thumps and crackles, far over the noise, for a tenth of a second to two."""
    planted = audio_hand(dice, seed)
    loud = Mishaps(
        transit_s=0.1,
        switch_click=0.05,
        switch_crackle=float(dice.uniform(0.03, 0.3)),
        crackle_s=float(dice.uniform(0.01, 0.1)),
    )
    return replace(planted, mishaps=loud)
