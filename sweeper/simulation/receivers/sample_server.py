"""A server of 8-bit samples over TCP, as rtl_tcp's public protocol has it, on a bench's receiver.

One client at a time. Samples come at the pace of the station's clock: in real time, or whenever a simulated clock
jumps, before the sleeper goes on. A client that does not keep up for a second loses samples, as with the real one.
"""

import contextlib
import select
import socket
import struct
import threading
from collections.abc import Callable
from dataclasses import replace

from sweeper.clock import Clock
from sweeper.simulation.receivers.band_samples import BandSamples, Bytes
from sweeper.simulation.wires.command_log import CommandLog, Kind
from sweeper.simulation.world.bench import Bench
from sweeper.simulation.world.world import World

HEADER = b"RTL0" + struct.pack(">II", 5, 29)
"""A tuner of kind 5 with 29 gains."""
STEP_S = 0.01
LEFT_BEHIND_S = 1.0
"""Samples older than this are thrown away; the newest quarter of a second is kept."""
RECEIVING = frozenset({0x01, 0x02, 0x03, 0x04, 0x05, 0x08, 0x09, 0x0A})
BIAS_TEE = 0x0E


def allowed(command: bytes) -> bool:
    """Whether a program that only receives may say this; a voltage on the feed line it may not."""
    return len(command) == 5 and command[0] in RECEIVING


def kind_of(command: bytes) -> Kind:
    """What a command is about."""
    return "tune" if command[:1] == b"\x01" else "setting"


class SampleServer:
    """Listens on the loopback address. `bent` changes bytes on their way; `silent` holds them back; `pace` is by which
    factor more (or fewer) samples come than were asked for; `fed`: its station switches a voltage on the feed line.
    """

    def __init__(self, world: World, bench: Bench, clock: Clock, port: int = 0, *, ours: bool = True) -> None:
        self.samples = BandSamples(world, bench, clock)
        self.log = CommandLog("server of samples", self._allowed, kind_of, ours=ours)
        self.fed, self.clock = False, clock
        self.bent: Callable[[Bytes], Bytes] = lambda pairs: pairs
        self.header, self.silent, self.pace, self.bias_tee = HEADER, False, 1.0, False
        self._bench = bench
        self._lock = threading.Lock()
        self._client: socket.socket | None = None
        self._sent_until_s, self._kept, self._gain_by_hand = 0.0, b"", False
        self._gain_db = 0.0
        self._listener = socket.create_server(("127.0.0.1", port), backlog=1)
        self.port: int = self._listener.getsockname()[1]
        self.link = f"tcp://127.0.0.1:{self.port}"
        self._closed = threading.Event()
        self._threads = [threading.Thread(target=self._accept, daemon=True)]
        follow = getattr(clock, "follow", None)
        self._unfollow: Callable[[], None] = lambda: None
        if follow is not None:
            self._unfollow = follow(self._serve_until_now)
        else:
            self._threads.append(threading.Thread(target=self._pace, daemon=True))
        for thread in self._threads:
            thread.start()

    def _allowed(self, command: bytes) -> bool:
        return allowed(command) or (self.fed and command[:1] == bytes([BIAS_TEE]))

    def hang_up(self) -> None:
        """Close the connection, and go on listening."""
        client = self._client
        if client is not None:
            with contextlib.suppress(OSError):
                client.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """Close everything, and wait until nobody serves any more."""
        self._closed.set()
        self._unfollow()
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.hang_up()
        for thread in self._threads:
            thread.join(5.0)

    def _accept(self) -> None:
        while not self._closed.is_set():
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            # what is on its way stays short, so that a clock that jumps does not run ahead of who listens
            client.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 16)
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with client:
                with contextlib.suppress(OSError):
                    client.settimeout(10.0)
                    with self._lock:  # whoever has read the header gets every sample from then on
                        client.sendall(self.header)
                        self._kept, self._client = b"", client
                        self._sent_until_s = self.clock.monotonic()
                    self._listen_to(client)
                with self._lock:
                    self._client = None

    def _listen_to(self, client: socket.socket) -> None:
        """Commands as they come, until the client hangs up. Whoever makes samples looks for them first, too."""
        while not self._closed.is_set():
            if not _has_come(client, 100):
                continue
            with self._lock:
                if not self._commands(client):
                    return

    def _commands(self, client: socket.socket) -> bool:
        """Whatever has come so far; False when the client has hung up."""
        while _has_come(client, 0):
            data = client.recv(4096)
            if not data:
                return False
            self._kept += data
            while len(self._kept) >= 5:
                command, self._kept = self._kept[:5], self._kept[5:]
                self._obey(command)
        return True

    def _obey(self, command: bytes) -> None:
        self.log.note(command)
        code, number = struct.unpack(">BI", command)
        signed = struct.unpack(">i", command[1:])[0]
        tuned = self.samples.tuned
        if code == 0x01:
            self._bench.hz = number
            self.samples.tuned = replace(tuned, centre_hz=number)
        elif code == 0x02 and number > 0:
            self.samples.tuned = replace(tuned, rate_hz=number)
        elif code in (0x03, 0x04):
            if code == 0x03:
                self._gain_by_hand = number == 1
            else:
                self._gain_db = signed / 10.0
            gain_db = self._gain_db if self._gain_by_hand else None
            self.samples.tuned = replace(tuned, gain_db=gain_db)
        elif code == BIAS_TEE:
            self.bias_tee = number == 1

    def _pace(self) -> None:
        while not self._closed.wait(STEP_S):
            self._serve_until_now()

    def _serve_until_now(self) -> None:
        """The samples that are due, to whoever listens."""
        with self._lock:
            client, now_s = self._client, self.clock.monotonic()
            if client is None:
                return
            with contextlib.suppress(OSError):
                self._commands(client)
                if now_s - self._sent_until_s > LEFT_BEHIND_S:
                    self._sent_until_s = now_s - 0.25
                rate_hz = self.samples.tuned.rate_hz * self.pace
                count = int((now_s - self._sent_until_s) * rate_hz)
                self._sent_until_s += count / rate_hz
                if not self.silent and count:
                    client.sendall(self.bent(self.samples.next(count)).tobytes())


def _has_come(client: socket.socket, wait_ms: int) -> bool:
    poll = select.poll()
    poll.register(client, select.POLLIN)
    return bool(poll.poll(wait_ms))
