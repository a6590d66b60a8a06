"""A software-defined receiver through SoapySDR, here or behind its server: one channel of its samples, or all of them.

SoapySDR comes with the system (Debian: python3-soapysdr and a soapysdr-module-... for the device), so it is loaded
only when such a receiver is opened. Its calls know no deadline, and so each is given one (`drivers/foreign.py`).
Only the receive direction is ever named. Readings are in dB of full scale plus `full_scale_dbm`; one that clipped reads
at least full scale, so that ``meter: top`` marks it.
"""

import contextlib
import math
from collections.abc import Mapping
from typing import Annotated, Any, Self

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from drivers.contracts import Block, Driver, Tuning
from drivers.errors import BadReply, LinkLost, Refused, RigError, Unsupported
from drivers.foreign import Foreign
from drivers.protocols import soapy_keys as keys
from drivers.protocols.band_power import samples_needed
from drivers.receivers.sampled import (
    FOLDS_HZ,
    PART,
    Decibel,
    Gain,
    check_fits,
    gain_at,
    reading_db,
)
from drivers.samples.full_scale import check_samples
from drivers.samples.soapy import SoapySamples
from drivers.waiting import monotonic

OPEN_S, CALL_S = 20.0, 5.0
"""For finding and starting a device, which may want its firmware first, and for any other call."""
CALLS = Foreign(PART, "Unplug it and plug it in again; if that does not help, end the program.")
"""One for all: what hangs in there mostly holds a lock that everybody wants."""
BUFFERS_S, SERVED_S = 0.1, 0.4
"""How old samples may be when they are handed on: of a device here, and of one behind a server of samples or sound."""
GAIN_OFF_DB = 0.5


