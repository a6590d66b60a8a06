"""A software-defined receiver whose 8-bit samples a server sends over TCP, as rtl_tcp does.

Nothing that is told to such a server is answered: the dial is believed where it was set, the rate is measured, and
what was asked for shows in the samples or not at all. No transmitter is behind this protocol. Readings are in dB of
full scale plus `full_scale_dbm`; one that clipped reads at least full scale, so that ``meter: top`` marks it.
"""

from collections.abc import Mapping
from contextlib import suppress
from typing import Annotated, Any, Literal, Self
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from drivers.contracts import Block, Driver, Tuning
from drivers.errors import BadReply, Refused, RigError
from drivers.links.identity import mistake_in
from drivers.protocols.allowed import GATES
from drivers.protocols.band_power import samples_needed
from drivers.receivers.sampled import FOLDS_HZ, PART, Gain, check_fits, gain_at, reading_db
from drivers.samples.tcp import StreamOptions, TcpSamples
from drivers.waiting import monotonic

TUNED_FROM_HZ = {"R820T": 24_000_000, "R828D": 24_000_000, "E4000": 52_000_000}
"""What the tuner cannot go below by itself; the station's own range_hz wins."""


class Options(BaseModel):
    """Keys of the station file's receiver section with ``driver: iq-tcp``."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    link: str
    sample_rate_hz: int = Field(default=1_024_000, ge=8_000, le=20_000_000)
    offset_hz: int | None = None
    gain_db: Gain | None = None
    ppm: Annotated[int, Field(ge=-1000, le=1000)] = 0
    direct_sampling: Literal["off", "I", "Q"] = "off"
    converter_hz: Annotated[int, Field(ge=0, le=2_000_000_000)] = 0
    bias_tee: bool = False
    range_hz: tuple[int, int] | None = None
    latency_s: Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)] | None = None
    averaging_s: float = Field(default=0.1, gt=0, le=10)
    full_scale_dbm: Annotated[float, Field(ge=-200, le=200, allow_inf_nan=False)] = 0.0
    timeout_s: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)] = 3.0

    @classmethod
    def for_spectrum(cls, keys: Mapping[str, Any]) -> dict[str, Any]:
        """With whole spectra the dial is the middle of the samples."""
        return {"offset_hz": 0, **keys}

    @field_validator("link")
    @classmethod
    def _over_tcp(cls, link: str) -> str:
        if mistake := mistake_in(link):
            raise ValueError(mistake)
        if not link.startswith("tcp://"):
            raise ValueError(f"{link!r} is no server of samples; write tcp://host:port")
        return link

    @model_validator(mode="after")
    def _does_not_fold(self) -> Self:
        if self.direct_sampling != "off" and self.converter_hz:
            raise ValueError("with direct sampling no converter is in the way; leave one of the two out")
        if self.direct_sampling != "off" and self.range_hz and self.range_hz[1] > FOLDS_HZ:
            raise ValueError(
                f"with direct sampling everything above {FOLDS_HZ} Hz folds down onto what lies below it; "
                f"end range_hz at {FOLDS_HZ}"
            )
        return self


class IqTcpReceiver:
    """A server's samples seen as a receiver. Fulfils `drivers.contracts.Receiver` and `SampleSource`."""

    def __init__(self, options: Options) -> None:
        self._options = options
        parts = urlsplit(options.link)
        self._offset_hz = options.sample_rate_hz // 4 if options.offset_hz is None else options.offset_hz
        self._mode, self._bandwidth_hz = "USB", 2400
        self._hz = 0
        self._gain_db: float | None = None
        self._samples = TcpSamples(
            StreamOptions(
                host=parts.hostname or "",
                port=parts.port or 0,
                rate_hz=options.sample_rate_hz,
                latency_s=options.latency_s,
                timeout_s=options.timeout_s,
            ),
            GATES["samples and bias tee" if options.bias_tee else "samples"],
        )

    def identify(self) -> str:
        rate_hz = self._samples.measured_rate_hz
        seen = "" if rate_hz is None else f", {rate_hz / 1e6:.3f} million samples a second seen"
        return f"server of 8-bit samples at {self._options.link}, {self._samples.tuner} (no read-back{seen})"

    def frequency_range_hz(self) -> tuple[int, int] | None:
        options = self._options
        if options.range_hz is not None:
            return options.range_hz
        if options.direct_sampling != "off":
            return 1, FOLDS_HZ
        lowest_hz = TUNED_FROM_HZ.get(self._samples.tuner)
        if lowest_hz is None:
            return None
        return max(lowest_hz - options.converter_hz, 1), max(1_750_000_000 - options.converter_hz, 2)

    def tuning(self) -> Tuning:
        return Tuning(self._hz, self._mode, self._bandwidth_hz)

    def tune(self, hz: int) -> None:
        limits_hz = self.frequency_range_hz()
        if limits_hz is not None and not limits_hz[0] <= hz <= limits_hz[1]:
            raise Refused(
                PART,
                f"{hz} Hz is outside {limits_hz[0]} to {limits_hz[1]} Hz, which its {self._samples.tuner} reaches.",
                "Set direct_sampling or converter_hz, or write range_hz if it reaches further.",
            )
        wanted_db = gain_at(self._options.gain_db, hz)
        if wanted_db is not None and wanted_db != self._gain_db:
            self._samples.tell("gain", round(wanted_db * 10))
            self._gain_db = wanted_db
        self._samples.tell("frequency", hz + self._offset_hz + self._options.converter_hz)
        self._hz = hz

    def set_mode(self, mode: str, bandwidth_hz: int | None) -> None:
        wanted_hz = bandwidth_hz or 2400
        check_fits(mode, wanted_hz, self._offset_hz, self._options.sample_rate_hz)
        self._mode, self._bandwidth_hz = mode, wanted_hz

    def frequency_hz(self) -> int:
        return self._hz

    def read_power(self) -> float:
        """Mean power of samples captured after this call."""
        options, rate_hz = self._options, self._options.sample_rate_hz
        count = samples_needed(rate_hz, self._bandwidth_hz, options.averaging_s)
        block = self.take(count / rate_hz, monotonic())
        if block.unplaced:
            raise BadReply(
                PART, "the server threw samples away, nobody knows which.", "Lower sample_rate_hz."
            )
        clipped = block.clipped > 0.0
        read_db = reading_db(block, self._mode, self._bandwidth_hz, self._offset_hz, clipped)
        return options.full_scale_dbm + read_db

    def take(self, seconds: float, after_s: float) -> Block:
        """Samples around the dial plus ``offset_hz``. See `drivers.contracts.SampleSource.take`."""
        return self._samples.take(seconds, after_s)

    def unknown(self) -> tuple[str, ...]:
        """What is told cannot be read back; the rate is measured, which takes two seconds of a new connection."""
        return (*self._samples.unknown(), *self._untold())

    def _untold(self) -> tuple[str, ...]:
        return () if self._options.gain_db is not None else ("gain",)

    def is_transmitting(self) -> bool:
        return False

    def tells_transmit(self) -> bool:
        return False

    def remember(self) -> Mapping[str, Any]:
        """The voltage on the feed line, where this station switches it; nothing else outlives the connection."""
        return {"bias_tee": False} if self._options.bias_tee else {}

    def restore(self, remembered: Mapping[str, Any]) -> None:
        if "bias_tee" in remembered and self._options.bias_tee:
            self._samples.tell("bias tee", 0)

    def prepare(self) -> tuple[str, ...]:
        """Rate, correction, and gain controls off; what nobody told stays unknown."""
        options, tell = self._options, self._samples.tell
        tell("rate", options.sample_rate_hz)
        tell("ppm", options.ppm)
        tell("direct sampling", ("off", "I", "Q").index(options.direct_sampling))
        tell("digital gain control", 0)
        tell("gain by hand", 1)
        self._gain_db = None
        if options.bias_tee:
            tell("bias tee", 1)
        return self._untold()

    def close(self) -> None:
        if self._options.bias_tee:
            with suppress(RigError):
                self._samples.tell("bias tee", 0)
        self._samples.close()


def open_receiver(options: Options) -> IqTcpReceiver:
    """Connect to the server; `RigError` when it does not answer as one."""
    return IqTcpReceiver(options)


DRIVER = Driver("receiver", "iq-tcp", Options, open_receiver)
