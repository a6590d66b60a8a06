"""A question to the person at the terminal, asked until the answer is understood."""

import sys
from collections.abc import Callable
from typing import TypeVar

from sweeper.errors import WrongInput

T = TypeVar("T")


def ask(question: str, offered: str, understood: Callable[[str], T], ended: str = "Nothing is written.") -> T:
    """Ask until the answer is understood; an empty one takes what is offered, where something is.

    `understood` raises ValueError for an answer that means nothing. `WrongInput`, with `ended`, where no answer comes.
    """
    while True:
        print(f"{question} [{offered}] " if offered else f"{question} ", end="", flush=True)
        line = sys.stdin.readline()
        if not line:
            raise WrongInput(f"\nThe answers ended before the questions did. {ended}")
        if not sys.stdin.isatty():
            print()
        try:
            return understood(line.strip() or offered)
        except ValueError as problem:
            print(f"   {problem}. Please say it again.")
