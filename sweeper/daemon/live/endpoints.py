"""Where a running daemon can be reached: local sockets in its data folder, and CURVE across a network.

Whoever may write the data folder may talk to the daemon. Across a network there are keys, or there is no door.
"""

import os
import re
import socket
import stat
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from drivers.ordinary_files import opened
from sweeper.errors import UserFacingError
from sweeper.store import write_new

LONGEST_PATH = 100
"""Bytes of a local socket's name: the kernel takes 107 (unix(7))."""

BACKLOG = 32

MOST_CERTIFICATE_BYTES = 16 * 1024
_KEY = re.compile(r'^\s*(public-key|secret-key)\s*=\s*"([!-~]{40})"\s*$', re.MULTILINE)
"""Z85 takes forty characters for a key of 32 bytes (ZeroMQ RFC 32)."""


@dataclass(frozen=True, slots=True)
class Keys:
    """A CURVE key pair in ZeroMQ's own printable form (Z85, ZeroMQ RFC 32), and the other side's public key."""

    public: bytes
    secret: bytes
    server: bytes


def local(folder: Path, name: str) -> str:
    """The address of the local socket `name` in a data folder, also in one whose own name is too long."""
    file = folder / name
    if len(os.fsencode(file)) <= LONGEST_PATH:
        return f"ipc://{file}"
    return f"ipc:///proc/self/fd/{_held(folder)}/{name}"


@lru_cache(maxsize=16)
def _held(folder: Path) -> int:
    """The folder held open for as long as the process lives: an address by its handle is good for no longer."""
    return os.open(folder, os.O_PATH | os.O_CLOEXEC)


def listening(folder: Path, name: str) -> socket.socket:
    """A local socket that the folder's owner may use, and the folder's group if it may write there. OSError if not."""
    file = folder / name
    file.unlink(missing_ok=True)
    door = socket.socket(socket.AF_UNIX)
    before = os.umask(0o177)
    try:
        door.bind(local(folder, name).removeprefix("ipc://"))
        if folder.stat().st_mode & stat.S_IWGRP:
            file.chmod(0o660)
        door.listen(BACKLOG)
    except BaseException:
        door.close()
        raise
    finally:
        os.umask(before)
    return door


def listening_across(address: str) -> socket.socket:
    """A socket across a network at an address such as ``tcp://0.0.0.0:5751`` or ``tcp://[::]:5751``; OSError if not."""
    host, _, port = address.removeprefix("tcp://").rpartition(":")
    host = {"*": "0.0.0.0"}.get(host, host.strip("[]"))  # only who has a key gets any further
    try:
        return socket.create_server(
            (host, int(port)), family=socket.AF_INET6 if ":" in host else socket.AF_INET, backlog=BACKLOG
        )
    except (OverflowError, UnicodeError) as fault:
        raise OSError(f"{address} is no address: {fault}") from fault


def make_keys(folder: Path, client: str = "client") -> tuple[Path, ...]:
    """Make what is missing of the daemon's keys and those of a client; the files made.

    ``server.key_secret`` stays here; ``client.key_secret`` with ``server.key`` goes to the other machine, by hand.
    """
    import zmq

    allowed = folder / "allowed"
    allowed.mkdir(parents=True, exist_ok=True)
    folder.chmod(0o700)
    made: list[Path] = []
    for where, name in ((folder, "server"), (allowed, client)):
        if (where / f"{name}.key").exists():
            continue
        public, secret = (key.decode() for key in zmq.curve_keypair())
        halves = (f'    public-key = "{public}"\n', f'    secret-key = "{secret}"\n')
        files = (where / f"{name}.key", folder / f"{name}.key_secret")
        write_new(files[1], "".join(("curve\n", *halves)).encode(), 0o600)
        write_new(files[0], f"curve\n{halves[0]}".encode())
        made += files
    return tuple(made)


def server_pair(folder: Path) -> tuple[bytes, bytes]:
    """The daemon's own public and secret key."""
    return _pair(folder / "server.key_secret")


def client_keys(folder: Path, client: str = "client") -> Keys:
    """What a client needs to reach a daemon across a network."""
    public, secret = _pair(folder / f"{client}.key_secret")
    return Keys(public, secret, _public(folder / "server.key"))


def _pair(file: Path) -> tuple[bytes, bytes]:
    try:
        content, mode = _certificate(file)
    except (OSError, ValueError) as missing:
        raise UserFacingError(
            f"{file}: there is no usable secret key ({missing}). Make keys with `sweeper keys`."
        ) from missing
    if mode & (stat.S_IRGRP | stat.S_IROTH):
        raise UserFacingError(
            f"{file}: others can read this secret key, so it is not used. Run chmod 600 on it."
        )
    if "secret-key" not in content:
        raise UserFacingError(f"{file}: the secret half is missing. Make keys with `sweeper keys`.")
    return content["public-key"], content["secret-key"]


def _public(file: Path) -> bytes:
    try:
        return _certificate(file)[0]["public-key"]
    except (OSError, ValueError) as missing:
        raise UserFacingError(
            f"{file}: the daemon's public key is missing ({missing}); copy it from there."
        ) from missing


def keys_allowed(folder: Path) -> frozenset[bytes]:
    """The public keys of the clients that may come across a network. `UserFacingError` for a file that is no key."""
    return frozenset(_public(file) for file in sorted((folder / "allowed").glob("*.key")))


def _certificate(file: Path) -> tuple[dict[str, bytes], int]:
    """The keys in a certificate as `zmq.auth` writes them, and the file's mode. OSError or ValueError if it is none."""
    with opened(file) as source:
        mode = os.fstat(source.fileno()).st_mode
        text = source.read(MOST_CERTIFICATE_BYTES).decode("utf-8")
    content = {name: key.encode() for name, key in _KEY.findall(text)}
    if "public-key" not in content:
        raise ValueError("there is no public key in it")
    return content, mode
