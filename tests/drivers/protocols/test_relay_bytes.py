"""Boards that are a table of bytes: answers in any pieces, and whatever noise brings."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.config_files import folder
from drivers.errors import BadReply
from drivers.protocols.relay_bytes import bits, load, one_of

TABLES = [load(file) for file in sorted((folder() / "dialects" / "boards").glob("*.yaml"))]
OK = {b"RELAY 1 ON,OK": True, b"RELAY 1 OFF,OK": False}


@given(st.lists(st.booleans(), min_size=1, max_size=40))
def test_states_come_through_as_bits_lowest_first(states):
    packed = sum(state << nth for nth, state in enumerate(states)).to_bytes((len(states) + 7) // 8, "little")
    read = bits(len(states), "board")
    assert [read(packed[:length]) for length in range(len(packed))] == [None] * len(packed)
    assert read(packed) == tuple(states)


def test_more_states_than_were_asked_for_are_no_answer():
    with pytest.raises(BadReply, match="2 bytes where 1 were due"):
        bits(8, "board")(b"\x01\x01")


@pytest.mark.parametrize("answer", OK)
@pytest.mark.parametrize("around", [(b"", b""), (b"\r\n", b""), (b"", b"\r\n"), (b"\n", b"\n")])
def test_a_line_is_heard_whatever_line_ends_stand_around_it(answer, around):
    read = one_of(OK, "board", in_lines=True)
    before, after = around
    for length in range(len(before + answer)):
        assert read((before + answer)[:length]) is None
    assert read(before + answer + after) is OK[answer]


def test_bytes_are_heard_as_they_are():
    read = one_of({b"\xff\x01\x0a": True, b"\xff\x01\x0d": False}, "board", in_lines=False)
    assert read(b"\xff\x01") is None
    assert read(b"\xff\x01\x0a") is True
    assert read(b"\xff\x01\x0d") is False


@given(noise=st.binary(max_size=80), in_lines=st.booleans(), count=st.integers(1, 16))
def test_noise_raises_nothing_but_its_own_error(noise, in_lines, count):
    for read in (one_of(OK, "board", in_lines=in_lines), bits(count, "board")):
        with contextlib.suppress(BadReply):
            read(noise)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.source[:20])
def test_no_two_requests_of_a_table_are_the_same(table):
    """One command for two relays would move the wrong one."""
    rows = [text for row in table.relays.values() for text in (row.on, row.off, row.ask) if text is not None]
    asks = [table.states.ask] if table.states is not None else []
    assert len(table.allowed()) == len(rows) + len(asks)
