"""Capture from ALSA without a sound server, by `arecord`: formats asked of the card, never resampled."""

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from drivers.errors import BadReply, InUse, LinkLost, Refused, Unsupported
from drivers.samples.sound_capture import Capture
from drivers.samples.sound_inputs import LEAST_HZ, MOST_HZ, SoundInput, sane
from drivers.samples.sound_programs import PART, answer, checked, plain

if TYPE_CHECKING:
    from numpy.typing import NDArray

FORMATS = {"S32_LE": 4, "S24_3LE": 3, "S16_LE": 2}
"""Formats that are read, the finest first, with the bytes of a sample."""
USUAL_HZ = (48_000, 96_000, 44_100, 32_000, 16_000, 8_000)
BUFFER_US = 100_000
ENDS = re.compile(r"read error|suspend|Input/output|No such device", re.IGNORECASE)


def arecord(one: SoundInput, wanted_hz: int | None, kept_s: float) -> tuple[Capture, int]:
    """A running capture, and its rate in hertz. `RigError` with what the card offers where it does not fit."""
    formats, channels, rates = _offered(checked(one.name))
    form = next((each for each in FORMATS if each in formats), None)
    if form is None:
        raise Refused(PART, f"{one.name} offers {', '.join(formats)} only, which is not read here.")
    rate_hz = wanted_hz or next((rate for rate in USUAL_HZ if rates[0] <= rate <= rates[1]), rates[1])
    if not rates[0] <= rate_hz <= rates[1]:
        raise Refused(
            PART, f"{one.name} runs at {rates[0]} to {rates[1]} Hz, not at {rate_hz} Hz.", "Mend rate_hz."
        )
    count = max(channels[0], min(2, channels[1]))
    arguments = ["-D", one.name, "-t", "raw", "-f", form, "-r", str(rate_hz), "-c", str(count)]
    arguments += ["--buffer-time", str(BUFFER_US), "--period-time", str(BUFFER_US // 5)]
    size = FORMATS[form]

    def decode(data: bytes) -> "NDArray[Any]":
        return _decoded(data, size).reshape(-1, count)

    return Capture("arecord", arguments, rate_hz, size * count, decode, ENDS, kept_s), rate_hz


def _decoded(data: bytes, size: int) -> "NDArray[Any]":
    if size != 3:
        return np.frombuffer(data, f"<i{size}")
    bytes_of_each = np.frombuffer(data, np.uint8).reshape(-1, 3)
    wide = np.zeros((len(bytes_of_each), 4), np.uint8)
    wide[:, 1:] = bytes_of_each
    return wide.reshape(-1).view("<i4")


def _offered(name: str) -> tuple[tuple[str, ...], tuple[int, int], tuple[int, int]]:
    """Formats, (fewest, most) channels and (lowest, highest) rate of a card."""
    look = ("--dump-hw-params", "-d", "1", "-t", "raw", "-f", "S16_LE", "/dev/null")
    done = answer("arecord", "-D", name, *look, faults=True)
    if done is None:
        raise Unsupported(PART, "arecord is not installed.", "On Debian: apt install alsa-utils.")
    said = done[1]
    if "busy" in said:
        raise InUse(PART, f"another program has {name} to itself.", "End that program.")
    told = dict(re.findall(r"^(FORMAT|CHANNELS|RATE): +(.+)$", said, flags=re.MULTILINE))
    if len(told) < 3:
        last = plain((said.strip().splitlines() or ["no word"])[-1])
        raise LinkLost(PART, f"{name} cannot be opened: {last}.", "Is the card plugged in?")
    channels, rates = ([int(n) for n in re.findall("[0-9]{1,12}", told[key])] for key in ("CHANNELS", "RATE"))
    lowest_hz, highest_hz = (max(rates[0], LEAST_HZ), min(max(rates), MOST_HZ)) if rates else (1, 0)
    if not channels or not lowest_hz <= highest_hz or not sane(lowest_hz, channels[0]):
        raise BadReply(
            PART, f"{name} tells no rate or no channels that a card has.", "Unplug it and try again."
        )
    return tuple(plain(told["FORMAT"]).split()), (channels[0], channels[-1]), (lowest_hz, highest_hz)
