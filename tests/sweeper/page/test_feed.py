"""What the live page knows of the daemon, from the daemon's own socket."""

import asyncio
import contextlib
from datetime import UTC, datetime
from pathlib import Path

import pytest
import zmq

from sweeper.clock import JumpingClock
from sweeper.daemon.live import endpoints
from sweeper.daemon.live.messages import State
from sweeper.page.feed import LOOK_EVERY_S, SILENCE_S, Feed

WHEN = datetime(2026, 11, 1, 18, 30, tzinfo=UTC)


@pytest.mark.slow
def test_a_wall_clock_that_is_set_is_no_silence_and_silence_is_noticed(tmp_path: Path) -> None:
    clock = JumpingClock(WHEN)
    feed = Feed(tmp_path, clock=clock)
    state = State(station="Saltmarsh", time=WHEN, since=WHEN, doing="waiting")

    async def until(alive: bool) -> None:
        async with asyncio.timeout(60):
            while feed.now.alive is not alive:
                await asyncio.sleep(0.01)

    async def heard_set_and_silent() -> None:
        context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
        daemon = context.socket(zmq.PUB)
        daemon.bind(endpoints.local(tmp_path, "live"))
        listening = asyncio.ensure_future(feed.run())
        try:
            async with asyncio.timeout(60):
                while not feed.now.alive:  # said again until somebody has subscribed
                    daemon.send_multipart([b"state", state.model_dump_json().encode()])
                    await asyncio.sleep(0.05)
            assert feed.now.heard == WHEN
            clock.step(3600.0)
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(2.5 * LOOK_EVERY_S):
                    await until(alive=False)
            assert feed.now.alive
            clock.sleep(SILENCE_S)
            await until(alive=False)
        finally:
            listening.cancel()
            await asyncio.gather(listening, return_exceptions=True)
            context.destroy(linger=0)

    asyncio.run(heard_set_and_silent())
