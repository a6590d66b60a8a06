"""What the sections of a station file are made of: the section itself, and the types that several of them share."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[
    str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f/\\.][^\x00-\x1f\x7f/\\]*$")
]
Hz = Annotated[int, Field(gt=0, le=3_000_000_000)]
Seconds = Annotated[float, Field(ge=0, le=3600, allow_inf_nan=False)]
Decibel = Annotated[float, Field(ge=-200, le=200, allow_inf_nan=False)]


class Section(BaseModel):
    """A part of the station file: unchangeable, and without keys that nobody knows."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, allow_inf_nan=False)
