"""What receiving costs: 2.048 million samples a second over TCP, turned into spectra while passes are committed.

A process of its own sends 8-bit pairs of noise and a carrier at that rate, and throws away what it cannot hand on for
200 ms, as a server of samples does. Here the driver's own source receives them while a pass is committed every second:
once with nobody asking for samples (the daemon between passes), once with a spectrum of half a second every five
seconds (54 visits, nine bands by six, in four minutes and a half), and once with one spectrum after another, the
densest that a pass can be. The reference is a bare loop that reads the same bytes off a socket and drops them.

    python -m tests.benchmarks.streaming [--quick] [--seconds 30] [--write docs/speed.md]

Exits 1 when a sample was thrown away, or when waiting, or a spectrum every five seconds, takes over 10 % of one core
and over twelve times the bare loop.
"""

import argparse
import multiprocessing
import os
import socket
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from drivers.protocols.allowed import GATES
from drivers.samples.tcp import StreamOptions, TcpSamples
from sweeper.spectra.axis import axis_of
from sweeper.spectra.welch import spectrum
from sweeper.store import Store
from sweeper.words import ANTENNA_BYPASS, Channel, PassRecord, Reading
from tests.benchmarks.written import write_between

RATE_HZ = 2_048_000
HEADER = b"RTL0" + (5).to_bytes(4, "big") + (29).to_bytes(4, "big")
"""The magic word, tuner 5 (R820T) and its number of gains (rtl_tcp's public protocol)."""
PIECES_A_SECOND, PATIENCE_S = 100, 0.2
MOST_OF_A_CORE, MOST_TIMES_BARE = 0.10, 12.0
SPECTRUM_S, READINGS = 0.5, 96
EVENING = datetime(2026, 11, 1, 18, tzinfo=UTC)


class Cost(NamedTuple):
    """Share of one core, memory in megabytes, samples a server threw away or that a block misses, spectra taken."""

    of_a_core: float
    memory_mb: float
    lost: int
    spectra: int


def send(port: Any, thrown_away: Any) -> None:
    """Serve one client at `RATE_HZ` until it hangs up; samples are thrown away that wait for over `PATIENCE_S`."""
    dice, at = np.random.default_rng(5), np.arange(RATE_HZ)
    wave = 12.0 * (dice.standard_normal(len(at)) + 1j * dice.standard_normal(len(at)))
    wave += 20.0 * np.exp(2j * np.pi * 0.1 * at)
    pairs = memoryview(np.clip(np.round(wave.view(np.float64) + 127.5), 0, 255).astype(np.uint8).tobytes())
    size = 2 * RATE_HZ // PIECES_A_SECOND
    with socket.create_server(("127.0.0.1", 0)) as server:
        port.value = server.getsockname()[1]
        client, _ = server.accept()
    with client:
        client.sendall(HEADER)
        began, nth = time.monotonic(), 0
        try:
            while True:
                late_s = time.monotonic() - began - nth / PIECES_A_SECOND
                time.sleep(max(-late_s, 0.0))
                if late_s > PATIENCE_S:
                    thrown_away.value += size // 2
                else:
                    first = nth * size % len(pairs)
                    client.sendall(pairs[first : first + size])
                nth += 1
        except OSError:
            return


def measured(receive: Callable[[int, float], Cost], seconds: float) -> Cost:
    """What `receive` costs with a sender of its own."""
    context = multiprocessing.get_context("spawn")
    port, thrown_away = context.Value("i", 0), context.Value("q", 0)
    process = context.Process(target=send, args=(port, thrown_away))
    process.start()
    try:
        while not port.value and process.is_alive():
            time.sleep(0.05)
        found = receive(port.value, seconds)
        return found._replace(lost=found.lost + thrown_away.value)
    finally:
        process.terminate()
        process.join()


def bare(port: int, seconds: float) -> Cost:
    """Read and drop."""
    buffer = bytearray(1 << 18)
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVLOWAT, 2 * RATE_HZ // PIECES_A_SECOND)
        began_s, spent_s = time.monotonic(), time.process_time()
        while time.monotonic() < began_s + seconds:
            connection.recv_into(buffer)
        return Cost(_share(began_s, spent_s), _memory_mb(), 0, 0)


