"""The live sockets of a running daemon: readings, passes and state out, requests in, on a thread of their own.

The measuring thread hands over finished messages and goes on; whatever comes in from outside is read, judged and
answered here. A flood is slowed at its source: what is not taken stays in the sender's queue.
"""

import contextlib
import os
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import zmq

if TYPE_CHECKING:
    from zmq.auth.thread import ThreadAuthenticator

from sweeper.clock import Clock
from sweeper.daemon.live import endpoints, messages
from sweeper.daemon.live.front import ENCRYPTED, Count, Front
from sweeper.daemon.live.messages import Answer, NotUnderstood, PassOver, Request, State, Visited, Wear
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.orders import Orders
from sweeper.daemon.run.states import Doing
from sweeper.errors import UserFacingError
from sweeper.station.running import Live as LiveSection
from sweeper.store import Store, StoreError
from sweeper.words import Hand, Labelled, PassRecord, Reading, Visit

LARGEST_REQUEST = 16 * 1024
"""Bytes; a note of 2000 characters fits thrice. A peer that sends more is hung up on."""

UNANSWERED = 64 * 1024
"""Bytes that a peer across a network says at most before it is answered: a handshake and three requests."""

SUBSCRIBING = 64 * 1024
"""Bytes that a listener says in all: a greeting and what it subscribes to take a hundred."""

REQUESTS_A_SECOND = 20
STATE_EVERY_S = 10.0
QUEUE = 2000
"""Messages that wait for the live thread at most; the oldest go first, as with any slow subscriber."""


