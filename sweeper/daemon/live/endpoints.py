"""Where a running daemon can be reached: local sockets in its data folder, and CURVE across a network.

Whoever may write the data folder may talk to the daemon. Across a network there are keys, or there is no door.
"""

import os
import socket
import stat
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from sweeper.errors import UserFacingError

LONGEST_PATH = 100
"""Bytes of a local socket's name: the kernel takes 107 (unix(7))."""

BACKLOG = 32


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


def make_keys(folder: Path, client: str = "client") -> tuple[Path, ...]:
    """Make what is missing of the daemon's keys and those of a client; the files made.

    ``server.key_secret`` stays here; ``client.key_secret`` with ``server.key`` goes to the other machine, by hand.
    """
    from zmq.auth import create_certificates

    allowed = folder / "allowed"
    allowed.mkdir(parents=True, exist_ok=True)
    folder.chmod(0o700)
    made: list[Path] = []
    for where, name in ((folder, "server"), (allowed, client)):
        if (where / f"{name}.key").exists():
            continue
        public, secret = (Path(file) for file in create_certificates(where, name))
        if where is allowed:
            secret = secret.rename(folder / secret.name)
        secret.chmod(0o600)
        made += [public, secret]
    return tuple(made)


def server_pair(folder: Path) -> tuple[bytes, bytes]:
    """The daemon's own public and secret key."""
    return _pair(folder / "server.key_secret")


def client_keys(folder: Path, client: str = "client") -> Keys:
    """What a client needs to reach a daemon across a network."""
    public, secret = _pair(folder / f"{client}.key_secret")
    return Keys(public, secret, _public(folder / "server.key"))


def _pair(file: Path) -> tuple[bytes, bytes]:
    from zmq.auth import load_certificate

    try:
        if file.stat().st_mode & (stat.S_IRGRP | stat.S_IROTH):
            raise UserFacingError(
                f"{file}: others can read this secret key, so it is not used. Run chmod 600 on it."
            )
        public, secret = load_certificate(file)
    except (OSError, ValueError) as missing:
        raise UserFacingError(
            f"{file}: there is no usable secret key ({missing}). Make keys with `sweeper keys`."
        ) from missing
    if secret is None:
        raise UserFacingError(f"{file}: the secret half is missing. Make keys with `sweeper keys`.")
    return public, secret


def _public(file: Path) -> bytes:
    from zmq.auth import load_certificate

    try:
        return load_certificate(file)[0]
    except (OSError, ValueError) as missing:
        raise UserFacingError(
            f"{file}: the daemon's public key is missing ({missing}); copy it from there."
        ) from missing
