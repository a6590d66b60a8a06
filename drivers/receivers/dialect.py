"""Any receiver whose commands are written down in a dialect file, over a serial line or TCP.

What is said on the wire comes from the file through `drivers.protocols.calls`; here is the order of things.
"""

from collections.abc import Mapping
from functools import lru_cache, partial
from typing import Any

from pydantic import Field, ValidationInfo, field_validator

from drivers.config_files import dialect_file, dialect_names
from drivers.contracts import Driver, Tuning
from drivers.data_files import DataFileError, text_of
from drivers.errors import BadReply, Refused, RigError, Stuck, Transmitting
from drivers.links import GatedLink, LinkOptions, open_link
from drivers.numbers import is_reading
from drivers.protocols import calls
from drivers.protocols.allowed import GATES
from drivers.protocols.calls import PART, Call, Values
from drivers.protocols.dialect import Control, Dialect, DialectError, Query, parse
from drivers.receivers.settings import Setting, dial_steps, restore_all


def load(name: str) -> Dialect:
    """The dialect `name` (or a path to a file of one's own); DialectError says what is wrong with it."""
    file = dialect_file(name)
    try:
        text = text_of(file)
    except (FileNotFoundError, DataFileError) as fault:
        at_hand = ", ".join(dialect_names())
        raise DialectError(
            f"dialect {name}",
            "there is none of that name."
            if isinstance(fault, FileNotFoundError)
            else f"its file is none: {fault}.",
            f"At hand: {at_hand}.",
        ) from fault
    return _parsed(text, file.name)


_parsed = lru_cache(maxsize=16)(parse)
"""Reading YAML takes longer than a visit, and each pass opens its receiver anew. A changed file is a new text."""


class Options(LinkOptions):
    """Keys of the station file's receiver section. The line's shape is the dialect's unless given here."""

    dialect: str
    address: int | None = Field(default=None, ge=1, le=0xDF)
    settings: Mapping[str, str | int | bool] = {}

    @property
    def range_hz(self) -> tuple[int, int]:
        """Lowest and highest frequency that the dialect knows, in hertz."""
        return load(self.dialect).range_hz

    @classmethod
    def for_sound(cls, keys: dict[str, Any]) -> dict[str, Any]:
        """The gain control off, where the dialect knows that word for it."""
        try:
            agc = load(str(keys.get("dialect"))).settings.get("agc")
        except DialectError:
            return keys  # what is wrong with it is told when it is read
        settings = keys.get("settings", {})
        if agc is None or "off" not in agc.values or not isinstance(settings, dict):
            return keys
        return {**keys, "settings": {"agc": "off", **settings}}

    @field_validator("dialect")
    @classmethod
    def _valid(cls, name: str) -> str:
        try:
            load(name)
        except DialectError as fault:
            raise ValueError(str(fault)) from fault
        return name

    @field_validator("settings")
    @classmethod
    def _known(cls, settings: Mapping[str, Any], info: ValidationInfo) -> Mapping[str, str]:
        words = {
            key: {True: "on", False: "off"}.get(to, str(to)) if isinstance(to, bool) else str(to)
            for key, to in settings.items()
        }
        if name := info.data.get("dialect"):
            known = load(name).settings
            for key, to in words.items():
                if key not in known:
                    raise ValueError(f"{name} has no setting {key!r}; it has {', '.join(known)}")
                if known[key].values and to not in known[key].values:
                    raise ValueError(f"{key}: {to!r} is none of {', '.join(known[key].values)}")
        return words


