"""How a station file names a password without containing it. Nothing here sends or prints one."""

import os
from pathlib import Path

from pydantic import BaseModel, model_validator

from drivers.errors import Unsupported


class Login(BaseModel):
    """A user, and where the password is: an environment variable or a file that only the user may read."""

    user: str | None = None
    password_env: str | None = None
    password_file: str | None = None

    @model_validator(mode="after")
    def _one_place(self) -> "Login":
        places = [place for place in (self.password_env, self.password_file) if place is not None]
        if len(places) > 1 or (self.user is None) != (not places):
            raise ValueError("a login is `user` with either `password_env` or `password_file`")
        return self

    def password(self, part: str) -> str:
        """The password; `Unsupported` when it is not where the station file says."""
        if self.password_file is not None:
            try:
                return Path(self.password_file).expanduser().read_text("utf-8").rstrip("\r\n")
            except (OSError, UnicodeDecodeError) as fault:
                raise Unsupported(
                    part, f"its password file {self.password_file} cannot be read: {fault}."
                ) from None
        name = self.password_env or ""
        if name not in os.environ:
            raise Unsupported(
                part, f"its password is not in the environment variable {name}.", "Set it and start again."
            )
        return os.environ[name]
