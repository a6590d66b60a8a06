"""Whatever order things happen in, the store holds what was stored: checked against a dictionary."""

import shutil
import tempfile
from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from sweeper.store import Store, day_of
from sweeper.store.frames import empty, frame_of
from sweeper.words import PassRecord, Reading
from tests.sweeper.store.nights import EVENING, LONGITUDE, open_store, pass_of

pytestmark = pytest.mark.slow

HOURS = st.integers(-100, 400)
"""Also before the beginning: clocks are stepped."""


class AnyOrder(RuleBasedStateMachine):
    """Passes at any time of a clock that jumps, days finished at any time of it, restarts, notes."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="any-order-"))
        self.store = open_store(self.folder)
        self.model: dict[int, tuple[PassRecord, tuple[Reading, ...]]] = {}
        self.noted: list[str] = []

    @rule(hours=HOURS, done=st.booleans())
    def store_a_pass(self, hours: int, done: bool) -> None:
        number = self.store.next_pass_number()
        assert number == len(self.model) + 1
        record, readings = pass_of(number, EVENING + timedelta(hours=hours), readings_a_visit=1)
        if not done:
            record = PassRecord(
                number, record.started, record.ended, "failed", "The link was lost.", 3, ("relays",)
            )
            readings = readings[:5]
        self.store.write_pass(record, readings)
        self.model[number] = (record, readings)

    @rule(hours=HOURS)
    def finish_days(self, hours: int) -> None:
        now = EVENING + timedelta(hours=hours)
        today = day_of(now, LONGITUDE)
        assert all(day < today for day in self.store.finish_days(now))

    @rule()
    def restart(self) -> None:
        self.store.close()
        self.store = open_store(self.folder)

    @rule(text=st.text(max_size=20))
    def note(self, text: str) -> None:
        self.store.add_note(EVENING, text)
        self.noted.append(text)

    @invariant()
    def all_is_there_once_and_in_order(self) -> None:
        by_day = sorted(
            self.model.values(), key=lambda each: (day_of(each[0].started, LONGITUDE), each[0].number)
        )
        wanted = pl.concat([empty(), *(frame_of(readings) for _, readings in by_day)])
        assert (
            self.store.readings()
            .collect()
            .sort("pass", maintain_order=True)
            .equals(wanted.sort("pass", maintain_order=True))
        )
        assert self.store.passes() == tuple(record for record, _ in self.model.values())
        days = sorted({day_of(record.started, LONGITUDE) for record, _ in self.model.values()})
        assert list(self.store.days()) == days
        assert pl.concat([empty(), *(self.store.day(day) for day in days)]).equals(wanted)
        assert [note.text for note in self.store.notes()] == self.noted
        assert self.store.troubles == ()
        with Store(self.folder, "Saltmarsh", LONGITUDE, read_only=True) as reader:
            assert reader.days() == self.store.days()

    def teardown(self) -> None:
        self.store.close()
        shutil.rmtree(self.folder)


AnyOrder.TestCase.settings = settings(max_examples=12, stateful_step_count=15, deadline=None)
test_any_order = AnyOrder.TestCase
