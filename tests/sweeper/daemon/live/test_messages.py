"""Live messages carry their version, read back as they were written, and nothing else is taken for one."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sweeper.daemon.live import messages
from sweeper.daemon.live.messages import Answer, NotUnderstood, Request, State, Wear
from sweeper.words import ANTENNA_STAGE, Channel, PassRecord, Reading, Visit

AT = datetime(2026, 11, 1, 16, 10, tzinfo=UTC)
VISIT = Visit(Channel("40 m", 7_038_500, "noise", 2400), ANTENNA_STAGE)
READINGS = tuple(
    Reading(AT + timedelta(seconds=n), 7, VISIT.channel, VISIT.path, -73.5 + n, None) for n in range(3)
)


def test_a_visit_uses_the_words_of_the_readings_table() -> None:
    topic, body = messages.frames(messages.visited("Saltmarsh", 7, 2, 12, VISIT, READINGS))
    told = json.loads(body)
    assert topic == b"visit" and told["format"] == "sweeper-live-1"
    assert (told["pass"], told["band"], told["hz"], told["for"]) == (7, "40 m", 7_038_500, "noise")
    assert (told["source"], told["route"], told["bandwidth_hz"]) == ("antenna", "stage", 2400)
    assert [one["reading"] for one in told["readings"]] == [-73.5, -72.5, -71.5]
    assert told["readings"][0]["time"] == "2026-11-01T16:10:00Z"


def test_every_kind_reads_back_as_it_was_written() -> None:
    record = PassRecord(7, AT, AT, "failed", "receiver: gone.", 4, ("relays",), ("noise blanker",))
    over = messages.pass_over("Saltmarsh", record, 0)
    state = State(station="Saltmarsh", time=AT, doing="waiting", since=AT, next_pass=AT, last_pass=over,
                  wear=Wear(operations=5, rated=10, share=0.5, warning="half"))  # fmt: skip
    for message in (messages.visited("Saltmarsh", 7, 2, 12, VISIT, READINGS), over, state):
        topic, body = messages.frames(message)
        assert messages.read_live(body) == message
        assert json.loads(body)["kind"].encode() == topic


def test_a_reader_ignores_what_a_later_version_adds() -> None:
    body = json.loads(messages.frames(State(station="S", time=AT, doing="paused", since=AT))[1])
    assert messages.read_live(json.dumps({**body, "moon": "full"}).encode()).kind == "state"


def test_another_format_is_not_guessed_at() -> None:
    body = json.loads(messages.frames(State(station="S", time=AT, doing="paused", since=AT))[1])
    with pytest.raises(NotUnderstood):
        messages.read_live(json.dumps({**body, "format": "sweeper-live-2"}).encode())


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"\xff\xfe",
        b"null",
        b"[]",
        b"{}",
        b'{"command": "transmit"}',
        b'{"command": "pause", "shell": "rm"}',
        b'{"command": "note", "text": 5}',
        b'{"command": "note", "text": "' + b"x" * 2001 + b'"}',
        b'{"command": ["pause"]}',
        b'{"format": "sweeper-control-9", "command": "pause"}',
        b"[" * 100_000,
        b'{"command": "pause"' + b" " * 10_000,
    ],
)
def test_what_is_no_request_is_refused_in_a_sentence(body: bytes) -> None:
    with pytest.raises(NotUnderstood) as refusal:
        messages.read_request(body)
    assert 0 < len(str(refusal.value)) < 300


@given(st.binary(max_size=400))
def test_no_bytes_from_outside_raise_anything_else(body: bytes) -> None:
    for read in (messages.read_request, messages.read_live, messages.read_answer):
        try:
            read(body)
        except NotUnderstood:
            continue
        pytest.fail("random bytes were understood")


def test_requests_and_answers_round_trip() -> None:
    request = Request(command="note", text="ferrites on the router")
    assert messages.read_request(request.model_dump_json().encode()) == request
    answer = Answer(ok=True, sentence="The note is kept.")
    assert messages.read_answer(answer.model_dump_json().encode()) == answer
