"""What the live page knows: the daemon's published messages, kept as one view of now, and how it is seen.

Listens to the daemon's socket and asks it once at the start; never touches the rig or the store. The daemon may be
down, start later or be started again: the socket finds it, and silence is told as silence.
"""

import asyncio
import contextlib
import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import zmq
import zmq.asyncio

from sweeper.clock import Clock, SystemClock
from sweeper.daemon.live import endpoints
from sweeper.daemon.live.client import ask
from sweeper.daemon.live.messages import NotUnderstood, PassOver, Request, State, Visited, read_live
from sweeper.errors import UserFacingError

SILENCE_S = 3.0
"""After so long without a word the daemon is asked whether it is there."""
LOOK_EVERY_S = 1.0
PASSES_KEPT = 200


@dataclass
class Now:
    """The view of now. Guarded by the event loop: only the feed changes it, on the loop."""

    state: State | None = None
    heard: datetime | None = None
    alive: bool = False
    visiting: Visited | None = None
    last_visits: dict[tuple[str, int, str], Visited] = field(default_factory=dict)
    looked_at: tuple[str, int] | None = None
    """Band and place, in hertz, of the tuning whose spectrum came last."""
    passes: deque[PassOver] = field(default_factory=lambda: deque(maxlen=PASSES_KEPT))
    version: int = 0


class Feed:
    """Keeps `now` up to date and wakes whoever waits for a change."""

    def __init__(
        self, folder: Path, on_pass: Callable[[], None] = lambda: None, clock: Clock | None = None
    ) -> None:
        self.now = Now()
        self._folder = folder
        self._clock = clock or SystemClock()
        # The wall clock may be set meanwhile; how long it has been silent must not hang on that.
        self._heard_s = -math.inf
        self._on_pass = on_pass
        self._changed = asyncio.Condition()
        self.ended = False

    async def run(self) -> None:
        """Listen until cancelled."""
        context = zmq.asyncio.Context()
        try:
            socket = context.socket(zmq.SUB)
            socket.linger = 0
            socket.rcvhwm = 1000
            # A daemon that starts again binds a new socket at the same place: look for it often.
            socket.reconnect_ivl = 100
            socket.reconnect_ivl_max = 1000
            socket.subscribe(b"")
            socket.connect(endpoints.local(self._folder, "live"))
            await self._ask()
            while True:
                if await socket.poll(int(LOOK_EVERY_S * 1000)):
                    _, body = await socket.recv_multipart()
                    await self._take(body)
                else:
                    await self._listen_to_silence()
        finally:
            context.destroy(linger=0)

    async def changed_since(self, version: int, within_s: float) -> bool:
        """Wait until `now` is another one than `version`; False when nothing changed meanwhile."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(within_s), self._changed:
                await self._changed.wait_for(lambda: self.now.version != version)
        return self.now.version != version

    async def touch(self) -> None:
        """Something beside the messages changed: whoever waits should look."""
        async with self._changed:
            self.now.version += 1
            self._changed.notify_all()

    async def end(self) -> None:
        """The page is about to be served no longer: whoever waits should leave."""
        self.ended = True
        await self.touch()

    async def took(self, state: State) -> None:
        """A state that came as the answer to a request."""
        self.now.state = state
        self._hear()
        await self.touch()

    def _hear(self) -> None:
        self.now.alive, self.now.heard, self._heard_s = True, self._clock.now(), self._clock.monotonic()

    async def _take(self, body: bytes) -> None:
        try:
            message = read_live(body)
        except NotUnderstood:
            return  # A daemon of another version may say more than this page knows.
        now = self.now
        self._hear()
        if isinstance(message, State):
            now.state = message
            if message.doing != "measuring":
                now.visiting = None
            if message.last_pass is not None and not now.passes:
                now.passes.append(message.last_pass)
            if message.doing == "stopping":
                now.alive = False
        elif isinstance(message, Visited):
            now.visiting = message
            if message.spectrum is not None:
                now.looked_at = message.band, message.hz
            now.last_visits[message.band, message.hz, f"{message.source}-{message.route}"] = message
        else:
            now.visiting = None
            if not now.passes or now.passes[-1].pass_number != message.pass_number:
                now.passes.append(message)
            self._on_pass()
        await self.touch()

    async def _listen_to_silence(self) -> None:
        """A daemon that waits says little: asked, it answers, and one that is gone does not."""
        now = self.now
        quiet_s = self._clock.monotonic() - self._heard_s
        if quiet_s < SILENCE_S or (not now.alive and not (self._folder / "control").exists()):
            return
        if not await self._ask() and now.alive:
            now.alive, now.visiting = False, None
            await self.touch()

    async def _ask(self) -> bool:
        """How the daemon is, asked; False when none answers."""
        try:
            answer = await asyncio.to_thread(ask, self._folder, Request(command="status"), 1.0)
        except UserFacingError:
            return False
        if answer.state is not None:
            if answer.state.last_pass is not None and not self.now.passes:
                self.now.passes.append(answer.state.last_pass)
            await self.took(answer.state)
        return True
