"""A simulated instrument survives whatever bytes arrive: it may refuse, but it must not fall over."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sweeper.clock import JumpingClock
from sweeper.simulation import saltmarsh
from sweeper.simulation.boards.byte_commands import BOARDS, ByteBoard
from sweeper.simulation.receivers.ascii import MODELS as ASCII
from sweeper.simulation.receivers.ascii import AsciiReceiver
from sweeper.simulation.receivers.binary import MODELS as BINARY
from sweeper.simulation.receivers.binary import BinaryReceiver
from sweeper.simulation.receivers.network import NetworkReceiver
from sweeper.simulation.receivers.scpi import ScpiReceiver
from sweeper.simulation.world.bench import Bench

INSTRUMENTS = {
    **{name: lambda bench, name=name: AsciiReceiver(bench, name, ours=False) for name in ASCII},
    **{name: lambda bench, name=name: BinaryReceiver(bench, name, ours=False) for name in BINARY},
    **{name: lambda bench, name=name: ByteBoard(bench, name, ours=False) for name in BOARDS},
    "scpi": lambda bench: ScpiReceiver(bench, ours=False),
    "rigctl-net": lambda bench: NetworkReceiver(bench, ours=False),
}
WORDS = [
    *rb"FA MD RG RA IF SM0 BW GT FREQ DEM BAND INP:ATT:STAT *ESR? SYST:ERR? 1e999 inf nan -1 ? , 00123".split(),
    *rb"F M USB l L RF ATT AGC U NB + \set_cache RELAY-SET-255,1,1 RELAY-".split(),
    *(
        bytes.fromhex(each)
        for each in ("FEFE94E0", "FEFE5AE0", "FEFE96E0", "FD", "05", "06", "1402", "11", "1602")
    ),
    *(bytes.fromhex(each) for each in ("1502", "FF0101", "5B", "AB")),
    *(b" ", b"\n", b";"),
]
PIECES = st.one_of(st.binary(max_size=20), st.sampled_from(WORDS))


def new_bench() -> Bench:
    world = saltmarsh()
    return Bench(world, JumpingClock(world.first_evening))


ABUSED = new_bench()


@pytest.mark.parametrize("name", list(INSTRUMENTS))
@settings(max_examples=40, deadline=None)
@given(pieces=st.lists(PIECES, max_size=25))
def test_any_bytes_are_answered_or_ignored(name: str, pieces: list[bytes]) -> None:
    replies: list[bytes] = []
    feed = INSTRUMENTS[name](ABUSED).session(replies.append)
    for piece in pieces:
        feed(piece)
    assert all(isinstance(reply, bytes) for reply in replies)
    assert not ABUSED.transmitting


@pytest.mark.parametrize(
    ("name", "request_bytes"),
    [
        ("ts480", b"RGabc;"),
        ("ic7300", bytes.fromhex("FEFE94E0 11 AB FD")),
        ("ic7300", bytes.fromhex("FEFE94E0 05 FF FF FF FF FF FD")),
        ("rigctl-net", b"F inf\n"),
        ("rigctl-net", b"L ATT nan\n"),
        ("scpi", b"FREQ 1e999\n"),
    ],
)
def test_numbers_that_are_none_are_refused(name: str, request_bytes: bytes) -> None:
    bench = new_bench()
    before = bench.hz
    INSTRUMENTS[name](bench).session(lambda _: None)(request_bytes)
    assert (bench.hz, bench.attenuator_db, bench.rf_gain) == (before, 0, 1.0)
