"""Any receiver that hamlib drives, through its network control.

The wire is in `drivers.protocols.hamlib`; here is what is asked, in which order, and what is put back.
"""

from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import partial
from typing import Annotated, Any, Literal, TypeVar

from pydantic import Field

from drivers.contracts import Driver, Tuning
from drivers.errors import Refused, RigError, Stuck, Transmitting, Unsupported
from drivers.links import GatedLink, LinkOptions, open_link
from drivers.protocols import hamlib as wire
from drivers.protocols.allowed import GATES
from drivers.receivers.settings import Setting, Step, restore_all
from drivers.waiting import pause

T = TypeVar("T")

MEMORY_S = 0.6
"""hamlib answers from memory for half a second unless told otherwise (``set_cache`` in rigctld(1))."""


class Options(LinkOptions):
    """Keys of the station file's receiver section. Levels that are not given stay as the user has them."""

    link: str = "tcp://127.0.0.1:4532"
    timeout_s: Annotated[float, Field(gt=0, le=60)] = 3.0  # hamlib itself asks a slow receiver more than once
    level: Literal["STRENGTH", "RAWSTR"] = "STRENGTH"
    agc: Literal["off", "superfast", "fast", "medium", "slow", "auto"] = "fast"
    rf_gain: float = Field(default=1.0, ge=0, le=1)
    preamp_db: int | None = Field(default=None, ge=0)
    attenuator_db: int | None = Field(default=None, ge=0)


