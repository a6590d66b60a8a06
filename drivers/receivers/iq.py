"""A software-defined receiver through SoapySDR: true mean power in the channel's bandwidth, from its samples.

SoapySDR comes with the system (Debian: python3-soapysdr and a soapysdr-module-... for the device), so it is loaded
only when such a receiver is opened. Its calls know no deadline, and so each is given one (`drivers/foreign.py`).
Only the receive direction is ever named. Readings are in dB of full scale plus `full_scale_dbm`; one that clipped reads
at least full scale, so that ``meter: top`` marks it.
"""

import contextlib
import math
import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, field_validator

from drivers.contracts import Driver, Tuning
from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused, RigError, Unsupported
from drivers.foreign import Foreign
from drivers.protocols.band_power import samples_needed
from drivers.protocols.keying import in_names
from drivers.receivers.sampled import PART, check_fits, level_db
from drivers.waiting import Deadline, pause

if TYPE_CHECKING:
    from numpy.typing import NDArray

FEEDS_OR_RESETS = re.compile(r"bias|reset|phantom|lna_?power|antenna_?power|dc_?power", re.IGNORECASE)
"""Keys of a device that move more than its receiver. A short antenna or a masthead stage may not bear the voltage."""
CHUNK = 1024
LOOK_AGAIN_S = 0.005
"""Between looks for samples: SoapySDR's own waiting would hear of no stop order."""
OPEN_S, CALL_S = 20.0, 5.0
"""For finding and starting a device, which may want its firmware first, and for any other call."""
CALLS = Foreign(PART, "Unplug it and plug it in again; if that does not help, end the program.")
"""One for all: what hangs in there mostly holds a lock that everybody wants."""
OVERFLOW = -4
TIMEOUT = -1
"""SoapySDR/Errors.h: SOAPY_SDR_OVERFLOW and SOAPY_SDR_TIMEOUT."""


