"""Which instrument a link leads to, whatever name it is written under. Opens nothing.

A relay board whose link is the receiver's would have the receiver read what is meant for relays, so the two are
compared before either is opened: `/dev/serial/by-id/…` and `/dev/ttyUSB0`, `localhost` and `127.0.0.1`, a symbolic
link and what it leads to.
"""

import ipaddress
import os
import re
import socket
import stat
from pathlib import Path
from urllib.parse import urlsplit

_PORTS = {"http": 80, "https": 443, "mqtt": 1883, "mqtts": 8883}
_PLAIN = re.compile(r"[!-~]{1,300}")


def mistake_in(link: str) -> str:
    """Why a link to an instrument cannot be one, in a clause; empty when it can. Two kinds of address, and devices."""
    if not _PLAIN.fullmatch(link):
        return f"{link[:60]!r} is no link; write tcp://host:port or the path of a serial port such as /dev/ttyUSB0"
    scheme, colon, _ = link.partition("://")
    if colon or ":" in link.partition("/")[0]:
        if scheme not in ("tcp", "rfc2217"):
            return (
                f"{link!r} is neither tcp://host:port, nor rfc2217://host:port, nor the path of a serial port"
            )
        parts = _split(link)
        if parts is None or "@" in link or link != f"{scheme}://{parts[2]}":
            return f"{link!r} lacks a host or a port, or has more than them; write {scheme}://host:port"
        return ""
    if not link.startswith("/"):
        return f"{link!r} is no link; write tcp://host:port or the path of a serial port such as /dev/ttyUSB0"
    return ""


def same_instrument(one: str, other: str, *, look_up: bool = False) -> bool:
    """Whether two links lead to one and the same end. `look_up`: names of hosts are resolved, which may take a while.

    A port of this machine counts as the same under every address of it.
    """
    if one == other:
        return True
    if one.startswith("/") and other.startswith("/"):
        return _device(one) == _device(other)
    first, second = _split(one), _split(other)
    if first is None or second is None or first[1] != second[1]:
        return False
    hosts = [_addresses(each[0], look_up) for each in (first, second)]
    return bool(hosts[0] & hosts[1])


def _split(link: str) -> tuple[str, int, str] | None:
    try:
        parts = urlsplit(link)
        port = parts.port or _PORTS.get(parts.scheme)
    except ValueError:
        return None
    host = parts.hostname
    if not host or not port:
        return None
    return host.rstrip(".").lower(), port, parts.netloc


def _device(path: str) -> tuple[str, int] | tuple[str, str]:
    """A device's own number where it is there, else where its path leads."""
    try:
        found = Path(path).stat()
        if stat.S_ISCHR(found.st_mode):
            return ("device", found.st_rdev)
    except (OSError, ValueError):
        pass
    return ("path", os.path.realpath(path))


HERE = "this machine"


def _addresses(host: str, look_up: bool) -> frozenset[str]:
    """What a host is known by: its name, its addresses, and `HERE` where one of them is this machine's."""
    known = {host}
    if host in ("localhost", "ip6-localhost", socket.gethostname().lower()) or host.endswith(".localhost"):
        known.add(HERE)
    for text in _resolved(host, look_up):
        try:
            address = ipaddress.ip_address(text.partition("%")[0])
        except ValueError:
            continue
        mapped = getattr(address, "ipv4_mapped", None)
        address = mapped or address
        known.add(str(address))
        if address.is_loopback or address.is_unspecified or _is_own(str(address)):
            known.add(HERE)
    return frozenset(known)


def _resolved(host: str, look_up: bool) -> list[str]:
    # the system's own way of reading numbers knows 127.1 and 0x7f000001 as well
    flags = 0 if look_up else socket.AI_NUMERICHOST
    try:
        return [str(found[4][0]) for found in socket.getaddrinfo(host, None, flags=flags)]
    except (OSError, UnicodeError):
        return []


def _is_own(address: str) -> bool:
    """Whether this machine would answer to an address: only then can a socket of its own be bound to it."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    try:
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.bind((address, 0))
            return True
    except (OSError, OverflowError):
        return False
