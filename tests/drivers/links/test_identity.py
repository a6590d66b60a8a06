"""One instrument under two names is one instrument."""

import os
from pathlib import Path

import pytest

from drivers.links.identity import same_instrument


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("tcp://127.0.0.1:4532", "tcp://localhost:4532"),
        ("tcp://127.0.0.1:4532", "tcp://127.1:4532"),
        ("tcp://127.0.0.1:4532", "tcp://127.0.0.2:4532"),
        ("tcp://127.0.0.1:4532", "tcp://[::1]:4532"),
        ("tcp://127.0.0.1:4532", "tcp://[::ffff:127.0.0.1]:4532"),
        ("tcp://127.0.0.1:4532", "tcp://0x7f000001:4532"),
        ("tcp://127.0.0.1:4532", "tcp://0.0.0.0:4532"),
        ("tcp://Rig.example:4532", "tcp://rig.example.:4532"),
        ("tcp://rig.example:4532", "rfc2217://rig.example:4532"),
        ("tcp://127.0.0.1:80", "http://localhost"),
        ("tcp://127.0.0.1:1883", "mqtt://localhost"),
        ("/dev/ttyUSB0", "/dev/../dev/ttyUSB0"),
    ],
)
def test_two_names_of_one_end(one: str, other: str) -> None:
    assert same_instrument(one, other)
    assert same_instrument(other, one)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("tcp://127.0.0.1:4532", "tcp://127.0.0.1:5020"),
        ("tcp://192.0.2.1:4532", "tcp://192.0.2.2:4532"),
        ("/dev/ttyUSB0", "/dev/ttyUSB1"),
        ("tcp://127.0.0.1:4532", "/dev/ttyUSB0"),
        ("tcp://127.0.0.1:4532", "nonsense"),
    ],
)
def test_two_ends(one: str, other: str) -> None:
    assert not same_instrument(one, other)


def test_a_symbolic_link_is_what_it_leads_to(tmp_path: Path) -> None:
    master, slave = os.openpty()
    by_id = tmp_path / "usb-receiver"
    by_id.symlink_to(os.ttyname(slave))
    assert same_instrument(str(by_id), os.ttyname(slave))
    assert not same_instrument(str(by_id), "/dev/null")
    os.close(master)
    os.close(slave)


def test_the_name_of_this_machine_is_this_machine() -> None:
    import socket

    assert same_instrument("tcp://127.0.0.1:4532", f"tcp://{socket.gethostname()}:4532")
