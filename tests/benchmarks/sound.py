"""How true the levels are that a pass reads from a receiver's sound, and what capturing costs.

Recordings with a planted truth, six stays of a second as in a pass with a load, go through what the engine calls.
Level: of the noise channel against the density planted; change: stage less bypass of the same pass, noise and carrier.
The capture is measured where PulseAudio is installed.

    python -m tests.benchmarks.sound [--quick] [--passes N] [--write docs/audio.md]
"""

import argparse
import math
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drivers.contracts import Block
from drivers.samples.sound import open_sound
from sweeper.simulation.recordings.planted import Chain, Mishaps, Planted, Receiving, Signal, over_noise
from sweeper.simulation.recordings.rendering import noise_density, render
from sweeper.simulation.recordings.switching import Stay
from sweeper.spectra.axis import axis_of
from sweeper.spectra.calm import calm_spectrum
from sweeper.spectra.rows import CELL_HZ, Learned, NothingHeard, learn, rows
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE, Channel, Labelled
from tests.benchmarks.written import write_between
from tests.drivers.samples.sound_server import sound_server

RATE_HZ = 48_000
ORDER = (ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS, LOAD_BYPASS, LOAD_STAGE)
STAY_S, SETTLED_S = 1.5, 0.3
DIAL_HZ = 9_999_000
NOISE = Channel("31 m", DIAL_HZ + 1000, "noise", 2400)
CARRIER = replace(NOISE, purpose="carrier")
CHAIN = Chain(external=56.0, receiver=28.0, stage=2.3, gain=33.0)
FLAT = Receiving(card_dbfs_per_hz=-150.0)
CASES: dict[str, tuple[tuple[tuple[float, float, str], ...], Receiving, Mishaps]] = {
    "noise alone": ((), FLAT, Mishaps()),
    "a carrier, 22 dB over the noise": (((1000.0, 22.0, "carrier"),), FLAT, Mishaps()),
    "carriers, keying and data side by side": (
        (
            (1000.0, 30.0, "carrier"),
            (1530.0, 18.0, "keyed"),
            (2100.0, 15.0, "phase"),
            (640.0, 12.0, "carrier"),
        ),
        FLAT,
        Mishaps(),
    ),
    "a filter with 1.5 dB of ripple and 6 dB of tilt (its level: its own shape)": (
        ((1000.0, 22.0, "carrier"),),
        replace(FLAT, ripple_db=1.5, tilt_db=6.0),
        Mishaps(),
    ),
    "mains hum as loud as the noise": (
        ((1000.0, 22.0, "carrier"),),
        replace(FLAT, hum_dbfs=-30.0),
        Mishaps(),
    ),
    "static, a crash every two seconds": (((1000.0, 22.0, "carrier"),), FLAT, Mishaps(clicks_per_s=0.5)),
}


def planted(case: str, seed: int) -> Planted:
    signals, receiving, mishaps = CASES[case]
    stays = tuple(Stay(STAY_S * nth, path) for nth, path in enumerate(ORDER))
    return Planted(
        "audio",
        RATE_HZ,
        STAY_S * len(ORDER),
        DIAL_HZ,
        stays,
        CHAIN,
        tuple(Signal(hz, over_noise(CHAIN, snr_db), manner, 0.05) for hz, snr_db, manner in signals),
        receiving,
        mishaps,
        seed=seed,
    )


def heard(truth: Planted) -> list[Labelled]:
    """Each stay as a visit."""
    whole: NDArray[np.float32] = np.concatenate(list(render(truth)))
    axis = axis_of(RATE_HZ, real=True, centre_hz=DIAL_HZ, band_hz=(0.0, 6000.0))
    found = []
    for stay in truth.stays:
        first = round((stay.at_s + SETTLED_S) * RATE_HZ)
        block = Block(whole[first : first + RATE_HZ], RATE_HZ, (0.0, 1.0))
        found.append(
            Labelled(
                stay.at_s, stay.at_s + 1.0, stay.path, DIAL_HZ, calm_spectrum(block, axis, (200.0, 3000.0))
            )
        )
    return found


