"""The local doors: whoever may use them gets through, and nobody makes the daemon hold more than a request."""

import contextlib
import os
import socket
import struct
import subprocess
import sys
import threading
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
import zmq
from hypothesis import given
from hypothesis import strategies as st

from sweeper.daemon.live import endpoints
from sweeper.daemon.live.front import CONNECTIONS, ENCRYPTED, Count, Front, TooMuch
from tests.whole.unattended import until

GREETING = b"\xff" + bytes(8) + b"\x7f\x03\x00NULL" + bytes(48)
READY = b"\x04\x19\x05READY\x0bSocket-Type\x00\x00\x00\x03REQ"
MOST = 1000


@contextlib.contextmanager
def door(folder: Path, kind: int, in_all: int | None) -> Iterator["zmq.Socket[bytes]"]:
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
    behind = context.socket(kind)
    behind.maxmsgsize = MOST
    front = Front(behind, endpoints.listening(folder, "door"), partial(Count, MOST, in_all))
    try:
        yield behind
    finally:
        context.destroy(linger=0)
        front.close()


@contextlib.contextmanager
def asking(folder: Path, kind: int = zmq.REQ) -> Iterator["zmq.Socket[bytes]"]:
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
    try:
        socket = context.socket(kind)
        socket.linger = 0
        socket.connect(endpoints.local(folder, "door"))
        yield socket
    finally:
        context.destroy(linger=0)


def raw(folder: Path, more: bytes = GREETING + READY) -> socket.socket:
    peer = socket.socket(socket.AF_UNIX)
    peer.connect(str(folder / "door"))
    peer.settimeout(30)
    peer.sendall(more)
    return peer


def sent_until_hung_up(peer: socket.socket, piece: bytes, most: int) -> int:
    """How many bytes went before the other side hung up; `most` if it did not."""
    sent = 0
    with contextlib.suppress(OSError):
        while sent < most:
            peer.sendall(piece)
            sent += len(piece)
    return sent


def answered(folder: Path, behind: "zmq.Socket[bytes]") -> bool:
    with asking(folder) as client:
        client.send(b"status")
        assert behind.poll(30_000)
        who, empty, body = behind.recv_multipart()
        behind.send_multipart((who, empty, body + b", yes" * 30_000))
        assert client.poll(30_000)
        return client.recv() == b"status" + b", yes" * 30_000


def test_a_request_and_a_long_answer_get_through(tmp_path: Path) -> None:
    with door(tmp_path, zmq.ROUTER, None) as behind:
        assert answered(tmp_path, behind) and answered(tmp_path, behind)


def test_what_is_published_last_is_still_heard(tmp_path: Path) -> None:
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
    behind = context.socket(zmq.XPUB)
    front = Front(behind, endpoints.listening(tmp_path, "door"), partial(Count, MOST, MOST))
    with asking(tmp_path, zmq.SUB) as client:
        client.subscribe(b"")
        assert behind.recv() == b"\x01"
        for nth in range(100):
            behind.send(b"%d" % nth)
        context.destroy(linger=1000)
        front.close()
        assert [client.recv() for _ in range(100) if client.poll(30_000)] == [
            b"%d" % nth for nth in range(100)
        ]


@pytest.mark.parametrize("size", [0, 1, 200, 900])
def test_a_message_of_many_parts_is_hung_up_on_long_before_its_end(tmp_path: Path, size: int) -> None:
    part = (b"\x01" + bytes([size]) if size < 256 else b"\x03" + struct.pack(">Q", size)) + b"x" * size
    with door(tmp_path, zmq.ROUTER, None) as behind:
        with raw(tmp_path) as peer:
            assert (
                sent_until_hung_up(peer, part * 100, 20_000_000) < 2_000_000
            )  # what the kernel had taken by then
        assert answered(tmp_path, behind)


def test_commands_between_its_parts_do_not_begin_a_new_count(tmp_path: Path) -> None:
    piece = (b"\x01\xc8" + b"x" * 200 + b"\x04\x07\x04PING\x00\x00") * 50
    with door(tmp_path, zmq.ROUTER, None), raw(tmp_path) as peer:
        assert sent_until_hung_up(peer, piece, 20_000_000) < 2_000_000


@pytest.mark.parametrize(
    "piece", [b"\x00\x05\x01abcd" * 100, b"\x01\x01x" * 100, b"\x04\x0e\x09SUBSCRIBEabcd" * 100]
)
def test_a_listener_cannot_subscribe_without_end(tmp_path: Path, piece: bytes) -> None:
    with door(tmp_path, zmq.PUB, 5000), raw(tmp_path) as peer:
        assert sent_until_hung_up(peer, piece, 20_000_000) < 2_000_000


@pytest.mark.parametrize("noise", [b"GET / HTTP/1.1\r\n" * 20, b"\x01\x00" * 100, bytes(300), b"\xff" * 100])
def test_what_speaks_another_language_is_hung_up_on(tmp_path: Path, noise: bytes) -> None:
    with door(tmp_path, zmq.ROUTER, None) as behind:
        with raw(tmp_path, noise) as peer, contextlib.suppress(ConnectionError):
            while peer.recv(1000):
                pass
        assert answered(tmp_path, behind)


