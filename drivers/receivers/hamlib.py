"""Any receiver that hamlib drives, through its network control.

The wire is in `drivers.protocols.hamlib`; here is what is asked, in which order, and what is put back.
"""

from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import partial
from typing import Annotated, Any, Literal, TypeVar

from pydantic import Field

from drivers.contracts import Driver, Tuning
from drivers.errors import BadReply, Refused, RigError, Stuck, Transmitting, Unsupported
from drivers.links import GatedLink, LinkOptions, open_link
from drivers.protocols import hamlib as wire
from drivers.protocols.allowed import GATES
from drivers.receivers.hamlib_meters import TwoMeters, look
from drivers.receivers.hamlib_server import HamlibServer
from drivers.receivers.settings import Setting, dial_steps, restore_all

T = TypeVar("T")


class Options(LinkOptions):
    """Keys of the station file's receiver section. Levels that are not given stay as the user has them."""

    link: str = "tcp://127.0.0.1:4532"
    timeout_s: Annotated[float, Field(gt=0, le=60)] = 3.0  # hamlib itself asks a slow receiver more than once
    level: Literal["STRENGTH", "RAWSTR"] = "STRENGTH"
    agc: Literal["off", "superfast", "fast", "medium", "slow", "auto"] = "fast"
    rf_gain: float = Field(default=1.0, ge=0, le=1)
    preamp_db: int | None = Field(default=None, ge=0)
    attenuator_db: int | None = Field(default=None, ge=0)
    receive_only: bool = False  # a person's word, where no server can tell whether it transmits
    needs_meter: bool = True

    @classmethod
    def for_sound(cls, keys: dict[str, Any]) -> dict[str, Any]:
        """Levels come from the sound: a gain control would hold them level, and a meter is not needed."""
        return {"agc": "off", "needs_meter": False} | keys