def ours(every_s: float | None) -> Callable[[int, float], Cost]:
    """The driver's source, with a spectrum every `every_s` seconds (None: none), and a pass committed each second."""

    def receive(port: int, seconds: float) -> Cost:
        options = StreamOptions(host="127.0.0.1", port=port, rate_hz=RATE_HZ)
        axis = axis_of(RATE_HZ, real=False, band_hz=(-800e3, 800e3), step_hz=31.25)
        source = TcpSamples(options, GATES["samples"])
        with tempfile.TemporaryDirectory() as folder, Store(Path(folder), "Saltmarsh", 8.1) as store:
            store.write_pass(*_pass(0))
            spectrum(
                [source.take(SPECTRUM_S, time.monotonic())], axis
            )  # what is loaded and planned only once
            began_s, spent_s = time.monotonic(), time.process_time()
            passes = taken = lost = 0
            while (now_s := time.monotonic()) < began_s + seconds:
                if now_s - began_s >= passes:
                    passes += 1
                    store.write_pass(*_pass(passes))
                if every_s is not None and now_s - began_s >= taken * every_s:
                    block = source.take(SPECTRUM_S, now_s)
                    lost += sum(gap > 0 for gap in block.gaps) + block.unplaced
                    spectrum([block], axis)
                    taken += 1
                else:
                    time.sleep(0.05)
            found = Cost(_share(began_s, spent_s), _memory_mb(), lost, taken)
        source.close()
        return found

    return receive


def _pass(number: int) -> tuple[PassRecord, list[Reading]]:
    at = EVENING + timedelta(seconds=number)
    channel = Channel("10 m", 28_100_000, "noise", 281)
    readings = [
        Reading(at + timedelta(milliseconds=nth), number, channel, ANTENNA_BYPASS, -90.0 + nth % 7, None)
        for nth in range(READINGS)
    ]
    return PassRecord(number, at, at + timedelta(seconds=1), "done", "", 0), readings


def _share(began_s: float, spent_s: float) -> float:
    return (time.process_time() - spent_s) / (time.monotonic() - began_s)


def _memory_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def table(kinds: dict[str, Cost]) -> str:
    reference = kinds["bare loop: read and drop"].of_a_core
    return "\n".join(
        (
            f"| {datetime.now(UTC):%-d %B %Y}, 2.048 MS/s "
            "| of one core | times the bare loop | spectra | samples lost |",
            "| --- | --- | --- | --- | --- |",
            *(
                f"| {name} | {100 * cost.of_a_core:.1f} % | {cost.of_a_core / reference:.1f} "
                f"| {cost.spectra or '–'} | {cost.lost} |"
                for name, cost in kinds.items()
            ),
        )
    )


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="a few seconds each")
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--write", type=Path)
    options = parser.parse_args()
    seconds = 2.0 if options.quick else options.seconds
    kinds = {
        name: measured(receive, seconds)
        for name, receive in (
            ("bare loop: read and drop", bare),
            ("ours, nobody asks for any", ours(None)),
            ("ours, a spectrum every 5 s", ours(5.0)),
            ("ours, one spectrum after another", ours(0.0)),
        )
    }
    text = table(kinds)
    print(text)
    for name, cost in kinds.items():
        print(f"{name}: {cost.memory_mb:.0f} MB")
    if options.write is not None:
        write_between(options.write, "streaming", text)
    bare_share = kinds["bare loop: read and drop"].of_a_core
    held = ("ours, nobody asks for any", "ours, a spectrum every 5 s")
    dear = [
        name
        for name in held
        if kinds[name].of_a_core > MOST_OF_A_CORE and kinds[name].of_a_core > MOST_TIMES_BARE * bare_share
    ]
    return 1 if dear or (any(cost.lost for cost in kinds.values()) and not options.quick) else 0


if __name__ == "__main__":
    sys.exit(main())