@pytest.mark.slow  # a handshake may take 30 s (ZMQ_HANDSHAKE_IVL, libzmq's default), and is waited for
def test_many_silent_peers_shut_nobody_out(tmp_path: Path) -> None:
    with door(tmp_path, zmq.ROUTER, None) as behind, contextlib.ExitStack() as holding:
        for _ in range(4 * CONNECTIONS):
            holding.enter_context(raw(tmp_path, b""))
        assert answered(tmp_path, behind)
        until(lambda: len(list(Path("/proc/self/fd").iterdir())) < 8 * CONNECTIONS, "the oldest to be let go")


def test_a_peer_that_does_not_listen_holds_nobody_up(tmp_path: Path) -> None:
    with door(tmp_path, zmq.ROUTER, None) as behind, asking(tmp_path, zmq.DEALER) as deaf:
        deaf.rcvhwm = 1
        for _ in range(50):
            deaf.send_multipart((b"", b"x"))
        behind.sndhwm = 10
        while behind.poll(500):  # what the deaf one asked; some of it may wait behind what it does not take
            who, *_ = behind.recv_multipart()
            with contextlib.suppress(zmq.Again):
                behind.send_multipart((who, b"", b"y" * 100_000), zmq.NOBLOCK)
        assert answered(tmp_path, behind)


@contextlib.contextmanager
def locked_door(folder: Path) -> Iterator[tuple["zmq.Socket[bytes]", "zmq.Socket[bytes]"]]:
    """The socket behind a door for those who have a key, and one that has it."""
    server, client = zmq.curve_keypair(), zmq.curve_keypair()
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
    behind = context.socket(zmq.ROUTER)
    behind.maxmsgsize = MOST
    behind.curve_publickey, behind.curve_secretkey = server
    behind.curve_server = True
    front = Front(
        behind, endpoints.listening(folder, "door"), partial(Count, MOST + ENCRYPTED, 20 * MOST, True)
    )
    try:
        with asking(folder, zmq.DEALER) as holder:
            holder.disconnect(endpoints.local(folder, "door"))
            holder.curve_publickey, holder.curve_secretkey = client
            holder.curve_serverkey = server[0]
            holder.connect(endpoints.local(folder, "door"))
            yield behind, holder
    finally:
        context.destroy(linger=0)
        front.close()


def test_who_has_a_key_may_ask_for_as_long_as_there_are_answers(tmp_path: Path) -> None:
    with locked_door(tmp_path) as (behind, holder):
        for _ in range(100):
            holder.send_multipart((b"", b"x" * 900))
            assert behind.poll(30_000)
            who, *_ = behind.recv_multipart()
            behind.send_multipart((who, b"", b"y" * 200))
            assert holder.poll(30_000) and holder.recv_multipart() == [b"", b"y" * 200]


def test_who_has_a_key_cannot_send_a_message_without_end(tmp_path: Path) -> None:
    """Its parts are encrypted, so they cannot be counted; what is not answered can."""
    with locked_door(tmp_path) as (behind, holder):
        hung_up = holder.get_monitor_socket(zmq.EVENT_DISCONNECTED)
        holder.send_multipart([b"", *[b"x" * 900] * 10_000], zmq.NOBLOCK)
        assert hung_up.poll(30_000)
        assert not behind.poll(200)
        holder.disable_monitor()


@pytest.mark.skipif(os.geteuid() != 0, reason="becoming another user needs root")
def test_a_process_of_another_user_is_not_let_in(tmp_path: Path) -> None:
    for each in (tmp_path, *list(tmp_path.parents)[:-1]):
        with contextlib.suppress(PermissionError):
            each.chmod(each.stat().st_mode | 0o005)
    call = "import os, socket, sys; os.setgid(65534); os.setuid(65534); socket.socket(1).connect(sys.argv[1])"
    with door(tmp_path, zmq.ROUTER, None):
        tried = subprocess.run(
            [sys.executable, "-c", call, tmp_path / "door"], capture_output=True, text=True, check=False
        )
        assert "PermissionError" in tried.stderr
        assert not [
            line
            for line in Path("/proc/net/unix").read_text().splitlines()
            if "@" in line and "sweeper" in line
        ]


def test_the_socket_behind_has_no_name(tmp_path: Path) -> None:
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
    behind = context.socket(zmq.ROUTER)
    front = Front(behind, endpoints.listening(tmp_path, "door"), partial(Count, MOST, None))
    name = behind.last_endpoint.decode().removeprefix("ipc://")
    assert not Path(name.rstrip("\0")).parent.exists()
    context.destroy(linger=0)
    front.close()
    assert "front" not in {thread.name for thread in threading.enumerate()}


@given(st.lists(st.tuples(st.integers(0, 7), st.binary(max_size=400))), st.integers(1, 50))
def test_frames_are_counted_the_same_however_they_arrive(frames: list[tuple[int, bytes]], step: int) -> None:
    stream = GREETING
    message = parts = 0
    too_much = False
    for flags, body in frames:
        long = flags & 2 or len(body) > 255
        flags = flags & ~2 | (2 if long else 0)
        stream += bytes([flags]) + len(body).to_bytes(8 if long else 1, "big") + body
        if not flags & 4:
            message, parts = message + len(body), parts + 1
            too_much |= message > MOST or parts > 8
            if not flags & 1:
                message = parts = 0
    count = Count(MOST, None)
    try:
        for at in range(0, len(stream), step):
            count.feed(stream[at : at + step])
    except TooMuch:
        assert too_much
    else:
        assert not too_much
