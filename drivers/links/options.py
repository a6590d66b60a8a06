"""The keys of a station file that say how to reach an instrument. Validation only; nothing is opened."""

from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, field_validator


class LinkOptions(BaseModel):
    """Where the instrument is, the shape of its serial line, and how long to wait for it.

    `retries` counts repeats of one exchange after silence or garbage; `reconnect_s` is how long an exchange
    tries to get a lost link back before it gives up.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    link: str
    baud: Annotated[int, Field(ge=50, le=4_000_000)] = 9600
    data_bits: Literal[5, 6, 7, 8] = 8
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1
    flow_control: Literal["none", "rts-cts", "xon-xoff"] = "none"
    timeout_s: Annotated[float, Field(gt=0, le=60)] = 1.0
    reconnect_s: Annotated[float, Field(ge=0, le=300)] = 5.0
    retries: Annotated[int, Field(ge=0, le=10)] = 1

    @field_validator("link")
    @classmethod
    def _reachable(cls, link: str) -> str:
        if link.startswith("tcp:"):
            try:
                parts = urlsplit(link)
                complete = bool(parts.hostname) and parts.port is not None
            except ValueError:
                complete = False
            if not complete:
                raise ValueError(f"{link!r} lacks a host or a port; write tcp://host:port")
        elif not link.startswith("/") and "://" not in link:
            raise ValueError(
                f"{link!r} is no link; write tcp://host:port or the path of a serial port such as /dev/ttyUSB0"
            )
        return link
