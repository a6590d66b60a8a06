"""The contracts that receivers, sources of samples and relay boards fulfil, and how a driver announces itself.

Nothing here knows a protocol; nothing here knows what the readings are for. There is no call that keys
a transmitter, and none may be added.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, Protocol, TypeVar

from pydantic import BaseModel

if TYPE_CHECKING:  # slow to load, and most receivers deliver no samples
    import numpy as np
    from numpy.typing import NDArray

Gate = Callable[[bytes], None]
"""What looks at finished bytes before they go out, and raises `drivers.errors.Refused` for what must not be said."""


@dataclass(frozen=True, slots=True)
class Tuning:
    """Where a receiver stands: dial frequency in hertz, mode by name, pass band in hertz (None: the mode's own)."""

    hz: int
    mode: str
    bandwidth_hz: int | None


T_co = TypeVar("T_co", covariant=True)


class Reader(Protocol[T_co]):
    """Turns what has come in so far into a reply.

    None while the reply is not whole. Raises BadReply for what can never become one (the link then
    resynchronises and asks again) and Refused when the instrument said no (which is final).
    """

    def __call__(self, received: bytes, /) -> T_co | None: ...


class Receiver(Protocol):
    """A receiver. Every call may raise `drivers.errors.RigError`."""

    def identify(self) -> str:
        """Who answers, in words, for screens and logs."""
        ...

    def frequency_range_hz(self) -> tuple[int, int] | None:
        """Lowest and highest frequency in hertz; None where the receiver cannot tell."""
        ...

    def tuning(self) -> Tuning:
        """Read back frequency, mode and pass band."""
        ...

    def tune(self, hz: int) -> None:
        """Set the dial frequency, in hertz."""
        ...

    def set_mode(self, mode: str, bandwidth_hz: int | None) -> None:
        """Set mode and pass band."""
        ...

    def frequency_hz(self) -> int:
        """Read back the dial frequency, in hertz."""
        ...

    def read_power(self) -> float:
        """One reading of received power, in the meter's own unit.

        `Transmitting` when the receiver says, in the same breath, that a transmitter is keyed: where the protocol
        allows it, both questions go in one exchange, so that the answer belongs to this very reading.
        """
        ...

    def is_transmitting(self) -> bool:
        """Whether the receiver says that a transmitter is keyed; False where it has none."""
        ...

    def tells_transmit(self) -> bool:
        """Whether `is_transmitting` is an answer of the receiver, rather than what is known of it beforehand."""
        ...

    def remember(self) -> Mapping[str, Any]:
        """Everything this driver may change, as it is now: plain values that JSON can carry."""
        ...

    def restore(self, remembered: Mapping[str, Any]) -> None:
        """Put back what `remember` returned, also after a crash, from another process.

        Only what is there: without ``tuning``, or without its ``hz``, somebody has set that and keeps it.
        """
        ...

    def prepare(self) -> tuple[str, ...]:
        """Set what moves the meter by itself to a known state; the names of what could not be known."""
        ...

    def close(self) -> None:
        """Let go of the link; never raises."""
        ...


class Switch(Protocol):
    """A relay board, or whatever selects a path. Every call may raise `drivers.errors.RigError`."""

    def identify(self) -> str:
        """Who answers, in words."""
        ...

    def select(self, path: str) -> int:
        """Set the relays for a path, read them back, and return how many relays moved.

        `Stuck` when they do not read back as set.
        """
        ...

    def selected(self) -> str | None:
        """The path the relays stand at by their read-back; None when they match none or cannot be read."""
        ...

    def close(self) -> None:
        """Let go of the link; never raises. It moves no relay."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Samples that follow each other, full scale being 1: complex (samples of a band) or real (audio).

    `samples`: shape (n,), complex64 or float32. `captured`: (from, to) between which they were captured, in seconds of
    the source's clock; to − from is longer than n / `rate_hz` where the source cannot say it better. `gaps`: indices of
    samples before which some are missing. `unplaced`: samples are missing and nobody can say where.
    `clipped`: share of the samples at the converter's ends, 0 to 1. `step_noise`: power that a converter of few bits
    adds by its steps, of full scale.
    """

    samples: "NDArray[np.complex64] | NDArray[np.float32]"
    rate_hz: float
    captured: tuple[float, float]
    gaps: tuple[int, ...] = ()
    unplaced: bool = False
    clipped: float = 0.0
    step_noise: float = 0.0

    def moving_power(self) -> float:
        """Mean power of the samples without what stands still, which is the converter's own offset; of full scale."""
        still = self.samples[:1]  # taken off first, or rounding would move what stands still
        return float((self.samples - still).var())

    def pauses(self) -> bool:
        """Whether they stand still for a sixteenth of the time or more: a stream that froze, or was filled up."""
        stretch = len(self.samples) // 32
        if stretch < 2:
            return False
        whole = self.samples[: 32 * stretch].reshape(32, stretch)  # one of these lies within any sixteenth
        return bool((whole == whole[:, :1]).all(axis=1).any())


class SampleSource(Protocol):
    """Whatever delivers samples. Every call may raise `drivers.errors.RigError`."""

    def take(self, seconds: float, after_s: float) -> Block:
        """So many seconds of samples, none of them captured before `after_s` of the source's clock.

        Each call goes on where the last one ended; a block begins with a gap where samples lie between, or were lost.
        """
        ...

    def unknown(self) -> tuple[str, ...]:
        """Settings that move the level and could not be read back."""
        ...

    def close(self) -> None:
        """Let go of the source; never raises."""
        ...


@dataclass(frozen=True)
class Driver:
    """What an entry point of the group ``sweeper.drivers`` names.

    `options` validates the driver's section of the station file (its keys beyond those that every
    receiver or switch has); `open` takes the validated options and returns a connected instrument.
    A receiver's options may have ``range_hz``, (lowest, highest) in hertz, where it is known without asking, and a
    class method ``for_sound(keys) -> keys``: what a person wrote, with gain control off where nothing else is said,
    for a station that reads levels from the receiver's sound. A receiver that is a `SampleSource` as well has
    ``sample_rate_hz`` and a class method ``for_spectrum(keys) -> keys``, which centres its samples on the dial.
    A switch's options hold ``paths``: path name to whatever the driver needs to set it, and must
    offer the method ``relays_of(path) -> frozenset[tuple[str, str]]`` (relay, state), so that two paths with the
    same setting can be told and moves counted. Where the board is, they say by ``link``, or by the method
    ``links() -> tuple[str, ...]``; no receiver may be there.
    """

    kind: Literal["receiver", "switch"]
    name: str
    options: type[BaseModel]
    open: Callable[[Any], Any]


def links_of(options: object) -> tuple[str, ...]:
    """Where the instruments behind a driver's options are, as the station file writes it."""
    told = getattr(options, "links", None)
    if callable(told):
        return tuple(told())
    link = getattr(options, "link", None)
    return (link,) if isinstance(link, str) and link else ()
