"""A receiver without any control: a person sets the dial when asked. Levels come from its sound (docs/audio.md).

What a person confirmed is believed until they are asked again; nothing can be read back, and ``identify`` says so.
"""

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, field_validator

from drivers.contracts import Driver, Tuning
from drivers.errors import Unsupported
from drivers.terminal import confirm, is_a_terminals_name

PART = "person at the dial"
UNKNOWN = Tuning(0, "unknown", None)
_confirmed: dict[str, tuple[int, str]] = {}
"""By terminal: dial and mode that the person last confirmed. It outlives the passes."""


class Options(BaseModel):
    """The receiver section of a station file with ``driver: dial-by-hand``. `receive_only` is a person's word."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    link: str = "/dev/tty"
    timeout_s: Annotated[float, Field(gt=0, le=86_400, allow_inf_nan=False)] = 300.0
    bell: bool = True
    receive_only: bool

    @field_validator("link")
    @classmethod
    def _is_a_terminal(cls, link: str) -> str:
        return is_a_terminals_name(link)

    @field_validator("receive_only")
    @classmethod
    def _cannot_transmit(cls, word: bool) -> bool:
        if not word:
            raise ValueError(
                "nobody can tell whether it transmits; write true only if nothing there can be keyed"
            )
        return word


class DialByHand:
    """Somebody at the dial. Fulfils `drivers.contracts.Receiver`."""

    def __init__(self, options: Options) -> None:
        self._options = options
        self._mode = ""

    def identify(self) -> str:
        return f"a person at the dial, at {self._options.link} (no read-back)"

    def frequency_range_hz(self) -> tuple[int, int] | None:
        return None

    def tuning(self) -> Tuning:
        stands = _confirmed.get(self._options.link)
        return UNKNOWN if stands is None else Tuning(*stands, None)

    def tune(self, hz: int) -> None:
        """Ask for the dial, unless it was confirmed to stand there. `LinkTimeout` when nobody answers in time."""
        options = self._options
        if _confirmed.get(options.link) == (hz, self._mode):
            return
        _confirmed.pop(options.link, None)
        confirm(
            options.link,
            PART,
            f"Set the dial to {hz / 1e3:.3f} kHz, {self._mode}",
            options.timeout_s,
            options.bell,
            unanswered=(
                f"nobody set the dial to {hz} Hz",
                "The relays rest; begin again when you are there.",
            ),
            refused=(f"asked for {hz} Hz, they stopped.", ""),
        )
        _confirmed[options.link] = (hz, self._mode)

    def set_mode(self, mode: str, bandwidth_hz: int | None) -> None:
        self._mode = mode

    def frequency_hz(self) -> int:
        return self.tuning().hz

    def read_power(self) -> float:
        raise Unsupported(PART, "its meter is not read.", "Levels come from the sound: docs/audio.md.")

    def is_transmitting(self) -> bool:
        return False

    def tells_transmit(self) -> bool:
        return False

    def remember(self) -> Mapping[str, Any]:
        """Nothing: the person knows where they were."""
        return {}

    def restore(self, remembered: Mapping[str, Any]) -> None:
        return

    def prepare(self) -> tuple[str, ...]:
        return ("AGC", "RF gain", "noise blanker and noise reduction")

    def close(self) -> None:
        pass


DRIVER = Driver("receiver", "dial-by-hand", Options, DialByHand)
