"""The live sockets by themselves: what a listener hears, what an order does, and what a flood does not."""

import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import zmq

from sweeper.clock import JumpingClock
from sweeper.daemon.live import endpoints
from sweeper.daemon.live.client import ask, ask_across
from sweeper.daemon.live.messages import (
    Answer,
    PassOver,
    Request,
    State,
    Visited,
    Wear,
    read_answer,
    read_live,
)
from sweeper.daemon.live.sockets import REQUESTS_A_SECOND, Live, in_a_sentence
from sweeper.daemon.run.orders import Orders
from sweeper.errors import UserFacingError
from sweeper.station.running import Live as LiveSection
from sweeper.store import Store
from sweeper.words import ANTENNA_STAGE, Channel, PassRecord, Reading, Visit

AT = datetime(2026, 11, 1, 16, tzinfo=UTC)
VISIT = Visit(Channel("40 m", 7_038_500, "noise", 2400), ANTENNA_STAGE)
READINGS = tuple(Reading(AT, 7, VISIT.channel, VISIT.path, -73.5 + n, None) for n in range(3))
WEAR = Wear(operations=5, rated=10, share=0.5)
WAIT_MS = 60_000


class Station:
    """The live sockets of a daemon in whose place the test speaks."""

    def __init__(self, folder: Path, section: LiveSection) -> None:
        self.store = Store(folder, "Outpost", 8.1)
        self.clock = JumpingClock(AT)
        self.orders = Orders()
        self.live = Live(
            "Outpost", self.store, self.clock, self.orders, section, lambda: (WEAR, "All is well.")
        )
        self.folder = self.store.folder

    def ask(self, command: str, text: str = "") -> Answer:
        return ask(self.folder, Request(command=command, text=text), timeout_s=60)  # type: ignore[arg-type]

    def finished(self, outcome: str = "done") -> None:
        self.live.finished(PassRecord(7, AT, AT, outcome, "because", 4), READINGS)  # type: ignore[arg-type]


@contextmanager
def serving(folder: Path, section: LiveSection | None = None) -> Iterator[Station]:
    station = Station(folder, section or LiveSection())
    with closing(station.store), closing(station.live):
        yield station


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Station]:
    with serving(tmp_path) as served:
        yield served


@contextmanager
def listening(station: Station) -> Iterator[Callable[[type], Visited | PassOver | State]]:
    """The next message of a kind, as a subscriber hears it. The subscription is in place when this yields."""
    with zmq.Context(io_threads=1) as context, context.socket(zmq.SUB) as socket:
        socket.linger = 0
        socket.connect(endpoints.local(station.folder, "live"))
        socket.subscribe(b"")
        end = time.monotonic() + WAIT_MS / 1000

        def heard(kind: type) -> Visited | PassOver | State:
            while time.monotonic() < end and socket.poll(WAIT_MS):
                message = read_live(socket.recv_multipart()[1])
                if isinstance(message, kind):
                    return message
            raise AssertionError(f"no {kind.__name__} was told")

        while not socket.poll(
            20
        ):  # what is told before the subscription came through is lost, as it should be
            assert time.monotonic() < end
            station.live.trouble("is anybody there?")
        station.live.trouble("now it begins")
        while "begins" not in getattr(heard(State), "trouble", ""):
            pass
        yield heard


def test_a_listener_hears_visits_with_their_place_in_the_pass(station: Station) -> None:
    with listening(station) as heard:
        station.live.begins(7, 12)
        station.live.visited(VISIT, READINGS)
        station.live.visited(VISIT, READINGS)
        first, second = heard(Visited), heard(Visited)
    assert isinstance(first, Visited) and isinstance(second, Visited)
    assert (first.station, first.pass_number, first.visits) == ("Outpost", 7, 12)
    assert (first.nth, second.nth) == (1, 2)
    assert [one.reading for one in first.readings] == [-73.5, -72.5, -71.5]


def test_visits_are_counted_anew_with_each_pass(station: Station) -> None:
    with listening(station) as heard:
        for number in (7, 8):
            station.live.begins(number, 4)
            station.live.visited(VISIT, READINGS)
        told = [heard(Visited) for _ in range(2)]
    assert [each.nth for each in told if isinstance(each, Visited)] == [1, 1]


def test_a_finished_pass_is_told_and_counted_by_its_outcome(station: Station) -> None:
    with listening(station) as heard:
        station.finished()
        over = heard(PassOver)
    assert isinstance(over, PassOver)
    assert (over.pass_number, over.outcome, over.readings, over.relay_operations) == (7, "done", 3, 4)
    for outcome in ("skipped", "failed", "failed"):
        station.finished(outcome)
    state = station.ask("status").state
    assert state is not None and state.last_pass is not None
    assert (state.done, state.skipped, state.failed) == (1, 1, 2)
    assert (state.last_pass.outcome, state.wear, state.health) == ("failed", WEAR, "All is well.")


def test_since_is_when_it_began_to_do_what_it_does(station: Station) -> None:
    station.live.doing("waiting", "", None)
    station.clock.sleep(60)
    station.live.doing("waiting", "thinned", AT + timedelta(hours=1))
    state = station.live.state
    assert (state.since, state.because, state.next_pass) == (AT, "thinned", AT + timedelta(hours=1))
    assert state.time == AT + timedelta(seconds=60)
    station.live.doing("measuring", "", None)
    assert station.live.state.since == AT + timedelta(seconds=60)