def errors(case: str, passes: int, seed: int) -> Iterator[tuple[float, float, float | None]]:
    """(level, change of the noise, change of the carrier), each less the truth, dB; one a pass."""
    for nth in range(passes):
        truth = planted(case, 1000 * seed + nth)
        sequence = heard(truth)
        try:
            of = {channel: learn(channel, 1, sequence, 3000.0) for channel in (NOISE, CARRIER)}
        except NothingHeard:
            yield math.nan, math.nan, math.nan
            continue
        read = {channel: [_read(one, learned) for one in sequence] for channel, learned in of.items()}
        wanted = [10 * math.log10(noise_density(truth, path) * CELL_HZ) for path in ORDER]
        level = float(np.mean(read[NOISE])) - float(np.mean(wanted))
        change = _change(read[NOISE]) - (wanted[1] - wanted[0])
        carriers = [each for each in truth.signals if each.manner == "carrier"]
        gain = _change(read[CARRIER]) - 10 * math.log10(CHAIN.gain) if carriers else None
        yield level, change, gain


def _read(one: Labelled, learned: Learned) -> float:
    """The named carrier, or the mean of a tuning's cells."""
    named = [row.reading for row in rows(one, learned) if row.channel.hz == CARRIER.hz]
    cells = [row.reading for row in rows(one, learned) if row.channel.purpose == "noise"]
    return float(np.mean(cells or named[:1]))


def _change(values: list[float]) -> float:
    return (values[1] + values[2] - values[0] - values[3]) / 2


def capture() -> str:
    """Processor and delay of a capture at 48 kHz."""
    play = (
        "import time; from tests.drivers.samples.sound_server import Player, noise; "
        "Player('rx', noise()); time.sleep(60)"
    )
    with sound_server("rx 48000 1"):
        player = subprocess.Popen([sys.executable, "-c", play])
        time.sleep(3.0)
        source = open_sound({"device": "rx.monitor"})
        source.take(0.5, time.monotonic())
        began, worked = time.monotonic(), time.process_time()
        for _ in range(40):
            block = source.take(0.25, 0.0)
        share = (time.process_time() - worked) / (time.monotonic() - began)
        late_s = time.monotonic() - block.captured[1]
        latency_s = source.latency_s
        source.close()
        player.kill()
        player.wait()
    return (
        f"capture at 48 kHz: {100 * share:.1f} % of one core beside the capture program's own; bounds of capture "
        f"{1000 * latency_s:.0f} ms wide, samples {1000 * max(late_s, 0.0):.0f} ms old when they are given"
    )


def _told(column: NDArray[np.float64]) -> str:
    if np.isnan(column).all():
        return "–"
    return f"{np.nanmean(column):+.2f} ± {np.nanstd(column):.2f}".replace("-", "−")


def row(case: str, found: NDArray[np.float64]) -> str:
    """Of the table, and how many passes told no noise."""
    known = ~np.isnan(found[:, 0])
    lost = "" if known.all() else f" ({int((~known).sum())} passes told no noise)"
    return f"| {case}{lost} | {' | '.join(_told(column[known]) for column in found.T)} |"


HEAD = "| pass band | level | change of noise with the stage | carrier's gain |\n| --- | --- | --- | --- |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a few passes, to see that it runs")
    parser.add_argument("--passes", type=int, default=100)
    parser.add_argument("--only", default="", help="rows whose name holds this")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--write", type=Path, help="page to put the table into")
    asked = parser.parse_args()
    passes = 4 if asked.quick else asked.passes
    lines = [
        f"{passes} passes a row, seed {asked.seed}; errors in dB, mean ± rms scatter of a pass.",
        "",
        HEAD,
    ]
    print("\n".join(lines), flush=True)
    for case in (each for each in CASES if asked.only in each):
        found = np.array(
            [[np.nan if e is None else e for e in each] for each in errors(case, passes, asked.seed)]
        )
        lines.append(row(case, found))
        print(lines[-1], flush=True)
        by_chance = 3.0 * float(np.nanstd(found[:, 1])) / math.sqrt(passes)
        assert abs(np.nanmean(found[:, 1])) < 0.1 + by_chance, case
    if asked.write is not None:
        write_between(asked.write, "sound", "\n".join(lines))
    if shutil.which("pulseaudio") is not None and not asked.only:
        print(capture())


if __name__ == "__main__":
    main()
