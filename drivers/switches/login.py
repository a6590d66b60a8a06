"""How a board that stands in a network is trusted, and how it is told who asks. Nothing here sends a password.

A station file names where the password is and never contains it. Certificates are always checked.
"""

import os
import ssl
from pathlib import Path
from urllib.parse import urlsplit

from pydantic import BaseModel, model_validator

from drivers.errors import LinkLost, Unsupported
from drivers.ordinary_files import text_of, why_not

MOST_PASSWORD_BYTES, MOST_CERTIFICATE_BYTES = 4_096, 2_000_000
"""All authorities that a browser knows take a quarter of a megabyte."""

LOOPBACK = ("127.0.0.1", "localhost", "::1")


class Login(BaseModel):
    """A user, where the password is (an environment variable, or a file of the user's own), and whom to trust."""

    user: str | None = None
    password_env: str | None = None
    password_file: str | None = None
    password_in_clear: bool = False
    ca_file: str | None = None

    @model_validator(mode="after")
    def _one_place(self) -> "Login":
        places = [place for place in (self.password_env, self.password_file) if place is not None]
        if len(places) > 1 or (self.user is None) != (not places):
            raise ValueError("a login is `user` with either `password_env` or `password_file`")
        return self

    def refuse_clear_text(self, link: str, plain: str, secure: str) -> None:
        """ValueError when a password would cross a network on `link` with the scheme `plain`, unless that is wanted."""
        parts = urlsplit(link)
        in_clear = parts.scheme == plain and parts.hostname not in LOOPBACK
        if in_clear and self.user is not None and not self.password_in_clear:
            raise ValueError(
                f"the password would cross the network in clear text; use {secure}, or say password_in_clear: true"
            )

    def password(self, part: str) -> str:
        """The password; `Unsupported` when it is not where the station file says."""
        if self.password_file is not None:
            try:
                return text_of(_path(self.password_file), MOST_PASSWORD_BYTES).rstrip("\r\n")
            except (OSError, UnicodeDecodeError) as fault:
                why = why_not(fault) if isinstance(fault, OSError) else "it is not UTF-8"
                raise Unsupported(
                    part, f"its password file {self.password_file} cannot be read: {why}."
                ) from None
        name = self.password_env or ""
        if name not in os.environ:
            raise Unsupported(
                part, f"its password is not in the environment variable {name}.", "Set it and start again."
            )
        return os.environ[name]

    def trusted(self, part: str) -> ssl.SSLContext:
        """Checks certificates against `ca_file` or the system's authorities; `LinkLost` when those cannot be read."""
        if self.ca_file is None:
            return ssl.create_default_context()
        try:
            authorities = text_of(_path(self.ca_file), MOST_CERTIFICATE_BYTES, "ascii")
            if not authorities.strip():
                raise OSError("it is empty")
            return ssl.create_default_context(cadata=authorities)
        except (OSError, UnicodeDecodeError) as fault:  # an SSLError is an OSError
            raise LinkLost(
                part, f"its certificate authority {self.ca_file} cannot be used: {fault}.", "Check ca_file."
            ) from None


def _path(name: str) -> Path:
    return Path(os.path.expanduser(name))  # noqa: PTH111  # Path's own raises for a user that there is not


def untrusted(part: str, fault: object) -> LinkLost:
    """What a person is told when a certificate fails."""
    return LinkLost(
        part,
        f"its certificate is not trusted: {fault}.",
        "Name the authority that signed it as ca_file. It is never taken unchecked.",
    )
