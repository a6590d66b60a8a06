"""The live page as a web application: what it is doing now, tonight's findings, and a few buttons.

Routes only. What is known is `feed` and `tonight`, what is shown is `seen`, who may come in is `guard`.
"""

import asyncio
import contextlib
import json
import logging
from collections.abc import AsyncIterator
from pathlib import Path
from urllib.parse import parse_qs

from jinja2 import Environment, PackageLoader
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request as HttpRequest
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from sweeper.daemon.live.client import ask
from sweeper.daemon.live.messages import NOTE_LIMIT, Answer, Command, Request
from sweeper.errors import UserFacingError, WrongInput
from sweeper.outside import json_of
from sweeper.page.ab_routes import AbPage
from sweeper.page.ab_test import AbTest
from sweeper.page.assets import script_of, text_of
from sweeper.page.feed import Feed
from sweeper.page.guard import COOKIE, Door, Guard
from sweeper.page.seen import now_seen, tonight_seen
from sweeper.page.tonight import Reducing, Tonight, without_place
from sweeper.reduction import compare_fix, facts_of
from sweeper.report.palette import style_variables
from sweeper.report.setting import Setting
from sweeper.report.since_last import previous_findings
from sweeper.report.template import answer_style, policy, with_code
from sweeper.report.whole_file import write_page
from sweeper.station import Station
from sweeper.store import Store

log = logging.getLogger(__name__)

AT_MOST_EVERY_S = 0.4
"""A browser is told no more often than this: a person sees no faster, and twenty of them share one small computer."""
HEARTBEAT_S = 10.0


def live_page(station: Station, data: Path, door: Door, tonight: Tonight | None = None) -> Starlette:
    """The application for one station whose data lie in the folder `data`; `tonight`: what is reduced already."""
    page = _Page(station, data, door, tonight or Tonight())
    routes = [
        Route("/", page.first),
        Route("/page.css", page.style),
        Route("/page.js", page.script),
        Route("/now", page.now),
        Route("/events", page.events),
        Route("/report", page.report),
        Route("/enter", page.enter, methods=["GET", "POST"]),
        Route("/pause", page.pause, methods=["POST"]),
        Route("/resume", page.resume, methods=["POST"]),
        Route("/note", page.note, methods=["POST"]),
        *page.ab.routes(),
    ]
    app = Starlette(routes=routes, middleware=[Middleware(Guard, door=door)], lifespan=page.lifespan)
    app.state.end = page.end
    return app