def test_what_does_not_change_is_not_told_again(station: Station) -> None:
    station.live.doing("waiting", "", None)
    with listening(station) as heard:
        station.live.doing("waiting", "", None)
        station.live.doing("yielding", "somebody listens", None)
        told = heard(State)
    assert isinstance(told, State) and told.doing == "yielding"


def test_orders_are_carried_out_and_answered_in_a_sentence(station: Station) -> None:
    assert station.ask("pause").ok and station.orders.paused
    assert "paused already" in station.ask("pause").sentence
    assert "goes on" in station.ask("resume").sentence and not station.orders.paused
    assert "not paused" in station.ask("resume").sentence
    assert not station.orders.stopping
    assert station.ask("stop").ok and station.orders.stopping


def test_a_note_is_kept_with_its_time_and_an_empty_one_is_not(station: Station) -> None:
    station.clock.sleep(90)
    assert station.ask("note", "ferrites on the router").ok
    refused = station.ask("note", "  ")
    assert not refused.ok and "needs words" in refused.sentence
    assert [(note.time, note.text) for note in station.store.notes()] == [
        (AT + timedelta(seconds=90), "ferrites on the router")
    ]


def test_a_note_that_cannot_be_stored_is_refused_with_the_reason(station: Station) -> None:
    station.store.close()
    answer = station.ask("note", "ferrites on the router")
    assert not answer.ok and "closed" in answer.sentence


@contextmanager
def a_plain_peer(station: Station) -> Iterator["zmq.Socket[bytes]"]:
    with zmq.Context(io_threads=1) as context, context.socket(zmq.DEALER) as socket:
        socket.linger = 0
        socket.connect(endpoints.local(station.folder, "control"))
        yield socket


def test_what_is_no_request_is_told_so_and_what_has_another_shape_is_let_be(station: Station) -> None:
    good = Request(command="status").model_dump_json().encode()
    with a_plain_peer(station) as peer:
        for odd in ([good], [b"x", good], [b"", good, b""]):
            peer.send_multipart(odd)
        peer.send_multipart([b"", b"{"])
        assert peer.poll(WAIT_MS)
        answer = read_answer(peer.recv_multipart()[1])
        assert not answer.ok and "not understood" in answer.sentence
        peer.send_multipart([b"", good])
        assert peer.poll(WAIT_MS)
        assert read_answer(peer.recv_multipart()[1]).ok


def test_a_flood_is_answered_at_its_allowance_and_the_measuring_is_not_kept(station: Station) -> None:
    good = Request(command="status").model_dump_json().encode()
    asked = 3 * REQUESTS_A_SECOND
    with a_plain_peer(station) as peer:
        began = time.monotonic()
        for _ in range(asked):
            peer.send_multipart([b"", good])
        station.finished()
        for _ in range(asked):
            assert peer.poll(WAIT_MS)
            peer.recv_multipart()
    # So many in each second; the first window may be nearly over when they come.
    assert time.monotonic() - began >= asked / REQUESTS_A_SECOND - 2


def test_across_a_network_only_who_has_an_allowed_key_is_answered(tmp_path: Path) -> None:
    with Store(tmp_path, "Outpost", 8.1) as store:
        keys = store.folder / "keys"
    endpoints.make_keys(keys)
    stranger = tmp_path / "stranger"
    endpoints.make_keys(stranger)
    (stranger / "server.key").write_bytes((keys / "server.key").read_bytes())
    with endpoints.listening_across("tcp://127.0.0.1:0") as free:
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    with serving(tmp_path, LiveSection(control=address, keys="keys")):
        request = Request(command="status")
        assert ask_across(address, endpoints.client_keys(keys), request, timeout_s=60).ok
        with pytest.raises(UserFacingError, match="not allowed"):
            ask_across(address, endpoints.client_keys(stranger), request, timeout_s=1)


def test_a_network_without_keys_is_no_door_and_leaves_nothing_open(tmp_path: Path) -> None:
    section = LiveSection.model_construct(publish="tcp://127.0.0.1:5750", control=None, keys=None)
    with Store(tmp_path, "Outpost", 8.1) as store, pytest.raises(UserFacingError, match="sweeper keys"):
        Live("Outpost", store, JumpingClock(AT), Orders(), section, lambda: (None, ""))


def test_after_the_end_nobody_answers(tmp_path: Path) -> None:
    with serving(tmp_path) as station:
        folder = station.folder
        assert (folder / "live").exists() and station.ask("status").ok
    assert not (folder / "live").exists() and not (folder / "control").exists()
    with pytest.raises(UserFacingError, match="no daemon runs here"):
        ask(folder, Request(command="status"))


def test_a_state_in_a_sentence_says_what_a_person_asks_first() -> None:
    state = State(station="Outpost", time=AT, doing="waiting", since=AT)
    assert in_a_sentence(state) == "Outpost: waiting."
    whole = state.model_copy(
        update={
            "because": "thinned", "next_pass": AT, "health": "A quiet night.", "trouble": "The disk is full.",
            "wear": WEAR,
        }
    )  # fmt: skip
    assert in_a_sentence(whole) == (
        "Outpost: waiting (thinned), next pass at 01 November 16:00 UTC. A quiet night. The disk is full. "
        "The busiest relay has made 5 of 10 rated operations."
    )
    worn = whole.model_copy(update={"wear": WEAR.model_copy(update={"warning": "relay 0 is worn."})})
    assert in_a_sentence(worn).endswith("Relay 0 is worn.")
