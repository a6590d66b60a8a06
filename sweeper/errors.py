"""What a person is told when something cannot be done: one paragraph with what, where, what it means, what to do."""

from typing import Literal


class UserFacingError(Exception):
    """An error for the person at the station. Its text is the whole message; `exit_code` ends the command.

    1: it ran, and the answer is bad. 2: the call, the station file or a file handed in is wrong.
    `hand`: what does not come right by itself and needs somebody's hand, in a word; mostly empty.
    """

    exit_code = 1
    hand: Literal["", "disk"] = ""


class WrongInput(UserFacingError):
    """The call, the station file or a file handed in is wrong; nothing was changed."""

    exit_code = 2
