"""The receiver's own preamplifier or attenuator as the stage: no relay board, no wiring.

It speaks to the receiver through the receiver's own driver and over the same link, which drivers of one program
share. A path is a set of the receiver's settings, such as ``{preamplifier: off, attenuator: off}``.
"""

from collections.abc import Mapping
from typing import Any, Literal, Protocol, Self

from pydantic import Field, model_validator

from drivers.contracts import Driver, Receiver
from drivers.errors import Stuck, Unsupported
from drivers.links import LinkOptions
from drivers.receivers import dialect, hamlib
from drivers.receivers.settings import Setting

PART = "receiver's own stage"


class Options(LinkOptions):
    """Keys of the station file's switch section. `link` is the receiver's, as in the receiver section."""

    receiver: Literal["hamlib", "dialect"]
    dialect: str = ""
    address: int | None = Field(default=None, ge=1, le=0xDF)
    paths: dict[str, dict[str, str | int | bool]] = Field(min_length=1)

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if (self.receiver == "dialect") != bool(self.dialect):
            raise ValueError(
                "dialect: names the receiver's dialect where receiver: is dialect, and only there"
            )
        named = {frozenset(settings) for settings in self.paths.values()}
        if len(named) != 1 or not next(iter(named)):
            raise ValueError("every path has to name the same settings, such as {preamplifier: off}")
        self.receiver_options()
        return self

    def receiver_options(self) -> Any:
        """The options of the receiver's own driver; ValueError when it knows no such receiver."""
        shared = {key: getattr(self, key) for key in LinkOptions.model_fields if key in self.model_fields_set}
        if self.receiver == "hamlib":
            return hamlib.Options(**shared)
        options = dialect.Options(dialect=self.dialect, address=self.address, **shared)
        known = dialect.load(self.dialect).settings
        for path, settings in self.paths.items():
            for key, to in settings.items():
                if key not in known:
                    raise ValueError(f"{self.dialect} has no setting {key!r}; it has {', '.join(known)}")
                if known[key].values and _word(to) not in known[key].values:
                    raise ValueError(
                        f"{path}: {key}: {_word(to)!r} is none of {', '.join(known[key].values)}"
                    )
        return options

    def links(self) -> tuple[str, ...]:
        """None that is a relay board's: it speaks to the receiver, through the receiver's driver and its gate."""
        return ()

    def relays_of(self, path: str) -> frozenset[tuple[str, str]]:
        """The settings of a path: (setting, value)."""
        return frozenset((key, _word(to)) for key, to in self.paths[path].items())


class _WithControls(Receiver, Protocol):
    def control(self, key: str) -> Setting: ...


class OwnStage:
    """A receiver's settings seen as relays. Fulfils `drivers.contracts.Switch`."""

    def __init__(self, receiver: _WithControls, paths: Mapping[str, Mapping[str, str]]) -> None:
        self._receiver = receiver
        self._paths = paths

    def identify(self) -> str:
        return f"{', '.join(next(iter(self._paths.values())))} of {self._receiver.identify()}"

    def select(self, path: str) -> int:
        if path not in self._paths:
            raise Unsupported(PART, f"it has no path {path}.", f"It has {', '.join(self._paths)}.")
        moved = 0
        for key, wanted in self._paths[path].items():
            setting = self._receiver.control(key)
            if setting.value() == wanted:
                continue
            if not setting.bring_to(wanted):
                raise Stuck(
                    PART, f"the {setting.name} did not go to {wanted}.", "Try it at the receiver itself."
                )
            moved += 1
        return moved

    def selected(self) -> str | None:
        standing = {key: self._receiver.control(key).value() for key in next(iter(self._paths.values()))}
        return next((path for path, settings in self._paths.items() if settings == standing), None)

    def close(self) -> None:
        self._receiver.close()


def _word(value: str | int | bool) -> str:
    return {True: "on", False: "off"}[value] if isinstance(value, bool) else str(value)


def open_switch(options: Options) -> OwnStage:
    """Connect to the receiver, sharing its link; RigError when it does not answer."""
    settings = options.receiver_options()
    receiver = (
        hamlib.open_receiver(settings) if options.receiver == "hamlib" else dialect.open_receiver(settings)
    )
    paths = {path: {key: _word(to) for key, to in each.items()} for path, each in options.paths.items()}
    return OwnStage(receiver, paths)


DRIVER = Driver("switch", "own-stage", Options, open_switch)
