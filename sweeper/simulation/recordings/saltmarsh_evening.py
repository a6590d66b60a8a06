"""Recordings that somebody at Saltmarsh might have made of an evening, to try the program on.

The stage, the receiver and the antenna are those of the invented station; everything on the air is invented.
"""

import math
from typing import Literal

import numpy as np

from sweeper.simulation.recordings.planted import (
    FAST,
    SLOW,
    Chain,
    Mishaps,
    Modulation,
    Planted,
    Receiving,
    Signal,
    intercept,
    over_noise,
)
from sweeper.simulation.recordings.switching import by_hand, by_relay, with_load

LOAD_S = 20.0
"""How long each route hears the load where there is one."""
GIVE_OR_TAKE = 0.2
"""A hand keeps its time within so large a part of it."""
_AT_10_MHZ = Chain(external=56.0, receiver=28.0, stage=2.3, gain=33.0, isolation=1e-6)
_AT_7_MHZ = Chain(external=160.0, receiver=29.0, stage=2.3, gain=32.0, isolation=1e-6)
STRONG_DB = {"audio": 42.0, "samples": 45.0}
"""What overloads the stage, over the noise in 2.4 kHz; its products stand 20 dB over the noise in 60 Hz."""


def evening(
    kind: Literal["audio", "samples"],
    *,
    seconds: float,
    every_s: float,
    hand: bool = False,
    load: bool = False,
    agc: Literal["off", "fast", "slow"] = "off",
    overload: bool = False,
    seed: int = 1,
) -> Planted:
    """Ten megahertz in upper side band (audio), or 96 kHz of the 40 m band (samples)."""
    antenna_s = seconds - (2 * LOAD_S if load else 0.0)
    stays = (
        by_hand(antenna_s, every_s, GIVE_OR_TAKE * every_s, seed) if hand else by_relay(antenna_s, every_s)
    )
    if load:
        stays = with_load(stays, LOAD_S)
    chain = _AT_10_MHZ if kind == "audio" else _AT_7_MHZ
    chain = Chain(
        chain.external,
        chain.receiver,
        chain.stage,
        chain.gain,
        external_wander_db=0.3,
        intercept=intercept(chain, over_noise(chain, STRONG_DB[kind]), 20.0) if overload else math.inf,
        isolation=chain.isolation,
    )
    gaining = {"off": None, "fast": FAST, "slow": SLOW}[agc]
    mishaps = Mishaps(clicks_per_s=0.05, transit_s=0.15 if hand else 0.008, switch_click=0.02)
    if kind == "audio":
        return Planted(
            "audio",
            48000,
            seconds,
            9_999_000,
            stays,
            chain,
            _ten_megahertz(chain, overload),
            Receiving(ripple_db=0.5, tilt_db=-1.5, agc=gaining, hum_dbfs=-75.0, card_dbfs_per_hz=-125.0),
            mishaps,
            seed=seed,
        )
    return Planted(
        "samples",
        96000,
        seconds,
        7_150_000,
        stays,
        chain,
        _forty_metres(chain, overload, seed),
        Receiving(ripple_db=0.2, agc=gaining, image_db=55.0, offset_dbfs=-60.0, birdies=((23_456.0, 4e4),)),
        mishaps,
        seed=seed,
    )


def _ten_megahertz(chain: Chain, overload: bool) -> tuple[Signal, ...]:
    """A carrier on 10 MHz, heard as 1 kHz; with overload, two strong ones beside the pass band."""
    carrier = Signal(1000.0, over_noise(chain, 22.0), doppler_hz=0.15, rician_k=2.0)
    strong = tuple(
        Signal(hz, over_noise(chain, STRONG_DB["audio"]), "carrier", 0.15, 4.0, steady=False)
        for hz in (3600.0, 5300.0)
    )
    return (carrier, *strong) if overload else (carrier,)


def _forty_metres(chain: Chain, overload: bool, seed: int) -> tuple[Signal, ...]:
    """Amateurs below 7.2 MHz; broadcasters' carriers, five kilohertz apart, show from there on."""
    dice = np.random.default_rng([seed, 5])
    amateurs: tuple[tuple[float, float, Modulation, float], ...] = (
        (-41_000.0, 18.0, "keyed", 0.8),
        (-33_200.0, 22.0, "voice", 0.6),
        (-20_500.0, 15.0, "voice", 0.5),
        (-12_000.0, 12.0, "wide", 0.9),
        (3_000.0, 20.0, "phase", 0.9),
    )
    signals = [
        Signal(hz, over_noise(chain, snr_db), manner, 0.2, 1.0, duty=duty)
        for hz, snr_db, manner, duty in amateurs
    ]
    for hz in (-27_400.0, -8_150.0, 8_000.0, 14_300.0, 19_750.0, 31_000.0, 38_000.0):
        snr_db = float(dice.uniform(12.0, 30.0))
        if overload and 0 < hz < 20_000:
            snr_db = STRONG_DB["samples"]
        signals.append(Signal(hz, over_noise(chain, snr_db), "carrier", float(dice.uniform(0.1, 0.4)), 2.0))
    return tuple(signals)
