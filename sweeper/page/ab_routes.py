"""The page of an attended A/B test: what the browser asks for, and what it may ask to be done."""

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

from jinja2 import Environment
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from sweeper.outside import json_of
from sweeper.page.ab_test import AbTest, Wanted
from sweeper.page.assets import script_of, text_of
from sweeper.page.guard import Door
from sweeper.report.palette import style_variables
from sweeper.station import Station

LOOK_S = 0.25
INPUTS_S = 3.0
"""So long the sound inputs that were found are told again."""
HEARTBEAT = 40
"""Looks without news after which a browser is told that the page is still there."""
KEYS = ("switched", "load", "stop")


class AbPage:
    """Routes only; the test itself is `AbTest`."""

    def __init__(self, station: Station, test: AbTest, door: Door, templates: Environment) -> None:
        self._station, self._test, self._door, self._templates = station, test, door, templates
        self._ended = False
        self._asking = asyncio.Lock()
        self._heard: tuple[float, list[tuple[str, str]]] | None = None

    def routes(self) -> list[Route]:
        """To go with those of the live page, behind the same guard."""
        return [
            Route("/ab", self.first),
            Route("/ab.css", self.style),
            Route("/ab.js", self.script),
            Route("/ab/now", self.now),
            Route("/ab/events", self.events),
            Route("/ab/begin", self.begin, methods=["POST"]),
            Route("/ab/press", self.press, methods=["POST"]),
        ]

    async def end(self) -> None:
        """Let the event streams run out; relays rest before this returns."""
        self._ended = True
        await asyncio.to_thread(self._test.end)

    async def first(self, request: Request) -> Response:
        """The page, filled by `/ab/events`."""
        inputs = await self._inputs()
        return HTMLResponse(
            self._templates.get_template("ab_now.html").render(
                station=self._station.station.name,
                word=self._door.word,
                inputs=inputs,
                named=self._station.receiver.audio is not None,
                person=self._station.switch.by_hand,
            )
        )

    async def _inputs(self) -> list[tuple[str, str]]:
        """Programs are started to tell them: one at a time, and not for every look at the page."""
        async with self._asking:
            now_s = self._test.clock.monotonic()
            if self._heard is None or now_s - self._heard[0] > INPUTS_S:
                found = await asyncio.to_thread(_inputs)
                self._heard = (self._test.clock.monotonic(), found)
            return self._heard[1]

    async def style(self, request: Request) -> Response:
        """What this page adds to the style sheet."""
        text = text_of("ab_now.css").replace("@LIGHT@", style_variables("light"))
        return Response(text.replace("@DARK@", style_variables("dark")), media_type="text/css")

    async def script(self, request: Request) -> Response:
        """What paints it."""
        return Response(script_of("ab_now.js"), media_type="text/javascript")

    async def now(self, request: Request) -> Response:
        """All that it shows, once."""
        return JSONResponse(self._test.seen())

    async def events(self, request: Request) -> Response:
        """All that it shows, anew at every change."""

        async def told() -> AsyncIterator[str]:
            yield "retry: 1000\n\n"
            last, quiet = -1, 0
            while not self._ended:
                if self._test.version != last:
                    last, quiet = self._test.version, 0
                    yield f"event: all\ndata: {json.dumps(self._test.seen(), ensure_ascii=False)}\n\n"
                elif (quiet := quiet + 1) % HEARTBEAT == 0:
                    yield ": still here\n\n"
                await asyncio.sleep(LOOK_S)

        return StreamingResponse(told(), media_type="text/event-stream")

    async def begin(self, request: Request) -> Response:
        """Begin a test."""
        try:
            wanted = wanted_of(json_of(await request.body()))
        except (ValueError, KeyError, TypeError, AttributeError) as fault:
            return _said(False, f"That is no test: {fault}.", 400)
        if not self._test.begin(wanted):
            return _said(False, "A test is running already.", 409)
        return _said(True, "", 200)

    async def press(self, request: Request) -> Response:
        """A button was pressed."""
        try:
            key = json_of(await request.body())["key"]
        except (ValueError, KeyError, TypeError):
            key = None
        if key not in KEYS:
            return _said(False, "There is no such button.", 400)
        if not self._test.press(key):
            return _said(False, "No test is running.", 409)
        return _said(True, "", 200)


def wanted_of(told: Any) -> Wanted:
    """What was asked for. ValueError in words where a value is none."""
    hz, minutes, sound = told.get("hz"), told.get("minutes", 2.0), told.get("sound")
    if hz is not None and not (_is_number(hz) and 1e4 <= hz <= 1e10):
        raise ValueError("the frequency is a number of hertz, or left out")
    if not (_is_number(minutes) and 0.5 <= minutes <= 60.0):
        raise ValueError("it lasts from half a minute to sixty")
    if sound is not None and not (isinstance(sound, str) and sound.isprintable() and len(sound) <= 200):
        raise ValueError("the sound input is a name")
    return Wanted(
        None if hz is None else float(hz),
        float(minutes),
        told.get("by_hand") is True,
        sound or None,
        told.get("keep") is True,
    )


def _is_number(value: Any) -> bool:
    """Neither none nor one beyond what a float holds."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and -1e15 < value < 1e15


def _said(well: bool, sentence: str, status: int) -> Response:
    return JSONResponse({"ok": well, "sentence": sentence}, status)


def _inputs() -> list[tuple[str, str]]:
    """(name, description) of the sound inputs there are; none where that cannot be told."""
    from drivers.errors import RigError
    from drivers.samples.sound_inputs import sound_inputs

    try:
        return [(one.name, one.description) for one in sound_inputs()]
    except (RigError, OSError):
        return []
