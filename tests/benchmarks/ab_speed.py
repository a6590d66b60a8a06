"""How fast spectra are made and audio is read, and whether memory stays as the file grows."""

import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.fft import fft
from scipy.signal import welch

SAMPLES_HZ = 1_000_000
BEST_OF = 5
SWEEPER = str(Path(sys.executable).with_name("sweeper"))


def _best(work: Callable[[], object]) -> float:
    """Processor seconds of the quickest of a few goes: other programs on the machine only ever add."""
    taken = []
    for _ in range(BEST_OF):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return min(taken)


def spectra_speed(million: float = 8.0) -> dict[str, float]:
    """Million samples a second of complex64: sub-spectra as `ab --file` takes them, the spectrum of a stay, SciPy's
    `welch` with the same window, and bare FFTs of the same overlapping segments."""
    from drivers.contracts import Block
    from sweeper.spectra.axis import axis_of
    from sweeper.spectra.welch import frames, spectrum

    count = int(million * 1e6)
    dice = np.random.default_rng(1)
    samples = dice.standard_normal(2 * count, dtype=np.float32).view(np.complex64)
    axis = axis_of(SAMPLES_HZ, real=False)
    length = axis.length
    block = Block(samples, SAMPLES_HZ, (0.0, count / SAMPLES_HZ))

    def bare() -> None:
        some = max(1, (1 << 20) // (8 * length))
        starts = np.arange(0, count - length + 1, length // 2)
        for n in range(0, len(starts), some):
            fft(
                np.stack([samples[at : at + length] for at in starts[n : n + some]]), axis=1, overwrite_x=True
            )

    def scipys() -> None:
        welch(
            samples,
            SAMPLES_HZ,
            "blackmanharris",
            nperseg=length,
            return_onesided=False,
            detrend=False,
        )

    return {
        "frames": million / _best(lambda: list(frames([(0, block)], axis, 8))),
        "spectrum": million / _best(lambda: spectrum([block], axis)),
        "scipy": million / _best(scipys),
        "bare": million / _best(bare),
    }


def read_cost(recording: Path, marks: Path) -> tuple[float, float]:
    """(processor seconds, peak of resident memory in MB) of `sweeper ab --file` on a recording."""
    with subprocess.Popen(
        [
            SWEEPER,
            "ab",
            "--file",
            str(recording),
            "--dial",
            "7100000",
            "--mode",
            "USB",
            "--marks",
            str(marks),
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env=os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
    ) as child:
        told = child.stderr.read() if child.stderr else b""
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        raise RuntimeError(f"sweeper ab --file {recording} failed: {told.decode()}")
    return _processor(used), used.ru_maxrss / 1024


def _processor(used: resource.struct_rusage) -> float:
    return used.ru_utime + used.ru_stime
