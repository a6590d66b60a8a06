"""What is left of a link after each of the ways in which it can fail: closed, greeted anew, asked no more."""

import os
import pty
import socket
import tty

import pytest

from drivers.errors import BadReply, CalledOff, LinkLost, LinkTimeout, Refused, RigError
from drivers.links.link import LAST_TRY_S, Link
from drivers.links.options import LinkOptions
from drivers.waiting import bounded
from tests.drivers.links.test_link import Impatient, box, line


def echo(to: socket.socket, data: bytes) -> None:
    to.sendall(data)


def link_to(url: str, **keys: object) -> Link:
    return Link(LinkOptions.model_validate({"link": url, "timeout_s": 30.0, **keys}), "box")


@pytest.mark.parametrize("fault", [Refused("box", "no."), CalledOff("box", "stopped.", "")])
def test_a_link_that_was_not_greeted_is_closed_and_nothing_is_said_on_it(fault: RigError) -> None:
    """What waits unread would be taken for the next reply, and settings that a greeting makes would be missing."""
    with box(echo) as served:
        link, greeted = link_to(served.url), [fault, fault]

        def greet() -> None:
            if greeted:
                raise greeted.pop()

        link.on_connect(greet)
        for left in (1, 0):
            with pytest.raises(type(fault)):
                link.exchange(b"1\n", line)
            assert len(greeted) == left  # once each time: a link that never worked is not waited for
            assert not link.is_open
        assert served.asked == []
        assert link.exchange(b"1\n", line) == b"1\n"
        link.close()


def test_who_opens_a_link_anew_learns_at_once_that_its_greeting_fails() -> None:
    with box(echo) as served:
        link, greeted = link_to(served.url), []
        assert link.exchange(b"1\n", line) == b"1\n"
        link.close()

        def greet() -> None:
            greeted.append(1)
            raise Refused("box", "no.")

        link.on_connect(greet)
        with bounded(clock=Impatient()), pytest.raises(Refused):
            link.connect(LinkOptions(link=served.url, timeout_s=30.0, reconnect_s=300.0))
        assert len(greeted) == 1 and not link.is_open


def test_a_link_that_worked_is_greeted_until_that_succeeds_or_its_patience_ends() -> None:
    with box(echo) as served:
        link, clock = link_to(served.url, reconnect_s=10.0), Impatient()
        with bounded(clock=clock):
            assert link.exchange(b"1\n", line) == b"1\n"
            link.close()
            greeted: list[float] = []

            def greet() -> None:
                greeted.append(clock.now_s)
                raise Refused("box", "no.")

            link.on_connect(greet)
            with pytest.raises(Refused):
                link.exchange(b"2\n", line)
        assert len(greeted) > 3 and greeted[-1] == pytest.approx(10.0 - LAST_TRY_S)
        assert served.asked == [b"1\n"] and not link.is_open
        link.forget(greet)
        assert link.exchange(b"3\n", line) == b"3\n"
        link.close()


def test_after_garbage_over_tcp_whatever_is_still_under_way_dies_with_the_connection() -> None:
    def first_garbled(to: socket.socket, data: bytes) -> None:
        to.sendall(b"bad\n" if served.connections == 1 else b"good\n")

    with box(first_garbled) as served:
        link = link_to(served.url)
        assert link.exchange(b"?\n", line) == b"good\n"
        assert served.connections == 2
        link.close()


@pytest.mark.parametrize(("retries", "asked"), [(0, 1), (1, 2), (3, 4)])
def test_garbage_each_time_is_asked_again_as_often_as_the_station_file_says(retries: int, asked: int) -> None:
    with box(lambda to, data: to.sendall(b"bad\n")) as served:
        link = link_to(served.url, retries=retries)
        with pytest.raises(BadReply):
            link.exchange(b"?\n", line)
        assert served.asked == [b"?\n"] * asked
        link.close()


def test_what_is_asked_in_a_greeting_is_asked_once() -> None:
    with box(lambda to, data: to.sendall(b"bad\n")) as served:
        link = link_to(served.url, retries=3)
        link.on_connect(lambda: link.exchange(b"hello\n", line))
        with pytest.raises(BadReply):
            link.exchange(b"?\n", line)
        assert served.asked == [b"hello\n"]


@pytest.mark.parametrize(("takes_s", "retries", "asked"), [(2.0, 3, 4), (4.0, 10, 6)])
def test_one_deadline_holds_for_all_repeats_together(takes_s: float, retries: int, asked: int) -> None:
    """An answer is waited for 2 s, and as long for each repeat: 22 s for ten, whatever single answers take."""
    clock = Impatient()

    def hangs(received: bytes) -> bytes | None:
        clock.now_s += takes_s
        raise LinkTimeout("box", "nothing came.", "")

    with box(echo) as served:
        link = link_to(served.url, timeout_s=2.0, retries=retries, reconnect_s=0.0)
        with bounded(clock=clock), pytest.raises(LinkTimeout):
            link.exchange(b"?\n", hangs)
        assert clock.now_s == asked * takes_s
        link.close()


def test_an_adapter_pulled_in_the_middle_of_garbage_is_looked_for_anew() -> None:
    master, slave = pty.openpty()
    tty.setraw(slave)
    link = link_to(os.ttyname(slave), retries=0)

    def pulled(received: bytes) -> bytes | None:
        os.close(master)
        raise BadReply("box", "garbage.")

    link.connect(LinkOptions(link=os.ttyname(slave), retries=0))
    os.write(master, b"bad\n")
    with pytest.raises((BadReply, LinkLost)):
        link.exchange(b"?\n", pulled)
    assert not link.is_open
    os.close(slave)
