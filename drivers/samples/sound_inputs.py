"""Which sound inputs this computer has, by names that survive replugging, and what stands at their levels.

A sound server (PulseAudio, or PipeWire in its place) is asked through `pactl`, ALSA through `arecord` and `amixer`.
These only tell; nothing is set, nothing is played.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from drivers.errors import Unsupported
from drivers.samples.sound_programs import NAME, PART, answer, installed, plain

MIXER_WORDS = re.compile(r"boost|auto gain|agc|noise|enhance|echo", re.IGNORECASE)
"""Switches of a card's mixer that move levels by themselves, or make hiss of a microphone's amplifier."""

LEAST_HZ, MOST_HZ, MOST_CHANNELS = 4_000, 1_000_000, 64
"""What is told beyond these is told by no card. Bounds of buffers, too."""
MOST_LISTED = 20


def sane(rate_hz: int, channels: int) -> bool:
    """Whether a card can be like that."""
    return LEAST_HZ <= rate_hz <= MOST_HZ and 1 <= channels <= MOST_CHANNELS


@dataclass(frozen=True, slots=True)
class SoundInput:
    """One input. `name` is what a station file says; `rate_hz` and `channels` are its own (None: it takes several).

    `what_is_played`: no socket of the card but what some program plays, as of a virtual cable. `levels`: what the
    sound server multiplies by, in words; `muted`: it gives silence.
    """

    name: str
    description: str
    by: Literal["server", "alsa"]
    rate_hz: int | None = None
    channels: int | None = None
    wide: bool = False
    what_is_played: bool = False
    muted: bool = False
    levels: str = ""
    card: str = ""
    port: str = ""
    properties: Mapping[str, str] = field(default_factory=dict)

    @property
    def is_microphone(self) -> bool:
        """Whether it calls itself a microphone rather than a line."""
        return "mic" in self.port.lower() and "line" not in self.port.lower()


def sound_inputs() -> tuple[SoundInput, ...]:
    """The inputs to choose from: those of the sound server, else those of ALSA. Empty where there is neither."""
    return tuple(_of_server()) or tuple(_of_alsa())


def chosen(device: str) -> SoundInput:
    """The input that `device` names: its name, or a part of name or description that no other has.

    Empty means the only one there is. `Unsupported` with a list of those there are.
    """
    if device.split(":")[0] in ("hw", "plughw"):
        return SoundInput(device, device, "alsa", card=_card_of(device))
    found = sound_inputs()
    if not device:
        sockets = [each for each in found if not each.what_is_played]
        if len(sockets) == 1:
            return sockets[0]
        raise Unsupported(PART, "nothing says which input is meant.", _listed(found))
    for each in found:
        if each.name == device:
            return each
    like = [each for each in found if device.lower() in f"{each.name}\n{each.description}".lower()]
    sockets = [each for each in like if not each.what_is_played] or like
    if len(sockets) == 1:
        return sockets[0]
    if like:
        raise Unsupported(PART, f"{len(sockets)} inputs are called like {device!r}.", _listed(sockets))
    if device in _alsa_names():
        return SoundInput(device, device, "alsa")
    raise Unsupported(PART, f"there is no input {device!r}.", _listed(found))


def moving_levels(one: SoundInput) -> tuple[str, ...]:
    """What may move the level by itself and is switched on, or cannot be read."""
    if one.what_is_played:
        return ()
    controls = _told("amixer", "-c", one.card, "scontents") if NAME.fullmatch(one.card) else None
    if controls is None:
        return ("the sound card's own gain, boost and automatic level",)
    return tuple(moving(controls))


def moving(controls: str) -> Iterator[str]:
    """What is switched on of the `controls` that `amixer scontents` lists."""
    for part in controls.split("Simple mixer control ")[1:]:
        name = part.split("'")[1] if part.count("'") >= 2 else ""
        if MIXER_WORDS.search(name) and ("[on]" in part or re.search(r"\[(?!0%)[0-9]+%\]", part)):
            yield f"the sound card's {plain(name)} (it is on: switch it off in alsamixer)"


def _listed(found: Sequence[SoundInput]) -> str:
    if not found:
        if not installed("pactl") and not installed("arecord"):
            return "Neither pactl and parec nor arecord is installed: apt install pulseaudio-utils, or alsa-utils."
        return "This computer has none: is the card plugged in, and may this user use it (group audio)?"
    named = [
        each.name if each.name == each.description else f"{each.name} ({each.description})"
        for each in found[:MOST_LISTED]
    ]
    if len(found) > MOST_LISTED:
        named.append(f"and {len(found) - MOST_LISTED} more")
    return "There are: " + "; ".join(named)


def _told(program: str, *arguments: str) -> str | None:
    """What a program of the sound system prints; None where it is missing or says no."""
    done = answer(program, *arguments)
    return done[1] if done is not None and done[0] == 0 else None


def _of_server() -> Iterator[SoundInput]:
    told = _told("pactl", "list", "sources")
    for block in re.split(r"^Source #[0-9]+\n", told or "", flags=re.MULTILINE)[1:]:
        keys = dict(re.findall(r"^\t([A-Z][A-Za-z ]{0,40}): (.*)$", block, flags=re.MULTILINE))
        properties = dict(re.findall(r'^\t\t([a-z0-9_.-]{1,60}) = "(.*)"$', block, flags=re.MULTILINE))
        spec = re.fullmatch(
            r"(\S{1,20}) ([0-9]{1,3})ch ([0-9]{1,7})Hz", keys.get("Sample Specification", "").strip()
        )
        if not keys.get("Name") or spec is None or not sane(int(spec[3]), int(spec[2])):
            continue
        decibels = re.findall(r"(-?[0-9.]{1,9}|-inf) dB", keys.get("Volume", ""))
        yield SoundInput(
            plain(keys["Name"]),
            plain(keys.get("Description") or keys["Name"]),
            "server",
            rate_hz=int(spec[3]),
            channels=int(spec[2]),
            wide=spec[1] not in ("u8", "s16le", "s16be", "aLaw", "uLaw"),
            what_is_played=keys.get("Monitor of Sink", "n/a") != "n/a",
            muted=keys.get("Mute") == "yes",
            levels=", ".join(f"{value} dB" for value in list(dict.fromkeys(decibels))[:MOST_CHANNELS]),
            card=properties.get("alsa.card", ""),
            port=plain(keys.get("Active Port", "")),
            properties={key: plain(value) for key, value in properties.items()},
        )


def _of_alsa() -> Iterator[SoundInput]:
    told = _told("arecord", "-L") or ""
    for name, about in re.findall(r"^(\S.*)\n[ \t]+(.*)$", told, flags=re.MULTILINE):
        if name.startswith("hw:"):
            yield SoundInput(plain(name), plain(about), "alsa", card=_card_of(name))


def _alsa_names() -> frozenset[str]:
    told = _told("arecord", "-L") or ""
    return frozenset(re.findall(r"^(\S+)$", told, flags=re.MULTILINE))


def _card_of(name: str) -> str:
    found = re.match(r"(?:plug)?hw:(?:CARD=)?([^,]+)", name)
    return found[1] if found else ""