class HamlibReceiver:
    """A receiver behind rigctld. Fulfils `drivers.contracts.Receiver`."""

    def __init__(self, options: Options, link: GatedLink) -> None:
        self._options = options
        self._link = link
        self._vfo = "currVFO" if link.exchange(wire.CHECK_VFO, wire.read_check_vfo) else ""
        self._get_freq = self._call("get_freq", parse=wire.hz)
        self._get_mode = self._call("get_mode", parse=wire.mode)
        self._get_tuning = wire.both(self._get_mode, self._get_freq)
        self._get_ptt = self._call("get_ptt", parse=wire.flag("PTT"))
        self._get_power = self._call("get_level", options.level, parse=wire.strength)
        self._listen_and_get_power = wire.both(self._get_ptt, self._get_power)
        self._tells_transmit = self._knows_transmit_state()
        self._settings = self._find_settings()
        self._prepared = False
        link.on_connect(self._greet)

    def identify(self) -> str:
        for call in (self._call("get_info", parse=wire.info), self._call("dump_caps", parse=wire.model)):
            with suppress(Unsupported, Refused):
                if (told := self._ask(call)) not in ("", "None"):
                    return told
        return "a receiver behind hamlib"

    def frequency_range_hz(self) -> tuple[int, int] | None:
        received, _ = self._ask(self._call("dump_state", parse=wire.ranges_hz))
        return wire.span_hz(received)

    def tuning(self) -> Tuning:
        (mode, bandwidth_hz), hz = self._ask(self._get_tuning)
        return Tuning(hz, mode, bandwidth_hz)

    def tune(self, hz: int) -> None:
        self._put("set_freq", str(hz))

    def set_mode(self, mode: str, bandwidth_hz: int | None) -> None:
        mode = mode.upper()  # as hamlib writes them all
        self._put("set_mode", mode, str(bandwidth_hz or 0))
        standing, _ = self._ask(self._get_mode)
        if standing != mode:
            raise Stuck(wire.PART, f"told to receive {mode}, it stands at {standing}.", "Has it that mode?")

    def frequency_hz(self) -> int:
        return self._ask(self._get_freq)

    def read_power(self) -> float:
        if not self._tells_transmit:
            return self._ask(self._get_power)
        keyed, power = self._ask(self._listen_and_get_power)
        if keyed:
            raise Transmitting(wire.PART, "it says that its transmitter is on.")
        return power

    def is_transmitting(self) -> bool:
        return self._tells_transmit and self._ask(self._get_ptt)

    def remember(self) -> Mapping[str, Any]:
        tuning = self.tuning()
        found: dict[str, Any] = {
            "tuning": {"hz": tuning.hz, "mode": tuning.mode, "bandwidth_hz": tuning.bandwidth_hz}
        }
        for key, setting in self._settings.items():
            if (standing := setting.value()) is not None:
                found[key] = standing
        return found

    def restore(self, remembered: Mapping[str, Any]) -> None:
        """Mode and dial first, for the listener's sake; hamlib's memory last, else it answers for the receiver."""
        self._prepared = False
        steps: list[Step] = []
        tuning = remembered.get("tuning")
        if isinstance(tuning, Mapping):
            mode, bandwidth_hz = str(tuning.get("mode")), tuning.get("bandwidth_hz")
            steps.append(("mode", lambda: self.set_mode(mode, bandwidth_hz)))
            if "hz" in tuning:
                steps.append(("dial", lambda: self.tune(tuning["hz"])))
        for key in sorted(self._settings, key=lambda key: key == "CACHE"):
            if key in remembered:
                setting = self._settings[key]
                steps.append((setting.name, partial(setting.bring_to, remembered[key])))
        restore_all(wire.PART, steps)

    def prepare(self) -> tuple[str, ...]:
        self._prepared = True
        unknown = [
            self._settings[key].name for key, wanted in self._wanted().items() if not self._bring(key, wanted)
        ]
        if "AGC" not in self._settings:
            unknown.append("AGC")
        if not self._tells_transmit and self._can_transmit():
            unknown.append("transmit state")
        return tuple(unknown)

    def control(self, key: str) -> Setting:
        """The receiver's preamplifier or attenuator, in decibels as words: ``off``, ``10``, ``20``.

        Unsupported when hamlib cannot set it on this receiver.
        """
        level = {"preamplifier": "PREAMP", "attenuator": "ATT"}.get(key, "")
        setting = self._settings.get(level)
        if setting is None or setting.set is None:
            raise Unsupported(wire.PART, f"hamlib cannot set its {key}.", "Only preamplifier and attenuator.")
        return Setting(
            setting.name,
            lambda: f"{self._level(level):g}" if self._level(level) else "off",
            lambda to: self._set_level(level, 0.0 if to == "off" else wire.number(to)),
        )

    def close(self) -> None:
        self._link.forget(self._greet)
        self._link.close()

    def _greet(self) -> None:
        """After a lost link the receiver may have been switched off and on: nothing about it is known."""
        if self._prepared:
            for key, wanted in self._wanted().items():
                self._bring(key, wanted)

    def _wanted(self) -> dict[str, Any]:
        options = self._options
        wanted = {
            "AGC": wire.AGC[options.agc],
            "RF": options.rf_gain,
            "SQL": 0.0,
            "NB": False,
            "NB2": False,
            "NR": False,
            "ANF": False,
            "MN": False,
            "APF": False,
            "PREAMP": options.preamp_db,
            "ATT": options.attenuator_db,
            "CACHE": 0.0,  # else it repeats what it was told to tune to, and nothing is verified
        }
        return {key: to for key, to in wanted.items() if to is not None and key in self._settings}

    def _bring(self, key: str, wanted: Any) -> bool:
        return self._settings[key].bring_to(wanted)

    def _find_settings(self) -> dict[str, Setting]:
        readable = self._ask(self._call("get_level", "?", parse=wire.names))
        settable = self._ask(self._call("set_level", "?", parse=wire.names))
        found = {"CACHE": Setting("hamlib's memory of the dial", self._cache_ms, self._set_cache_ms)}
        for key, name in LEVEL_NAMES.items():
            if key in readable | settable:
                read = (lambda key=key: self._level(key)) if key in readable else None
                put = (lambda to, key=key: self._set_level(key, to)) if key in settable else None
                found[key] = Setting(name, read, put)
        readable = self._ask(self._call("get_func", "?", parse=wire.names))
        settable = self._ask(self._call("set_func", "?", parse=wire.names))
        for key, name in FUNCTION_NAMES.items():
            if key in readable | settable:
                read = (lambda key=key: self._function(key)) if key in readable else None
                put = (lambda to, key=key: self._set_function(key, to)) if key in settable else None
                found[key] = Setting(name, read, put)
        return found

    def _cache_ms(self) -> float:
        return self._ask(self._call("get_cache", parse=wire.cache_ms))

    def _set_cache_ms(self, to: float) -> None:
        self._put("set_cache", wire.decimal(to))

    def _level(self, key: str) -> float:
        return self._ask(self._call("get_level", key, parse=wire.level))

    def _set_level(self, key: str, to: float) -> None:
        self._put("set_level", key, wire.decimal(to))

    def _function(self, key: str) -> bool:
        return self._ask(self._call("get_func", key, parse=wire.flag()))

    def _set_function(self, key: str, to: bool) -> None:
        self._put("set_func", key, "1" if to else "0")

    def _knows_transmit_state(self) -> bool:
        """A rigctld that has no line to ask refuses get_ptt, and then answers it from an empty memory for a while.

        So where it describes itself as having none, only an answer that is older than its memory counts.
        """
        try:
            keyed_by = None
            with suppress(Unsupported, Refused):  # not all that speak so can describe themselves
                keyed_by = self._ask(self._call("dump_state", parse=wire.ptt_type))
            self._ask(self._get_ptt)
            if keyed_by == 0:
                pause(MEMORY_S, wire.PART)
                self._ask(self._get_ptt)
        except Unsupported:
            return False
        return True

    def _can_transmit(self) -> bool:
        _, transmitted = self._ask(self._call("dump_state", parse=wire.ranges_hz))
        return bool(transmitted)

    def _call(self, command: str, *words: str, parse: Callable[[wire.Lines], T]) -> wire.Call[T]:
        return wire.call(command, *words, parse=parse, vfo=self._vfo)

    def _ask(self, call: wire.Call[T]) -> T:
        return self._link.exchange(call.request, call.read)

    def _put(self, command: str, *words: str) -> None:
        self._ask(self._call(command, *words, parse=wire.nothing))


LEVEL_NAMES = {"AGC": "AGC", "RF": "RF gain", "SQL": "squelch", "PREAMP": "preamplifier", "ATT": "attenuator"}
FUNCTION_NAMES = {
    "NB": "noise blanker",
    "NB2": "second noise blanker",
    "NR": "noise reduction",
    "ANF": "automatic notch",
    "MN": "manual notch",
    "APF": "audio peak filter",
}


def open_receiver(options: Options) -> HamlibReceiver:
    """Connect to rigctld; RigError when it or the receiver behind it does not answer."""
    link = open_link(options, wire.PART, GATES["hamlib"])
    try:
        return HamlibReceiver(options, link)
    except RigError:
        link.close()
        raise


DRIVER = Driver("receiver", "hamlib", Options, open_receiver)