class Live(Observer):
    """Publishes what it is told and answers requests. Its calls come from the measuring thread."""

    def __init__(
        self,
        station: str,
        store: Store,
        clock: Clock,
        orders: Orders,
        section: LiveSection,
        look: Callable[[], tuple[Wear | None, str]],
    ) -> None:
        self._station = station
        self._store = store
        self._clock = clock
        self._orders = orders
        self._look = look
        self._outgoing: deque[Visited | PassOver | State] = deque(maxlen=QUEUE)
        self._number = self._visits = self._nth = 0
        self._state = State(station=station, time=clock.now(), doing="starting", since=clock.now())
        self._bell = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)
        self._closing = threading.Event()
        self._authenticator: ThreadAuthenticator | None = None
        self._context: zmq.Context[zmq.Socket[bytes]] = zmq.Context(io_threads=1)
        self._fronts: list[Front] = []
        try:
            self._published, self._asked = self._bound(store.folder, section)
        except BaseException:
            self._context.destroy(linger=0)
            for front in self._fronts:
                front.close()
            os.close(self._bell)
            raise
        self._thread = threading.Thread(target=self._serve, name="live", daemon=True)
        self._thread.start()

    @property
    def state(self) -> State:
        """How the daemon is, with the time of asking."""
        return self._state.model_copy(update={"time": self._clock.now()})

    def begins(self, number: int, visits: int) -> None:
        self._number, self._visits, self._nth = number, visits, 0

    def visited(self, visit: Visit, readings: Sequence[Reading], heard: Labelled | None = None) -> None:
        self._nth += 1
        self._send(
            messages.visited(
                self._station, self._number, self._nth, self._visits, visit, readings, messages.seen(heard)
            )
        )

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        over = messages.pass_over(self._station, record, len(readings))
        wear, health = self._look()
        self._become(
            last_pass=over,
            done=self._state.done + (record.outcome == "done"),
            skipped=self._state.skipped + (record.outcome == "skipped"),
            failed=self._state.failed + (record.outcome == "failed"),
            wear=wear,
            health=health,
        )
        self._send(over)
        self._send(self.state)  # pass after pass nothing else would say how the night goes

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        before = self._state
        if before.wear is None:
            wear, health = self._look()
            self._become(wear=wear, health=health)
        if (before.doing, before.because, before.next_pass) == (doing, because, next_pass):
            return
        since = before.since if before.doing == doing else self._clock.now()
        self._become(doing=doing, because=because, next_pass=next_pass, since=since)
        self._send(self.state)

    def trouble(self, sentence: str, hand: Hand = "") -> None:
        self._become(trouble=sentence)
        self._send(self.state)

    def close(self) -> None:
        """Say the last words and let go of the sockets."""
        self._closing.set()
        self._ring()
        self._thread.join(timeout=5)
        if self._authenticator is not None:
            self._authenticator.stop()
        self._context.destroy(linger=200)
        for front in self._fronts:
            front.close()
        os.close(self._bell)
        for name in ("live", "control"):
            with contextlib.suppress(
                OSError
            ):  # A disk that takes no deletion leaves a socket that nobody answers.
                (self._store.folder / name).unlink(missing_ok=True)

    def _become(self, **changes: object) -> None:
        # One assignment of a frozen value: the live thread sees the old state or the new one, never half of each.
        self._state = self._state.model_copy(update=changes)

    def _send(self, message: Visited | PassOver | State) -> None:
        self._outgoing.append(message)
        self._ring()

    def _ring(self) -> None:
        with contextlib.suppress(BlockingIOError):  # It rings already.
            os.eventfd_write(self._bell, 1)

    def _bound(
        self, folder: Path, section: LiveSection
    ) -> tuple[list["zmq.Socket[bytes]"], list["zmq.Socket[bytes]"]]:
        published, asked = self._context.socket(zmq.PUB), self._context.socket(zmq.ROUTER)
        for socket in (published, asked):
            _harden(socket)
        for socket, name, in_all in ((published, "live", SUBSCRIBING), (asked, "control", None)):
            self._fronts.append(
                Front(socket, endpoints.listening(folder, name), partial(Count, LARGEST_REQUEST, in_all))
            )
        publishers, askers = [published], [asked]
        if section.publish or section.control:
            keys = folder / section.keys if section.keys else None
            if keys is None:
                raise UserFacingError(
                    "live.publish and live.control across a network need live.keys; make them with `sweeper keys`."
                )
            self._authenticate(keys)
            most = LARGEST_REQUEST + ENCRYPTED
            for address, kind, sockets, count in (
                (section.publish, zmq.PUB, publishers, partial(Count, most, SUBSCRIBING)),
                (section.control, zmq.ROUTER, askers, partial(Count, most, UNANSWERED, True)),
            ):
                if address:
                    socket = self._context.socket(kind)
                    _harden(socket)
                    socket.curve_publickey, socket.curve_secretkey = endpoints.server_pair(keys)
                    socket.curve_server = True
                    self._fronts.append(Front(socket, endpoints.listening_across(address), count))
                    sockets.append(socket)
        return publishers, askers

    def _authenticate(self, keys: Path) -> None:
        from zmq.auth.thread import ThreadAuthenticator

        allowed = _Allowed(endpoints.keys_allowed(keys))
        self._authenticator = ThreadAuthenticator(self._context)
        self._authenticator.start()
        self._authenticator.configure_curve_callback("*", allowed)

    def _serve(self) -> None:
        poller = zmq.Poller()
        poller.register(self._bell, zmq.POLLIN)
        allowance, window_ends, listening = REQUESTS_A_SECOND, 0.0, False
        next_state = 0.0
        while not self._closing.is_set():
            now = time.monotonic()  # real seconds: those of the peers, and of poll
            if now >= window_ends:
                allowance, window_ends = REQUESTS_A_SECOND, now + 1.0
            if listening != (allowance > 0):
                listening = allowance > 0
                for socket in self._asked:
                    (poller.register(socket, zmq.POLLIN) if listening else poller.unregister(socket))
            wake_at = next_state if listening else min(next_state, window_ends)
            ready = dict(poller.poll(int(max(wake_at - now, 0.0) * 1000) + 1))
            if self._bell in ready:
                with contextlib.suppress(BlockingIOError):
                    os.eventfd_read(self._bell)
            self._publish()
            for socket in self._asked:
                if allowance > 0 and socket in ready:
                    allowance -= 1
                    self._answer(socket)
            if time.monotonic() >= next_state:
                next_state = time.monotonic() + STATE_EVERY_S
                self._broadcast(self.state)
        self._publish()

    def _publish(self) -> None:
        while self._outgoing:
            self._broadcast(self._outgoing.popleft())

    def _broadcast(self, message: Visited | PassOver | State) -> None:
        frames = messages.frames(message)
        for socket in self._published:
            with contextlib.suppress(zmq.Again):
                socket.send_multipart(frames, zmq.NOBLOCK)

    def _answer(self, socket: "zmq.Socket[bytes]") -> None:
        try:
            who, *rest = socket.recv_multipart(zmq.NOBLOCK)
        except zmq.Again:
            return
        # A request socket puts an empty frame before its one frame of body; whatever else comes is not ours.
        if len(rest) != 2 or rest[0]:
            return
        try:
            answer = self._carry_out(messages.read_request(rest[1]))
        except NotUnderstood as problem:
            answer = Answer(ok=False, sentence=f"That request is not understood. {problem}")
        with contextlib.suppress(zmq.ZMQError):  # Whoever asked is gone.
            socket.send_multipart((who, b"", answer.model_dump_json().encode()), zmq.NOBLOCK)

    def _carry_out(self, request: Request) -> Answer:
        ok, sentence = True, ""
        match request.command:
            case "status":
                sentence = in_a_sentence(self.state)
            case "pause":
                sentence = (
                    "Measuring is paused; a pass under way ends within one visit, and the relays go to rest."
                    if self._orders.pause()
                    else "Measuring is paused already."
                )
            case "resume":
                sentence = "Measuring goes on." if self._orders.resume() else "Measuring is not paused."
            case "stop":
                self._orders.stop()
                sentence = "The daemon ends; relays go to rest and the receiver back to its saved state."
            case "note":
                ok, sentence = self._note(request.text)
        return Answer(ok=ok, sentence=sentence, state=self.state)

    def _note(self, text: str) -> tuple[bool, str]:
        if not text.strip():
            return False, "A note needs words; nothing was kept."
        try:
            self._store.add_note(self._clock.now(), text)
        except StoreError as full:
            return False, str(full)
        return True, "The note is kept."


class _Allowed:
    """The clients that may come across a network, by their public keys as they were at the start."""

    def __init__(self, keys: frozenset[bytes]) -> None:
        self._keys = keys

    def callback(self, domain: str, key: bytes) -> bool:
        return key in self._keys


def _harden(socket: "zmq.Socket[bytes]") -> None:
    socket.linger = 200
    socket.maxmsgsize = LARGEST_REQUEST
    socket.sndhwm = 1000
    socket.rcvhwm = REQUESTS_A_SECOND
    socket.handshake_ivl = 5000


def in_a_sentence(state: State) -> str:
    """The state for a person: what it does, what comes next, what went wrong, how the relays wear."""
    upcoming = f", next pass at {state.next_pass:%d %B %H:%M} UTC" if state.next_pass is not None else ""
    reason = f" ({state.because})" if state.because else ""
    parts = [f"{state.station}: {state.doing}{reason}{upcoming}.", state.health]
    if state.trouble:
        parts.append(state.trouble)
    if state.wear is not None:
        wear = state.wear
        told = (
            wear.warning or f"the busiest relay has made {wear.operations} of {wear.rated} rated operations."
        )
        parts.append(f"{told[0].upper()}{told[1:]}")
    return " ".join(part for part in parts if part)