class DialectReceiver:
    """A receiver that speaks a dialect. Fulfils `drivers.contracts.Receiver`."""

    def __init__(self, options: Options, dialect: Dialect, link: GatedLink) -> None:
        self._dialect = dialect
        self._link = link
        self._address = options.address or dialect.address or 0
        self._frequency = self._asking(dialect.frequency)
        self._mode = self._asking(dialect.mode)
        self._meter = self._asking(dialect.meter)
        self._transmit = self._asking(dialect.transmit) if dialect.transmit else None
        self._reading: tuple[Call, ...] = (self._meter,)
        if self._transmit is not None:
            both = self._transmit, self._meter
            self._reading = (calls.together(*both),) if dialect.family == "ascii" else both
        self._wanted = {
            key: options.settings.get(key, setting.measure) for key, setting in dialect.settings.items()
        }
        self._prepared = False
        self._greet()
        self.identify()
        link.on_connect(self._greet)

    def identify(self) -> str:
        query = self._dialect.identify
        if query is None:
            return f"{self._dialect.receiver} (it cannot say so itself)"
        values = self._ask(calls.identifying(self._dialect, query, self._address))
        told = " ".join(str(value) for value in values.values())
        return f"{self._dialect.receiver} ({told})" if told else self._dialect.receiver

    def frequency_range_hz(self) -> tuple[int, int] | None:
        return self._dialect.range_hz

    def tuning(self) -> Tuning:
        return self._tuning(self._ask(self._mode))

    def tune(self, hz: int) -> None:
        lowest_hz, highest_hz = self._dialect.range_hz
        if not isinstance(hz, int) or not lowest_hz <= hz <= highest_hz:
            raise Refused(
                PART, f"{str(hz)[:40]} Hz lies outside its range of {lowest_hz} to {highest_hz} Hz."
            )
        self._put(self._dialect.frequency, {"hz": hz})

    def set_mode(self, mode: str, bandwidth_hz: int | None) -> None:
        mode = mode.upper()
        if mode not in self._dialect.mode.values:
            raise Refused(PART, f"it has no mode {mode}.", f"One of {', '.join(self._dialect.mode.values)}.")
        self._set_mode(mode, bandwidth_hz)

    def _set_mode(self, mode: str, bandwidth_hz: int | None, found_width: str | None = None) -> None:
        """`mode` may also be a symbol that the dialect has no name for, as a person may have left the receiver."""
        control, bandwidth = self._dialect.mode, self._dialect.bandwidth
        values: Values = {"mode": control.symbol(mode)}
        width = bandwidth.symbol(mode, bandwidth_hz) if bandwidth and bandwidth_hz else None
        if bandwidth and not bandwidth.command:
            values["width"] = found_width or width or self._ask(self._mode)["width"]
        self._put(control, values)
        standing = str(self._ask(self._mode)["mode"])
        if standing != values["mode"]:
            raise Stuck(PART, f"told to receive {mode}, it stands at {control.name(standing)}.")
        if bandwidth and bandwidth.command and bandwidth_hz and (width or not bandwidth.widths):
            self._put(bandwidth.command, {"width": width or "", "hz": bandwidth_hz})

    def frequency_hz(self) -> int:
        return int(self._ask(self._frequency)["hz"])

    def read_power(self) -> float:
        values: Values = {}
        for call in self._reading:
            values |= self._ask(call)
        if self._keyed(values):
            raise Transmitting(PART, "it says that its transmitter is on.")
        reading = self._dialect.meter.level(float(values["raw"]))
        if not is_reading(reading):
            raise BadReply(PART, f"the meter read {reading:g}, which no meter shows.")
        return reading

    def is_transmitting(self) -> bool:
        return self._transmit is not None and self._keyed(self._ask(self._transmit))

    def tells_transmit(self) -> bool:
        return self._transmit is not None

    def remember(self) -> Mapping[str, Any]:
        values = self._ask(self._mode)
        tuning = self._tuning(values)
        found: dict[str, Any] = {
            "tuning": {
                "hz": tuning.hz,
                "mode": tuning.mode,
                "bandwidth_hz": tuning.bandwidth_hz,
                "width": values.get("width"),
            }
        }
        for key in self._dialect.settings:
            if (standing := self.control(key).value()) is not None:
                found[key] = standing
        return found

    def restore(self, remembered: Mapping[str, Any]) -> None:
        """Mode and dial first, then the settings."""

        def set_mode(tuning: Mapping[str, Any]) -> None:
            mode, bandwidth_hz, width = (tuning.get(key) for key in ("mode", "bandwidth_hz", "width"))
            wide_hz = bandwidth_hz if isinstance(bandwidth_hz, int) else None
            self._set_mode(str(mode), wide_hz, None if width is None else str(width))

        self._prepared = False
        steps = dial_steps(remembered, set_mode, self.tune)
        for key, setting in self._dialect.settings.items():
            if key in remembered:
                steps.append((setting.label, partial(self.control(key).bring_to, remembered[key])))
        restore_all(PART, steps)

    def prepare(self) -> tuple[str, ...]:
        self._prepared = True
        unknown = self._bring_all()
        if self._dialect.bandwidth is None:
            unknown += ("pass band",)
        if self._transmit is None and not self._dialect.receive_only:
            unknown += ("transmit state",)
        return unknown

    def control(self, key: str) -> Setting:
        """One of the dialect's settings, by its key: asked and set by the names in its table."""
        setting = self._dialect.settings[key]
        return Setting(
            setting.label,
            lambda: setting.name(str(self._ask(self._asking(setting))["value"])),
            None
            if setting.set is None
            else lambda to: self._put(setting, {"value": setting.symbol(str(to))}),
        )

    def close(self) -> None:
        self._link.forget(self._greet)
        self._link.close()

    def _bring_all(self) -> tuple[str, ...]:
        return tuple(
            self._dialect.settings[key].label
            for key, wanted in self._wanted.items()
            if wanted is not None and not self.control(key).bring_to(wanted)
        )

    def _keyed(self, values: Values) -> bool:
        transmit = self._dialect.transmit
        return transmit is not None and values["on"] != transmit.expect["on"]

    def _greet(self) -> None:
        """Also after a lost link: the receiver may have been switched off and on, and nothing about it is known."""
        for message in self._dialect.greeting:
            self._link.send(calls.greeting(self._dialect, message, self._address))
        if self._prepared:
            self._bring_all()

    def _tuning(self, mode_values: Values) -> Tuning:
        mode = self._dialect.mode.name(str(mode_values["mode"]))
        return Tuning(self.frequency_hz(), mode, self._bandwidth_hz(mode, mode_values))

    def _bandwidth_hz(self, mode: str, mode_values: Values) -> int | None:
        bandwidth = self._dialect.bandwidth
        if bandwidth is None:
            return None
        values = self._ask(self._asking(bandwidth.command)) if bandwidth.command else mode_values
        if "hz" in values:
            return int(values["hz"])
        return bandwidth.hz(mode, str(values.get("width")))

    def _asking(self, query: Query) -> Call:
        return calls.asking(self._dialect, query, self._address)

    def _ask(self, call: Call) -> Values:
        return self._link.exchange(call.request, call.read)

    def _put(self, control: Control, values: Values) -> None:
        self._ask(calls.setting(self._dialect, control, values, self._address))


def open_receiver(options: Options) -> DialectReceiver:
    """Connect to the receiver; RigError when it does not answer as its dialect says."""
    dialect = load(options.dialect)
    shape = {key: to for key, to in dialect.serial if key not in options.model_fields_set}
    link = open_link(options.model_copy(update=shape), PART, GATES[dialect.family])
    try:
        return DialectReceiver(options, dialect, link)
    except RigError:
        link.close()
        raise


DRIVER = Driver("receiver", "dialect", Options, open_receiver)
