"""What is stored beside readings and passes."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Note:
    """A person's remark at a time, such as the date of a fix."""

    time: datetime
    text: str
