"""One attended A/B test at a time, on a thread of its own, for whoever has the page open. Knows no HTTP."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, Literal

from drivers.errors import RigError
from drivers.waiting import StopOrder
from sweeper.clock import Clock, SystemClock
from sweeper.errors import UserFacingError
from sweeper.station import Station
from sweeper.store import Store, StoreError, keep_ab_test

if TYPE_CHECKING:  # what listens and compares is loaded with the first test
    from drivers.contracts import SampleSource
    from sweeper.attended.listening import Pressed
    from sweeper.attended.view import Attended, View

    Listen = Callable[[Station, str | None], SampleSource]

log = logging.getLogger(__name__)

MOST_WAITING = 100
LEAVE_S = 5.0
"""How long the end waits for the thread; relays rest within two seconds."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What somebody asks for on the page. `sound`: None for that of the station file."""

    hz: float | None = None
    minutes: float = 2.0
    by_hand: bool = False
    sound: str | None = None
    keep: bool = False


def with_buttons(sentence: str) -> str:
    """What a person at a keyboard is told to press, for one who has the page's buttons."""
    for key, button in (("the space bar", "the button"), ("press L", "press Load"), ("press q", "press End")):
        sentence = sentence.replace(key, button)
    return sentence


class AbTest:
    """What is going on, for all that look; and what they press."""

    def __init__(
        self, station: Station, data: Path, clock: Clock | None = None, listen: Listen | None = None
    ) -> None:
        self._station, self._data = station, data
        self.clock = clock or SystemClock()
        self._listen = listen
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._stop = StopOrder()
        self._pressed: Pressed = SimpleQueue()
        self._view: View | None = None
        self._answer, self._sentence, self._lines = "", "", tuple[str, ...]()
        self._figures = tuple[tuple[str, str], ...]()
        self.version = 0

    @property
    def running(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def begin(self, wanted: Wanted) -> bool:
        """Begin a test; False while one is running."""
        with self._lock:
            if self.running:
                return False
            self._stop, self._pressed = StopOrder(), SimpleQueue()
            self._view, self._answer, self._sentence, self._lines, self._figures = None, "", "", (), ()
            self._thread = threading.Thread(target=self._run, args=(wanted,), name="a/b test", daemon=True)
            self._thread.start()
            self.version += 1
            return True

    def press(self, key: Literal["switched", "load", "stop"]) -> bool:
        """A button; False where no test is running."""
        if not self.running:
            return False
        if self.waiting < MOST_WAITING:  # nobody presses faster than it is heard
            self._pressed.put((key, self.clock.monotonic()))
        return True

    @property
    def waiting(self) -> int:
        """Buttons pressed that the test has not heard of yet."""
        return self._pressed.qsize()

    def end(self) -> None:
        """Stop a test that is running and wait until relays rest."""
        self._stop.set()
        thread = self._thread
        if thread is not None:
            thread.join(LEAVE_S)

    def seen(self) -> dict[str, Any]:
        """All that a page shows, as plain values."""
        view = self._view
        return {
            "running": self.running,
            "view": None if view is None else view.as_dict(),
            "answer": self._answer,
            "sentence": self._sentence,
            "lines": list(self._lines),
            "figures": [list(row) for row in self._figures],
        }

    def _run(self, wanted: Wanted) -> None:
        try:
            self._finished(self._attended(wanted), wanted)
        except (UserFacingError, RigError, StoreError) as told:
            self._sentence = with_buttons(str(told))
        except OSError as refusal:
            self._sentence = f"This computer does not allow it: {refusal.strerror}."
        except Exception:  # a person waits for an answer, and a defect is no reason to leave them without
            log.exception("an A/B test met a defect")
            self._sentence = "The program met a defect of its own; its log says more. Nothing is claimed."
        finally:
            self._thread = None
            self.version += 1

    def _attended(self, wanted: Wanted) -> Attended:
        from sweeper.attended.at_station import asked_of, attended_at
        from sweeper.attended.sound import sound_of

        station, place = self._station, self._station.station
        settings, by_hand = station.analysis, wanted.by_hand or station.switch.by_hand
        asked = asked_of(
            self.clock.now(), wanted.minutes, by_hand, wanted.hz, settings.confidence, settings.worthwhile_db
        )
        listen = self._listen or sound_of
        with (
            closing(listen(station, wanted.sound)) as source,
            Store(self._data, place.name, place.longitude) as store,
        ):
            pressed, clock = self._pressed, self.clock
            return attended_at(station, store, source, asked, pressed, clock, self._stop, self._told)

    def _told(self, view: View) -> None:
        self._view = replace(
            view,
            next=with_buttons(view.next),
            hint=with_buttons(view.hint),
            trouble=with_buttons(view.trouble),
            still=with_buttons(view.still),
        )
        self.version += 1

    def _finished(self, attended: Attended, wanted: Wanted) -> None:
        from sweeper.ab import as_json, untold
        from sweeper.attended import advice
        from sweeper.report.ab_words import figures, headline, remarks

        result = attended.result
        self._sentence, self._figures = result.reason, figures(result)
        self._answer = headline(result) if untold(result) else advice.answer(result, result.edges, None)
        self._lines = tuple(remarks(attended))
        if wanted.keep:
            keep_ab_test(self._data, self._station.station.name, result.at or "", as_json(result))
            self._lines = (*self._lines, "Kept with the station's data.")