class Options(BaseModel):
    """Keys of the station file's receiver section. `device`: SoapySDR's arguments, such as {driver: rtlsdr}."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    device: dict[str, str | int] = Field(min_length=1)
    channel: int = Field(default=0, ge=0, le=15)
    sample_rate_hz: int = Field(default=100_000, ge=8_000, le=20_000_000)
    offset_hz: int | None = None
    gain_db: float | None = None
    antenna: str | None = None
    averaging_s: float = Field(default=0.05, gt=0, le=10)
    full_scale_dbm: float = 0.0
    timeout_s: float = Field(default=2.0, gt=0, le=60)

    @field_validator("device")
    @classmethod
    def _plain_arguments(cls, device: dict[str, str | int]) -> dict[str, str | int]:
        for key, value in device.items():
            if not re.fullmatch(r"[A-Za-z0-9_.:-]{1,64}", key) or not re.fullmatch(
                r"[!-~ ]{0,200}", str(value)
            ):
                raise ValueError(
                    f"{key[:40]!r} and its value are no argument of a device; both are plain words"
                )
            if FEEDS_OR_RESETS.search(key):
                raise ValueError(
                    f"{key!r} puts a supply voltage on the antenna's feed line, or resets the device; "
                    f"neither is ever done from a station file"
                )
            if word := in_names(key.replace("_", " ")):
                raise ValueError(
                    f"{key!r} sets up a transmitter ({word}); only the receive direction is used"
                )
        return device


class _Asked:
    """A device whose own faults come as ours, and whose calls have an end."""

    def __init__(self, device: Any) -> None:
        self._device = device

    def __getattr__(self, name: str) -> Any:
        call = getattr(self._device, name)

        def asked(*arguments: Any, **named: Any) -> Any:
            try:
                return CALLS.call(f"SoapySDR's {name}", CALL_S, lambda: call(*arguments, **named))
            except RuntimeError as fault:
                raise LinkLost(PART, f"SoapySDR says of {name}: {fault}.", "Is it plugged in?") from fault

        return asked


class IqReceiver:
    """A stream of samples seen as a receiver. Fulfils `drivers.contracts.Receiver`."""

    def __init__(self, options: Options, soapy: Any) -> None:
        self._options = options
        self._soapy = soapy
        self._receive = soapy.SOAPY_SDR_RX
        # the channel is kept off the centre, where converters leave a carrier of their own (common practice)
        self._offset_hz = options.sample_rate_hz // 4 if options.offset_hz is None else options.offset_hz
        self._mode, self._bandwidth_hz = "USB", 2400
        wanted = {key: str(to) for key, to in options.device.items()}
        self._device = CALLS.call("opening it", OPEN_S, lambda: soapy.Device(wanted))
        self._asked = _Asked(self._device)
        try:
            self._stream = self._set_up()
        except RigError:
            # SoapySDR gives the same device again, broken or not, while somebody has it
            with contextlib.suppress(RigError, RuntimeError):
                CALLS.call("closing it", CALL_S, self._device.close)
            raise

    def identify(self) -> str:
        return f"{self._asked.getHardwareKey()} through SoapySDR {self._soapy.getAPIVersion()}"

    def frequency_range_hz(self) -> tuple[int, int] | None:
        ranges = self._asked.getFrequencyRange(self._receive, self._options.channel)
        if not ranges:
            return None
        lowest_hz = min(each.minimum() for each in ranges) - self._offset_hz
        highest_hz = max(each.maximum() for each in ranges) - self._offset_hz
        return max(round(lowest_hz), 1), round(highest_hz)

    def tuning(self) -> Tuning:
        return Tuning(self.frequency_hz(), self._mode, self._bandwidth_hz)

    def tune(self, hz: int) -> None:
        to_hz, channel = float(hz + self._offset_hz), self._options.channel
        try:
            CALLS.call("tuning it", CALL_S, lambda: self._device.setFrequency(self._receive, channel, to_hz))
        except RuntimeError as fault:
            raise Refused(PART, f"it did not tune to {hz} Hz: {fault}.") from fault

    def set_mode(self, mode: str, bandwidth_hz: int | None) -> None:
        wanted_hz = bandwidth_hz or 2400
        check_fits(mode, wanted_hz, self._offset_hz, self._options.sample_rate_hz)
        self._mode, self._bandwidth_hz = mode, wanted_hz

    def frequency_hz(self) -> int:
        centre_hz: float = self._asked.getFrequency(self._receive, self._options.channel)
        if not math.isfinite(centre_hz):
            raise BadReply(
                PART, f"it stands at {centre_hz} Hz, which is no frequency.", "Unplug it and try again."
            )
        return round(centre_hz) - self._offset_hz

    def read_power(self) -> float:
        options = self._options
        count = samples_needed(options.sample_rate_hz, self._bandwidth_hz, options.averaging_s)
        within_s = options.timeout_s + 2 * count / options.sample_rate_hz
        samples = CALLS.call("its stream of samples", within_s + CALL_S, lambda: self._fresh(count, within_s))
        return options.full_scale_dbm + level_db(
            samples, options.sample_rate_hz, self._mode, self._bandwidth_hz, self._offset_hz
        )

    def is_transmitting(self) -> bool:
        return False

    def tells_transmit(self) -> bool:
        return False

    def remember(self) -> Mapping[str, Any]:
        """Nothing: the device belongs to this program alone while it is open, and has no state of its own after."""
        return {}

    def restore(self, remembered: Mapping[str, Any]) -> None:
        return

    def prepare(self) -> tuple[str, ...]:
        device, channel = self._asked, self._options.channel
        if device.hasGainMode(self._receive, channel):
            device.setGainMode(self._receive, channel, False)
            if device.getGainMode(self._receive, channel):
                return ("automatic gain",)
        if (wanted_db := self._options.gain_db) is not None:
            device.setGain(self._receive, channel, wanted_db)
            if abs(device.getGain(self._receive, channel) - wanted_db) > 0.5:
                return ("gain",)
        return ()

    def close(self) -> None:
        device, stream, self._device = self._device, self._stream, None
        if device is None:
            return

        def closed() -> None:
            for end, given in (
                (device.deactivateStream, [stream]),
                (device.closeStream, [stream]),
                (device.close, []),
            ):
                with contextlib.suppress(RuntimeError):  # the device is gone, which is what closing is for
                    end(*given)

        with contextlib.suppress(RigError):
            CALLS.call("closing it", CALL_S, closed)

    def _set_up(self) -> Any:
        device, channel, rate_hz = self._asked, self._options.channel, self._options.sample_rate_hz
        device.setSampleRate(self._receive, channel, float(rate_hz))
        standing_hz = device.getSampleRate(self._receive, channel)
        if abs(standing_hz - rate_hz) > 1e-3 * rate_hz:
            raise Refused(
                PART, f"it samples at {standing_hz:g} Hz instead of {rate_hz} Hz.", "See its rates."
            )
        if self._options.antenna is not None:
            device.setAntenna(self._receive, channel, self._options.antenna)
        stream = device.setupStream(self._receive, self._soapy.SOAPY_SDR_CF32, [channel])
        device.activateStream(stream)
        return stream

    def _fresh(self, count: int, within_s: float) -> "NDArray[np.complex64]":
        """Samples taken after this call; what had queued up before it is dropped."""
        deadline = Deadline(within_s, PART)
        chunk = np.empty(CHUNK, np.complex64)
        while self._read(chunk) == CHUNK:  # what has queued up since the last reading
            if deadline.remaining() <= 0.0:
                raise LinkTimeout(
                    PART, "samples come faster than they can be taken.", "Lower sample_rate_hz."
                )
        self._take(chunk, deadline)  # and the one that was half full when this began
        samples = np.empty(-(-count // CHUNK) * CHUNK, np.complex64)
        for start in range(0, len(samples), CHUNK):
            self._take(samples[start : start + CHUNK], deadline)
        return samples[:count]

    def _take(self, into: "NDArray[np.complex64]", deadline: Deadline) -> None:
        filled = 0
        while True:
            filled += self._read(into[filled:])
            if filled == len(into):
                return
            if deadline.remaining() <= 0.0:
                raise LinkTimeout(PART, "no samples came.", "Check the device's cable and power.")
            pause(LOOK_AGAIN_S, PART)

    def _read(self, into: "NDArray[np.complex64]") -> int:
        """Samples that were there, none after an overflow. LinkLost for any other trouble."""
        try:
            count = int(self._device.readStream(self._stream, [into], len(into), timeoutUs=0).ret)
        except RuntimeError as fault:
            raise LinkLost(
                PART, f"the stream of samples broke: {fault}.", "Check cable and power."
            ) from fault
        if count < 0 and count not in (TIMEOUT, OVERFLOW):
            raise LinkLost(PART, f"the stream of samples broke (SoapySDR error {count}).", "Check the cable.")
        return max(count, 0)


def open_receiver(options: Options) -> IqReceiver:
    """Open the device; Unsupported where SoapySDR is not installed, another RigError when it does not answer."""
    try:
        import SoapySDR
    except ImportError as fault:
        raise Unsupported(
            PART,
            "SoapySDR is not installed for this Python.",
            "On Debian: apt install python3-soapysdr, and a virtual environment made with --system-site-packages.",
        ) from fault
    try:
        return IqReceiver(options, SoapySDR)
    except RigError:
        raise
    except RuntimeError as fault:
        raise LinkLost(
            PART, f"SoapySDR cannot open {options.device}: {fault}.", "Is it plugged in?"
        ) from fault


DRIVER = Driver("receiver", "iq", Options, open_receiver)
