"""Servers of hamlib's protocol as public programs answer it, each in its own way: measured with, or told plainly."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from drivers.receivers.hamlib import DRIVER, HamlibReceiver, Options
from sweeper.simulation.wires.faults import Send, WireFaults
from sweeper.simulation.wires.wire import Feed, TcpWire

pytestmark = pytest.mark.wires

ANSWERS = {"f": "7074000\n", "m": "LSB\n2400\n", "t": "0\n", "l STRENGTH": "-37\n", "\\chk_vfo": "0\n"}


@contextmanager
def server(answer: Callable[[str], str], **keys: object) -> Iterator[tuple[list[str], Options]]:
    """Answers each line by `answer`; all that it was told, and how it is reached."""
    heard: list[str] = []

    def session(send: Send) -> Feed:
        kept = b""

        def feed(data: bytes) -> None:
            nonlocal kept
            *lines, kept = (kept + data).split(b"\n")
            for line in lines:
                heard.append(line.decode("ascii"))
                send(answer(heard[-1]).encode())

        return feed

    wire = TcpWire(session, WireFaults())
    try:
        yield heard, Options.model_validate({"link": wire.link, "timeout_s": 0.3, **keys})
    finally:
        wire.close()


@contextmanager
def opened(options: Options) -> Iterator[HamlibReceiver]:
    receiver = DRIVER.open(options)
    try:
        yield receiver
    finally:
        receiver.close()


def plain(**other: str) -> Callable[[str], str]:
    """A server that speaks the plain form; `other` by command, a name for what is no identifier."""
    answers = ANSWERS | {{"chk_vfo": "\\chk_vfo"}.get(name, name): reply for name, reply in other.items()}
    return lambda line: answers.get(line, "RPRT -1\n")


@pytest.mark.parametrize(
    "told",
    [
        "VFOA\n",
        "VFOA\nRPRT 0\n",
        "CHKVFO: 0\n",
        "chk_vfo: 0\n",
        "\n",
        "RPRT\n",
        "Unknown command\n",
        "RPRT -11\n",
    ],
)
def test_whatever_it_says_of_vfos_but_yes_none_is_named_to_it(told: str) -> None:
    with server(plain(chk_vfo=told)) as (heard, options), opened(options) as receiver:
        assert receiver.frequency_hz() == 7_074_000
        assert receiver.read_power() == -37.0
    assert not any("currVFO" in line for line in heard)
