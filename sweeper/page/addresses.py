"""By which addresses another computer reaches a page here: those of this computer's interfaces, and its name."""

import contextlib
import ipaddress
import socket
import struct
from pathlib import Path

from drivers.ordinary_files import text_of

try:
    import fcntl
except ModuleNotFoundError:  # as on Windows
    fcntl = None  # type: ignore[assignment]

SIOCGIFADDR = 0x8915
"""netdevice(7), Linux: the IPv4 address of an interface."""
MOST_BYTES = 100_000


def addresses(host: str) -> tuple[str, ...]:
    """The addresses at which a page that listens on `host` is found from elsewhere, without those of loopback."""
    try:
        given = ipaddress.ip_address(host)
    except ValueError:
        return (host,)
    if not given.is_unspecified:
        return () if given.is_loopback else (host,)
    return (*_version_4(), *_version_6()) if given.version == 6 else _version_4()


def links(host: str, port: int) -> tuple[str, ...]:
    """What to type into a browser elsewhere: by this computer's name first, where it listens on all addresses."""
    wide = host in ("0.0.0.0", "::")
    names = (socket.gethostname(),) if wide and socket.gethostname() != "localhost" else ()
    found = addresses(host)
    return (
        tuple(f"http://{f'[{each}]' if ':' in each else each}:{port}/" for each in (*names, *found))
        if found
        else ()
    )


def _version_4() -> tuple[str, ...]:
    if fcntl is None:
        return ()
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        for _, name in socket.if_nameindex():
            with contextlib.suppress(OSError):  # an interface without an address
                told = fcntl.ioctl(asked.fileno(), SIOCGIFADDR, struct.pack("256s", name.encode()[:15]))
                found.append(socket.inet_ntoa(told[20:24]))
    return tuple(each for each in found if not ipaddress.ip_address(each).is_loopback)


def _version_6() -> tuple[str, ...]:
    """From the kernel's list, which has an address in hexadecimal digits at the beginning of each line."""
    try:
        lines = text_of(Path("/proc/net/if_inet6"), MOST_BYTES).splitlines()
    except OSError:
        return ()
    known = [ipaddress.IPv6Address(bytes.fromhex(line.split()[0])) for line in lines]
    return tuple(str(each) for each in known if not each.is_loopback and not each.is_link_local)
