"""Bands and channels to begin with, from ``configs/bands.yaml``. Reads that one file."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from drivers.config_files import folder
from sweeper.cli.first_answers import frequency


@dataclass(frozen=True, slots=True)
class FirstBand:
    """A band to offer, with dial frequencies in hertz. `listened` says that its noise channels were found by ear."""

    name: str
    service: str
    source: str
    range_hz: tuple[int, int]
    noise_hz: tuple[int, ...]
    carrier_hz: tuple[int, ...]
    listen_hz: tuple[int, int]
    listened: bool = False
    heard: bool = False
    """Whether its carriers were on the air when somebody listened."""

    def with_noise(self, found_hz: tuple[int, ...]) -> "FirstBand":
        """A copy with the noise channels (Hz) that were found by listening; this band itself when none was."""
        return replace(self, noise_hz=found_hz, listened=True) if found_hz else self

    def with_carriers(self, found_hz: tuple[int, ...]) -> "FirstBand":
        """A copy with the carriers (dial, Hz) that were heard; this band itself when none was."""
        return replace(self, carrier_hz=found_hz, heard=True) if found_hz else self


def first_bands() -> tuple[FirstBand, ...]:
    """Every band of the file, from low to high frequency as it lists them."""
    from ruamel.yaml import YAML

    listed = YAML(typ="safe").load(folder() / "bands.yaml")["bands"]
    return tuple(
        FirstBand(
            each["name"],
            each["service"],
            each["source"],
            (each["range_hz"][0], each["range_hz"][1]),
            tuple(each["noise_hz"]),
            tuple(each["carrier_hz"]),
            (each["listen_hz"][0], each["listen_hz"][1]),
        )
        for each in listed
    )


def chosen(answer: str, offered: tuple[FirstBand, ...]) -> tuple[FirstBand, ...]:
    """The bands that an answer such as ``40 m, 9.6M`` or ``all`` names; ValueError with those that are not known."""
    if answer.strip().lower() == "all":
        return _each_once(offered)
    by_name = {_plain(band.name): band for band in offered}
    wanted = [_band_of(name, offered) for name in re.split(r",(?!\d)", answer) if name.strip()]
    unknown = [name for name in wanted if name not in by_name]
    if unknown or not wanted:
        raise ValueError(
            f"{', '.join(unknown) or 'nothing'} is not on the list; it has {', '.join(b.name for b in offered)}"
        )
    return _each_once(band for band in offered if _plain(band.name) in wanted)


def around(hz: int, offered: Iterable[FirstBand]) -> FirstBand | None:
    """The band in which a frequency lies, Hz."""
    return next((band for band in offered if band.range_hz[0] <= hz <= band.range_hz[1]), None)


def _band_of(answer: str, offered: tuple[FirstBand, ...]) -> str:
    """A band's name as it is compared; that of the band around a frequency such as 7.1M."""
    hz = frequency(answer)
    if hz is None or _plain(answer) in [_plain(band.name) for band in offered]:
        return _plain(answer)
    band = around(hz, offered)
    if band is None:
        raise ValueError(
            f"{answer.strip()} lies in no band of the list; name a band, and write your channels into the file"
        )
    return _plain(band.name)


def _each_once(bands: Iterable[FirstBand]) -> tuple[FirstBand, ...]:
    """Neighbouring bands share a standard-frequency carrier; the first one that is measured there keeps it."""
    taken: set[int] = set()
    found = []
    for band in bands:
        found.append(replace(band, carrier_hz=tuple(hz for hz in band.carrier_hz if hz not in taken)))
        taken.update(band.carrier_hz)
    return tuple(found)


def _plain(name: str) -> str:
    return "".join(name.lower().split())