class HamlibReceiver:
    """A receiver behind rigctld, or behind a program that speaks a part of its protocol.

    Fulfils `drivers.contracts.Receiver`.
    """

    def __init__(self, options: Options, link: GatedLink) -> None:
        self._options = options
        self._link = link
        self._server = server = HamlibServer(link)
        self._get_freq = server.call("get_freq", parse=wire.hz)
        self._get_mode = server.call("get_mode", parse=wire.mode)
        self._get_tuning = wire.both(self._get_mode, self._get_freq)
        self._get_ptt = server.call("get_ptt", parse=wire.flag("PTT"))
        self._get_power = server.call("get_level", options.level, parse=wire.strength)
        self._listen_and_get_power = wire.both(self._get_ptt, self._get_power)
        self._tells_transmit = server.tells_transmit()
        self._vouched = self._tells_transmit or options.receive_only or self._has_no_transmitter()
        self._unasked: tuple[str, ...] = ()
        self._settings = self._find_settings()
        self._prepared = False
        link.on_connect(self._greet)

    def identify(self) -> str:
        calls = [self._server.call("get_info", parse=wire.info)]
        if self._server.extended:
            calls.append(self._server.call("dump_caps", parse=wire.model))
        for call in calls:
            with suppress(Unsupported, Refused, BadReply):
                told = self._ask(call) if self._server.extended else self._server.try_to_ask(call)
                if told not in (None, "", "None"):
                    return str(told)
        return "a receiver behind hamlib"

    def frequency_range_hz(self) -> tuple[int, int] | None:
        ranges = self._server.ranges_hz()
        return None if ranges is None else wire.span_hz(ranges[0])

    def tuning(self) -> Tuning:
        if self._server.extended:
            (mode, bandwidth_hz), hz = self._ask(self._get_tuning)
        else:  # one request at a time
            mode, bandwidth_hz = self._ask(self._get_mode)
            hz = self._ask(self._get_freq)
        return Tuning(hz, mode, bandwidth_hz)

    def tune(self, hz: int) -> None:
        self._server.put("set_freq", str(hz))

    def set_mode(self, mode: str, bandwidth_hz: int | None) -> None:
        standing, _ = self._ask(self._get_mode)
        # as hamlib writes them all, but for a name that the server itself has just used
        self._put_mode(standing if standing.upper() == mode.upper() else mode.upper(), bandwidth_hz)
        standing, _ = self._ask(self._get_mode)
        if standing.upper() != mode.upper():
            raise Stuck(wire.PART, f"told to receive {mode}, it stands at {standing}.", "Has it that mode?")

    def _check_way_back(self) -> None:
        """Refused where it would not go back to the mode that it stands in: then it stays in that."""
        mode, bandwidth_hz = self._ask(self._get_mode)
        try:
            self._put_mode(mode, bandwidth_hz)
        except (Unsupported, Refused) as fault:
            raise Refused(
                wire.PART,
                f"it stands in {mode} and would not go back to that: {fault.what}",
                "Nothing was changed. Set it to the mode of receiver.mode by hand first.",
            ) from fault

    def _bring_back(self, mode: str, bandwidth_hz: int | None) -> None:
        if self._ask(self._get_mode) != (mode, bandwidth_hz):
            self.set_mode(mode, bandwidth_hz)

    def _put_mode(self, mode: str, bandwidth_hz: int | None) -> None:
        self._server.put("set_mode", mode, str(bandwidth_hz or 0))

    def frequency_hz(self) -> int:
        return self._ask(self._get_freq)

    def read_power(self) -> float:
        if not self._tells_transmit:
            self._check_vouched()
            return self._ask(self._get_power)
        if self._server.extended:
            keyed, power = self._ask(self._listen_and_get_power)
        else:  # one request at a time, so the transmitter is asked about on either side of the reading
            keyed = self._ask(self._get_ptt)
            power = self._ask(self._get_power)
            keyed = self._ask(self._get_ptt) or keyed
        if keyed:
            raise Transmitting(wire.PART, "it says that its transmitter is on.")
        return power

    def two_meters(self) -> TwoMeters | None:
        """STRENGTH and RAWSTR beside each other, where the first is read; see `hamlib_meters`."""
        return look(self._server) if self._options.level == "STRENGTH" else None

    def is_transmitting(self) -> bool:
        self._check_vouched()
        return self._tells_transmit and self._ask(self._get_ptt)

    def tells_transmit(self) -> bool:
        return self._tells_transmit

    def _check_vouched(self) -> None:
        if not self._vouched:
            raise Refused(
                wire.PART,
                "this server does not tell whether it transmits.",
                "Only if nothing behind it can, write receive_only: true into the receiver section.",
            )

    def remember(self) -> Mapping[str, Any]:
        tuning = self.tuning()
        if tuning.hz < LOWEST_HZ:
            raise Refused(
                wire.PART,
                f"it says that it stands at {tuning.hz} Hz: a server that counts kilohertz or megahertz could not be "
                "given its frequency back.",
                f"Nothing was changed. If that is no mistake, tune it above {LOWEST_HZ // 1000} kHz first.",
            )
        found: dict[str, Any] = {
            "tuning": {"hz": tuning.hz, "mode": tuning.mode, "bandwidth_hz": tuning.bandwidth_hz}
        }
        for key, setting in self._settings.items():
            if (standing := setting.value()) is not None:
                found[key] = standing
        return found

    def restore(self, remembered: Mapping[str, Any]) -> None:
        """Mode and dial first; hamlib's memory last, else it answers for the receiver."""
        self._prepared = False
        steps = dial_steps(
            remembered,
            lambda tuning: self._bring_back(str(tuning.get("mode")), tuning.get("bandwidth_hz")),
            self.tune,
        )
        for key in sorted(self._settings, key=lambda key: key == "CACHE"):
            if key in remembered:
                setting = self._settings[key]
                steps.append((setting.name, partial(setting.bring_to, remembered[key])))
        restore_all(wire.PART, steps)

    def prepare(self) -> tuple[str, ...]:
        self._check_way_back()
        self._prepared = True
        unknown = [
            self._settings[key].name for key, wanted in self._wanted().items() if not self._bring(key, wanted)
        ]
        if "AGC" not in self._settings:
            unknown.append("AGC")
        return (*unknown, *(name for name in self._unasked if name not in unknown))

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
        """What there is to set. Without a list of it, each is asked for; what does not answer is named unknown."""
        found: dict[str, Setting] = {}
        unasked: list[str] = []
        levels = self._find(
            "get_level", "set_level", LEVEL_NAMES, self._level, self._set_level, found, unasked
        )
        self._find("get_func", "set_func", FUNCTION_NAMES, self._function, self._set_function, found, unasked)
        self._find_meter(levels)
        if self._server.try_to_ask(self._server.call("get_cache", parse=wire.cache_ms)) is not None:
            found["CACHE"] = Setting(MEMORY_NAME, self._cache_ms, self._set_cache_ms)
        else:
            unasked.append(MEMORY_NAME)
        self._unasked = tuple(unasked)
        return found

    def _find(
        self,
        get: str,
        put: str,
        names: Mapping[str, str],
        read: Callable[[str], Any],
        write: Callable[[str, Any], None],
        found: dict[str, Setting],
        unasked: list[str],
    ) -> frozenset[str]:
        """Add the settings of one kind to `found`; the names of all that can be read, empty where there is no list."""
        server = self._server
        readable = server.try_to_ask(server.call(get, "?", parse=wire.names))
        settable = server.try_to_ask(server.call(put, "?", parse=wire.names))
        for key, name in names.items():
            if readable is None:
                stands_at = server.try_to_ask(server.call(get, key, parse=wire.level))
                lowest, highest = POSSIBLE.get(key, (0.0, 1.0))
                there = stands_at is not None and lowest <= stands_at <= highest
                if not there and (key not in ON_REQUEST or key in self._asked_for()):
                    unasked.append(name)
            else:
                there = key in readable
            may_set = there if settable is None else key in settable
            if there or may_set:
                found[key] = Setting(
                    name, partial(read, key) if there else None, partial(write, key) if may_set else None
                )
        return readable or frozenset()

    def _find_meter(self, levels: frozenset[str]) -> None:
        """Unsupported where there is none: nothing can be measured through such a server."""
        level = self._options.level
        if not self._options.needs_meter or level in levels or self._server.has_meter(level):
            return
        other = next((each for each in ("STRENGTH", "RAWSTR") if each in levels), "")
        unit = "" if other == "STRENGTH" else ", with meter: {unit: raw}"
        raise Unsupported(
            wire.PART,
            f"this server has no meter: it does not know get_level {level}.",
            f"It has level: {other}{unit}." if other else "Nothing can be measured through it.",
        )

    def _asked_for(self) -> frozenset[str]:
        options = self._options
        wanted = {"PREAMP": options.preamp_db, "ATT": options.attenuator_db}
        return frozenset(key for key, to in wanted.items() if to is not None)

    def _cache_ms(self) -> float:
        return self._ask(self._server.call("get_cache", parse=wire.cache_ms))

    def _set_cache_ms(self, to: float) -> None:
        self._server.put("set_cache", wire.decimal(to))

    def _level(self, key: str) -> float:
        return self._ask(self._server.call("get_level", key, parse=wire.level))

    def _set_level(self, key: str, to: float) -> None:
        self._server.put("set_level", key, wire.decimal(to))

    def _function(self, key: str) -> bool:
        return self._ask(self._server.call("get_func", key, parse=wire.flag()))

    def _set_function(self, key: str, to: bool) -> None:
        self._server.put("set_func", key, "1" if to else "0")

    def _has_no_transmitter(self) -> bool:
        """Whether hamlib describes the model as one that only receives. What other programs say is often copied."""
        if not self._server.extended:
            return False
        ranges = None
        with suppress(Unsupported, Refused):
            ranges = self._server.ranges_hz()
        return ranges is not None and bool(ranges[0]) and not ranges[1]

    def _ask(self, call: wire.Call[T]) -> T:
        return self._server.ask(call)


LOWEST_HZ = 30_000
"""Below this a dial frequency is taken for one in another unit: 29 999 kHz is as much."""
MEMORY_NAME = "hamlib's memory of the dial"
ON_REQUEST = ("PREAMP", "ATT")
"""Levels that stay as the user has them unless the station file names them."""
LEVEL_NAMES = {"AGC": "AGC", "RF": "RF gain", "SQL": "squelch", "PREAMP": "preamplifier", "ATT": "attenuator"}
POSSIBLE = {"AGC": (0.0, 10.0), "PREAMP": (0.0, 100.0), "ATT": (0.0, 100.0)}
"""Where a level can stand, 0 to 1 if not here: some programs answer for each level with their strength."""
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
