"""Which sound input a test listens to: the one named, or that of the station file."""

from typing import TYPE_CHECKING

from sweeper.errors import WrongInput

if TYPE_CHECKING:
    from drivers.contracts import SampleSource
    from sweeper.station import Station


def sound_of(station: "Station | None", device: str | None, channel: int | None = None) -> "SampleSource":
    """The input, open; `channel` (from 1) counts before that of the station file.

    `RigError` where it cannot be, with those there are; `WrongInput` where nothing names one.
    """
    from drivers.samples.sound import open_sound  # takes long to load, and not every command listens

    if device is not None:
        return open_sound({"device": device, "channel": channel})
    audio = None if station is None else station.receiver.audio
    if audio is None:
        raise WrongInput(
            "Nothing says where the receiver's sound comes in: name the input with --sound (a wrong name lists those "
            "there are), or put a section audio: into the station file's receiver."
        )
    channel = audio.channel if channel is None else channel
    return open_sound({"device": audio.device, "rate_hz": audio.rate_hz, "channel": channel})