class Options(BaseModel):
    """Keys of the station file's receiver section. `device`: SoapySDR's arguments, such as {driver: rtlsdr}."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    device: dict[str, str | int] = Field(min_length=1)
    channel: int = Field(default=0, ge=0, le=15)
    sample_rate_hz: int = Field(default=100_000, ge=8_000, le=20_000_000)
    offset_hz: int | None = None
    gain_db: Gain | None = None
    gains: dict[str, Decibel] = Field(default={}, max_length=16)
    settings: dict[str, str] = Field(default={}, max_length=32)
    converter_hz: Annotated[int, Field(ge=0, le=2_000_000_000)] = 0
    filter_hz: Annotated[int, Field(gt=0, le=1_000_000_000)] | None = None
    ppm: Annotated[float, Field(ge=-1000, le=1000, allow_inf_nan=False)] | None = None
    stream: dict[str, str] = Field(default={}, max_length=16)
    bias_tee: bool = False
    range_hz: tuple[int, int] | None = None
    antenna: str | None = None
    latency_s: Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)] | None = None
    averaging_s: float = Field(default=0.05, gt=0, le=10)
    full_scale_dbm: float = 0.0
    timeout_s: float = Field(default=2.0, gt=0, le=60)

    @classmethod
    def for_spectrum(cls, keys: Mapping[str, Any]) -> dict[str, Any]:
        """With whole spectra the dial is the middle of the samples."""
        return {"offset_hz": 0, **keys}

    def links(self) -> tuple[str, ...]:
        """Where the device is, if not here."""
        remote = str(self.device.get("remote", ""))
        return (remote,) if remote.startswith("tcp://") else ()

    @property
    def module(self) -> str:
        """SoapySDR's name of what drives the device."""
        return keys.module_of(self.device)

    @property
    def direct(self) -> bool:
        """Whether samples are taken past the tuner."""
        return keys.samples_directly(self.settings, self.module)

    @field_validator("device")
    @classmethod
    def _plain_arguments(cls, device: dict[str, str | int]) -> dict[str, str | int]:
        if mistake := keys.mistake_in_arguments(device, "device"):
            raise ValueError(mistake)
        return device

    @field_validator("stream")
    @classmethod
    def _plain_stream(cls, stream: dict[str, str]) -> dict[str, str]:
        if mistake := keys.mistake_in_arguments(stream, "stream"):
            raise ValueError(mistake)
        return stream

    @model_validator(mode="after")
    def _fits_the_device(self) -> Self:
        if mistake := keys.mistake_in_settings(self.settings, self.module):
            raise ValueError(mistake)
        if self.bias_tee and self.module not in keys.BIAS_TEE:
            known = ", ".join(sorted(keys.BIAS_TEE))
            raise ValueError(f"no bias tee of {self.module or 'it'} is known here; those of {known} are")
        if self.gains and self.gain_db is not None:
            raise ValueError("gain_db spreads itself over the gains; leave one of the two out")
        if self.direct and self.converter_hz:
            raise ValueError("with direct sampling no converter is in the way; leave one of the two out")
        if self.direct and self.range_hz and self.range_hz[1] > FOLDS_HZ:
            raise ValueError(
                f"with direct sampling everything above {FOLDS_HZ} Hz folds down onto what lies below it; "
                f"end range_hz at {FOLDS_HZ}"
            )
        return self


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
    """A stream of samples seen as a receiver. Fulfils `drivers.contracts.Receiver` and `SampleSource`."""

    def __init__(self, options: Options, soapy: Any) -> None:
        self._options = options
        self._soapy = soapy
        self._receive = soapy.SOAPY_SDR_RX
        # the channel is kept off the centre, where converters leave a carrier of their own (common practice)
        self._offset_hz = options.sample_rate_hz // 4 if options.offset_hz is None else options.offset_hz
        self._beyond_hz = self._offset_hz + options.converter_hz
        self._mode, self._bandwidth_hz = "USB", 2400
        wanted = {key: str(to) for key, to in options.device.items()}
        self._device = CALLS.call("opening it", OPEN_S, lambda: soapy.Device(wanted))
        self._asked = _Asked(self._device)
        self._gain_db: float | None = None
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
        """What the station says wins over what the device claims."""
        options = self._options
        if options.range_hz is not None or options.direct:
            return options.range_hz or (1, FOLDS_HZ)
        ranges = self._asked.getFrequencyRange(self._receive, options.channel)
        if not ranges:
            return None
        lowest_hz = min(each.minimum() for each in ranges) - self._beyond_hz
        highest_hz = max(each.maximum() for each in ranges) - self._beyond_hz
        return max(round(lowest_hz), 1), round(highest_hz)

    def tuning(self) -> Tuning:
        return Tuning(self.frequency_hz(), self._mode, self._bandwidth_hz)

    def tune(self, hz: int) -> None:
        to_hz, channel = float(hz + self._beyond_hz), self._options.channel
        if self._options.direct and to_hz > FOLDS_HZ:
            raise Refused(
                PART, f"{hz} Hz folds down: direct sampling ends at {FOLDS_HZ} Hz.", "Leave it out."
            )
        try:
            CALLS.call("tuning it", CALL_S, lambda: self._device.setFrequency(self._receive, channel, to_hz))
        except RuntimeError as fault:
            raise Refused(PART, f"it did not tune to {hz} Hz: {fault}.") from fault
        wanted_db = gain_at(self._options.gain_db, hz)
        if wanted_db is not None and wanted_db != self._gain_db:
            self._asked.setGain(self._receive, channel, wanted_db)
            self._gain_db = wanted_db

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
        return round(centre_hz) - self._beyond_hz

    def read_power(self) -> float:
        options = self._options
        count = samples_needed(options.sample_rate_hz, self._bandwidth_hz, options.averaging_s)
        block = self._taken(count, monotonic() - self._stream.latency_s)
        read_db = reading_db(block, self._mode, self._bandwidth_hz, self._offset_hz)
        return options.full_scale_dbm + read_db

    def take(self, seconds: float, after_s: float) -> Block:
        """Samples around the dial plus ``offset_hz``. See `drivers.contracts.SampleSource.take`."""
        block = self._taken(max(round(seconds * self._stream.rate_hz), 1), after_s)
        check_samples(np.asarray(block.samples, np.complex64), PART)
        return block

    def unknown(self) -> tuple[str, ...]:
        """The gain, where the device has one and nobody told it."""
        told = self._options.gains or self._options.gain_db is not None
        return () if told or not self._asked.listGains(self._receive, self._options.channel) else ("gain",)

    def _taken(self, count: int, after_s: float) -> Block:
        stream = self._stream
        return CALLS.call(
            "its stream of samples",
            stream.within_s(count, after_s) + CALL_S,
            lambda: stream.take(count, after_s),
        )

    def is_transmitting(self) -> bool:
        return False

    def tells_transmit(self) -> bool:
        return False

    def remember(self) -> Mapping[str, Any]:
        """The voltage on the feed line, where this station switches it; nothing else outlives the program."""
        if not self._options.bias_tee:
            return {}
        return {"bias_tee": self._asked.readSetting(keys.BIAS_TEE[self._options.module])}

    def restore(self, remembered: Mapping[str, Any]) -> None:
        if "bias_tee" in remembered and self._options.bias_tee:
            was = "true" if str(remembered["bias_tee"]).lower() in ("true", "1", "on") else "false"
            self._asked.writeSetting(keys.BIAS_TEE[self._options.module], was)

    def prepare(self) -> tuple[str, ...]:
        """Gain control off, gains and settings as the station has them; what does not read back so is unknown."""
        device, channel, options = self._asked, self._options.channel, self._options
        unknown = list(self.unknown())
        if device.hasGainMode(self._receive, channel):
            device.setGainMode(self._receive, channel, False)
            if device.getGainMode(self._receive, channel):
                unknown.append("automatic gain")
        unknown += self._set_gains()
        for key, value in options.settings.items():
            if str(device.readSetting(key)).lower() != value.lower():
                unknown.append(f"setting {key}")
        if options.bias_tee:
            device.writeSetting(keys.BIAS_TEE[options.module], "true")
        return tuple(unknown)

    def _set_gains(self) -> list[str]:
        device, channel, unknown = self._asked, self._options.channel, []
        for name, wanted_db in self._options.gains.items():
            if name not in (there := list(device.listGains(self._receive, channel))):
                raise Refused(
                    PART, f"it has no gain {name!r}.", f"It has {', '.join(there) or 'none by name'}."
                )
            device.setGain(self._receive, channel, name, wanted_db)
            if abs(abs(device.getGain(self._receive, channel, name)) - abs(wanted_db)) > GAIN_OFF_DB:
                unknown.append(f"gain {name}")
        if (told := self._options.gain_db) is not None:
            wanted = list(told.values()) if isinstance(told, Mapping) else [told]
            for wanted_db in wanted:
                device.setGain(self._receive, channel, wanted_db)
                if abs(device.getGain(self._receive, channel) - wanted_db) > GAIN_OFF_DB:
                    unknown.append("gain")
            self._gain_db = wanted[-1]
        return unknown

    def close(self) -> None:
        device, self._device = self._device, None
        if device is None:
            return
        bias_tee = keys.BIAS_TEE.get(self._options.module) if self._options.bias_tee else None

        def closed() -> None:
            for end, given in (
                (device.writeSetting, [bias_tee, "false"] if bias_tee else None),
                (device.deactivateStream, [self._handle]),
                (device.closeStream, [self._handle]),
                (device.close, []),
            ):
                if given is not None:
                    with contextlib.suppress(
                        RuntimeError
                    ):  # the device is gone, which is what closing is for
                        end(*given)

        with contextlib.suppress(RigError):
            CALLS.call("closing it", CALL_S, closed)

    def _set_up(self) -> SoapySamples:
        device, channel, options = self._asked, self._options.channel, self._options
        for key, value in options.settings.items():
            device.writeSetting(key, value)
        rate_hz = options.sample_rate_hz
        device.setSampleRate(self._receive, channel, float(rate_hz))
        standing_hz = device.getSampleRate(self._receive, channel)
        if abs(standing_hz - rate_hz) > 1e-3 * rate_hz:
            rates = device.listSampleRates(self._receive, channel) or (standing_hz,)
            offered = ", ".join(f"{rate:.0f}" for rate in rates[:12])
            raise Refused(
                PART,
                f"it samples at {standing_hz:.0f} Hz instead of {rate_hz} Hz.",
                f"Write sample_rate_hz as it has it: {offered}.",
            )
        if options.filter_hz is not None:
            device.setBandwidth(self._receive, channel, float(options.filter_hz))
        if options.ppm is not None:
            self._correct(options.ppm)
        if options.antenna is not None:
            device.setAntenna(self._receive, channel, options.antenna)
        words = (options.stream,) if options.stream else ()
        stream = device.setupStream(self._receive, self._soapy.SOAPY_SDR_CF32, [channel], *words)
        self._handle = stream
        device.activateStream(stream)
        served = options.links() or options.module == "audio"
        latency_s = options.latency_s if options.latency_s is not None else SERVED_S if served else BUFFERS_S
        return SoapySamples(
            self._device,
            stream,
            float(rate_hz),
            latency_s,
            options.timeout_s,
            keys.FULL_SCALE.get(options.module, 0),
        )

    def _correct(self, ppm: float) -> None:
        """The device's clock, by whichever of SoapySDR's two ways its module has."""
        device, channel = self._asked, self._options.channel
        if device.hasFrequencyCorrection(self._receive, channel):
            device.setFrequencyCorrection(self._receive, channel, ppm)
        elif "CORR" in device.listFrequencies(self._receive, channel):
            device.setFrequency(self._receive, channel, "CORR", ppm)
        else:
            raise Refused(PART, "its clock takes no correction.", "Leave ppm out.")


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
SOAPY = Driver("receiver", "soapy", Options, open_receiver)
"""The same under the name of the library. `iq` goes on working."""
