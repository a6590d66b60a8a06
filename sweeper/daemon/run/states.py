"""What the daemon is doing, as one word."""

from typing import Literal

Doing = Literal["starting", "waiting", "measuring", "paused", "yielding", "stopping"]
