"""The keys of a station file that say how to reach an instrument. Validation only; nothing is opened."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator

from drivers.links.identity import mistake_in


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
        if mistake := mistake_in(link):
            raise ValueError(mistake)
        return link