class _Page:
    def __init__(self, station: Station, data: Path, door: Door, tonight: Tonight) -> None:
        self._station = station
        self._data = data
        self._folder = data / station.station.name
        self._door = door
        self._tonight = tonight
        self._feed = Feed(self._folder, lambda: self._reducing.wanted())
        self._reducing = Reducing(station, data, self._tonight, self._feed.touch)
        self._drawing = asyncio.Lock()
        self._drawn: tuple[object, str] = (None, "")
        self._templates = Environment(
            loader=PackageLoader("sweeper.page"), autoescape=True, trim_blocks=True, lstrip_blocks=True
        )
        self._templates.filters["code"] = with_code
        self.ab = AbPage(station, AbTest(station, data), door, self._templates)

    @contextlib.asynccontextmanager
    async def lifespan(self, app: Starlette) -> AsyncIterator[None]:
        """Listen and reduce for as long as the page is served."""
        tasks = [asyncio.create_task(self._feed.run()), asyncio.create_task(self._reducing.run())]
        try:
            yield
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    async def end(self) -> None:
        """Let open event streams run out, so that the server need not cut them off."""
        await self._feed.end()
        await self.ab.end()

    async def first(self, request: HttpRequest) -> Response:
        """The page itself; the browser fills it from `/events`."""
        return HTMLResponse(
            self._templates.get_template("page.html").render(
                station=self._station.station.name,
                zone=self._station.station.timezone,
                word=self._door.word,
                note_limit=NOTE_LIMIT,
                now=now_seen(self._feed.now, self._station),
                unit=self._station.receiver.meter.unit.replace("-", " "),
            )
        )

    async def style(self, request: HttpRequest) -> Response:
        """The style sheet, with the colours of both schemes."""
        text = text_of("page.css").replace("@ANSWER@", answer_style())
        text = text.replace("@LIGHT@", style_variables("light")).replace("@DARK@", style_variables("dark"))
        return Response(text, media_type="text/css")

    async def script(self, request: HttpRequest) -> Response:
        """The script that paints what `/events` tells."""
        return Response(script_of("page.js"), media_type="text/javascript")

    async def now(self, request: HttpRequest) -> Response:
        """All that the page shows, once, as JSON."""
        return JSONResponse(self._all())

    async def events(self, request: HttpRequest) -> Response:
        """All that the page shows, anew at every change, as server-sent events."""

        async def told() -> AsyncIterator[str]:
            yield "retry: 1000\n\n"
            last = ""
            while not self._feed.ended:
                version = self._feed.now.version
                text = json.dumps(self._all(), ensure_ascii=False)
                if text != last:
                    yield f"event: all\ndata: {text}\n\n"
                    last = text
                    await asyncio.sleep(AT_MOST_EVERY_S)
                if not await self._feed.changed_since(version, HEARTBEAT_S):
                    yield ": still here\n\n"

        return StreamingResponse(told(), media_type="text/event-stream")

    async def pause(self, request: HttpRequest) -> Response:
        """Stop measuring until resumed."""
        return await self._ask("pause")

    async def resume(self, request: HttpRequest) -> Response:
        """Measure again."""
        return await self._ask("resume")

    async def note(self, request: HttpRequest) -> Response:
        """Keep a remark with the time."""
        try:
            body = json_of(await request.body())
            text = body["text"].strip()
        except (ValueError, KeyError, TypeError, AttributeError):
            return JSONResponse({"ok": False, "sentence": "That is no note."}, 400)
        if not text or len(text) > NOTE_LIMIT:
            sentence = f"A note has between 1 and {NOTE_LIMIT} characters."
            return JSONResponse({"ok": False, "sentence": sentence}, 400)
        return await self._ask("note", text)

    async def report(self, request: HttpRequest) -> Response:
        """The report on all that is stored; drawn anew when the findings are."""
        reduced = self._tonight.reduced
        if reduced is None:
            return HTMLResponse(
                self._templates.get_template("nothing.html").render(
                    station=self._station.station.name,
                    why=self._tonight.trouble or "It is being reduced; try again.",
                ),
                404,
            )
        async with self._drawing:
            if self._drawn[0] is not reduced:
                self._drawn = (reduced, await asyncio.to_thread(self._draw))
        # The report brings its own style; everything else stays forbidden.
        return HTMLResponse(self._drawn[1], headers={"content-security-policy": policy()})

    async def enter(self, request: HttpRequest) -> Response:
        """Where a browser on another computer hands in the token."""
        wrong = False
        if request.method == "POST":
            given = parse_qs((await request.body()).decode("utf-8", "replace")).get("token", [""])[0].strip()
            if self._door.opens(given):
                answer = RedirectResponse("/", 303)
                answer.set_cookie(COOKIE, given, httponly=True, samesite="strict", max_age=30 * 86_400)
                return answer
            wrong = True
        page = self._templates.get_template("enter.html").render(
            station=self._station.station.name, wrong=wrong
        )
        return HTMLResponse(page, 403 if wrong else 200)

    def _all(self) -> dict[str, object]:
        return {
            "now": now_seen(self._feed.now, self._station, self._tonight.noise),
            "tonight": tonight_seen(self._tonight, self._station),
        }

    def _draw(self) -> str:
        """The report of now, kept in the station's folder so that the next one can say what changed."""
        from sweeper.reduction.noise import noise_of
        from sweeper.report.page import page_text  # what draws takes long to load, and few ask for a report

        reduced, place = self._tonight.reduced, self._station.station
        if reduced is None:
            return ""
        with Store(self._data, place.name, place.longitude, read_only=True) as store:
            facts = facts_of(self._station)
            comparison, notes = compare_fix(store, facts, None, summaries=reduced.summaries), store.notes()
            noise = noise_of(store, self._station, reduced.spectra)
        file = self._folder / "report.html"
        text = page_text(
            reduced.findings,
            reduced.evidence,
            reduced.passes,
            previous_findings(file, reduced.findings, place.timezone),
            setting=Setting.of(self._station, self._folder, reduced.spectra),
            comparison=comparison,
            notes=notes,
            noise=noise,
        )
        try:
            write_page(file, text)
        except WrongInput as told:  # a full disk hides no findings
            log.warning("%s", told)
        return text

    async def _ask(self, command: Command, text: str = "") -> Response:
        try:
            answer: Answer = await asyncio.to_thread(ask, self._folder, Request(command=command, text=text))
        except UserFacingError as told:
            return JSONResponse({"ok": False, "sentence": without_place(told, self._folder)}, 503)
        if answer.state is not None:
            await self._feed.took(answer.state)
        return JSONResponse({"ok": answer.ok, "sentence": answer.sentence}, 200 if answer.ok else 409)
