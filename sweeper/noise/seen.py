"""The values of this room: what a pass shows of each kind of noise on one tuning."""

from dataclasses import dataclass, field
from typing import Literal

Kind = Literal["mains", "comb", "hump", "birdie"]


@dataclass(frozen=True, slots=True)
class Found:
    """One kind of noise in one tuning of one pass.

    `low_hz` to `high_hz`: where it lies. `share` of the antenna's noise power in bypass, averaged over the tuning,
    linear, with its standard error. `level_db`: its power, of full scale. `every_hz`: spacing of a comb with its
    standard error, or the mains' own frequency; 0 for the rest. `lines` of a comb that were seen, and `first_hz`, its
    lowest place in the tuning (0 in passes of before it was kept). `over_db`: how far a line, or a hump, stands over
    the noise around it. `on_load`: it stays when the load takes the antenna's place.
    """

    kind: Kind
    low_hz: float
    high_hz: float
    share: float
    share_se: float
    level_db: float
    every_hz: float = 0.0
    every_se_hz: float = 0.0
    lines: int = 0
    over_db: float = 0.0
    on_load: bool = False
    first_hz: float = 0.0


@dataclass(frozen=True, slots=True)
class Heard:
    """A tuning of one pass: what was listened to, whether anything was found or not.

    `time`: its middle, seconds since 1970. `noise_db`: the antenna's noise in bypass over the whole tuning, of full
    scale. `receiver`: share of it that is there on the load as well; None where no load was heard. `mains_read`:
    whether its envelope was long enough to tell mains-synchronous noise.
    """

    time: float
    pass_number: int
    band: str
    start_hz: float
    end_hz: float
    noise_db: float
    receiver: float | None
    receiver_se: float
    mains_read: bool
    found: tuple[Found, ...] = field(default=())


def night_of(time: float, longitude_deg: float) -> int:
    """The night, from local noon to noon, that holds an instant: a number that rises by one a night."""
    return int((time / 3600.0 + longitude_deg / 15.0 - 12.0) // 24.0)
