"""What a person may answer to the questions of `new`, and what it means. Pure; ValueError for all else."""

import re
from collections.abc import Callable

NAMED = {"n": 1, "north": 1, "s": -1, "south": -1, "e": 1, "east": 1, "w": -1, "west": -1, "o": 1}
_LOCATOR = re.compile(r"([A-R])([A-R])([0-9])([0-9])(?:([A-X])([A-X])(?:([0-9])([0-9]))?)?", re.IGNORECASE)
"""Maidenhead locator: fields of 20° by 10°, squares of 2° by 1°, subsquares of 5' by 2.5', tenths of those
(IARU Region 1 VHF Managers Handbook, from memory)."""
_DEGREES = re.compile(
    r"([+-]?[0-9]{1,3}(?:\.[0-9]+)?)(?:\s*°)?(?:\s*([0-9]{1,2}(?:\.[0-9]+)?)\s*['′])?\s*([A-Za-z]*)"
)
_ONE = r"[+-]?[0-9]+(?:\.[0-9]+)?(?:\s*°)?(?:\s*[0-9.]+\s*['′])?\s*[A-Za-z]*"
_TWO = re.compile(rf"({_ONE})\s+({_ONE})")
_FREQUENCY = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*([kKM]|[kKmM]?[hH][zZ])")
"""A small m alone is no unit of frequency: 40 m is a band."""


def name(answer: str) -> str:
    """A station's name."""
    if len(answer) > 80 or answer.startswith(".") or any(sign in "/\\" or ord(sign) < 32 for sign in answer):
        raise ValueError("a name has up to 80 characters, no slash, and does not begin with a dot")
    return answer


def place(answer: str) -> tuple[float, float]:
    """Degrees north and east: a locator such as JO65HP, ``55.7N 12.6E``, ``12.6E 55.7N`` or ``55.7, 12.6``."""
    if found := _LOCATOR.fullmatch(answer.replace(" ", "")):
        return _middle_of(found)
    parts = _two_parts(answer)
    north: float | None = None
    east: float | None = None
    for nth, part in enumerate(parts):
        found = _DEGREES.fullmatch(part.strip())
        if found is None or (found[3] and found[3].lower() not in NAMED):
            raise ValueError(
                "a place is a locator such as JO65HP, or degrees such as 55.7N 12.6E or 55.7, 12.6"
            )
        degrees = abs(float(found[1])) + float(found[2] or 0) / 60
        degrees = -degrees if found[1].startswith("-") else degrees
        side = found[3].lower()
        if (side[:1] in ("n", "s")) if side else nth == 0:
            north = degrees * NAMED.get(side, 1)
        else:
            east = degrees * NAMED.get(side, 1)
    if north is None or east is None:
        raise ValueError("one number is degrees north or south, the other degrees east or west")
    if not (-90 <= north <= 90 and -180 <= east <= 180):
        raise ValueError("degrees north lie within ±90, degrees east within ±180")
    return round(north, 4), round(east, 4)


def _middle_of(found: re.Match[str]) -> tuple[float, float]:
    """The middle of the locator's smallest part."""
    east, north, width = -180.0, -90.0, 20.0
    for pair, share in ((0, 18), (1, 10), (2, 24), (3, 10)):
        first, second = found[2 * pair + 1], found[2 * pair + 2]
        if first is None:
            break
        if pair:
            width /= share
        east += width * _value(first)
        north += width / 2 * _value(second)
    return round(north + width / 4, 4), round(east + width / 2, 4)


def _value(sign: str) -> int:
    return int(sign) if sign.isdigit() else ord(sign.upper()) - ord("A")


def _two_parts(answer: str) -> list[str]:
    text = answer.replace("−", "-")
    if ";" in text or re.fullmatch(r"[^,]*,\s*[^,]*", text):
        parts = re.split("[;,]", text)
    else:  # blanks between them, and perhaps decimal commas
        found = _TWO.fullmatch(text.replace(",", ".").strip())
        parts = [found[1], found[2]] if found else []
    if len(parts) != 2:
        raise ValueError("two numbers are needed, such as 55.7N 12.6E, or a locator such as JO65HP")
    return parts


def one_of(known: tuple[str, ...]) -> Callable[[str], str]:
    """One of these words."""

    def understood(answer: str) -> str:
        if answer.lower() not in known:
            raise ValueError(f"{answer!r} is none of {', '.join(known)}")
        return answer.lower()

    return understood


def link(answer: str) -> str:
    """A serial port's path, ``tcp://host:port``, or ``host:port``, which means the same."""
    if re.fullmatch(r"[A-Za-z0-9.-]+:[0-9]{1,5}", answer):
        return f"tcp://{answer}"
    if not answer.startswith("/") and "://" not in answer:
        raise ValueError(
            "a link is host:port, such as localhost:4532, or the path of a serial port such as /dev/ttyUSB0"
        )
    return answer


def yes_or_no(answer: str) -> bool:
    """Yes or no."""
    if answer.lower() not in ("yes", "y", "no", "n"):
        raise ValueError("yes or no")
    return answer.lower().startswith("y")


def gain(answer: str) -> float | None:
    """Decibels, as 20, ``20 dB`` or ``-6,5dB``; None for ``-``, which says that nobody knows."""
    if answer == "-":
        return None
    bare = re.sub(r"\s*dB$", "", answer, flags=re.IGNORECASE).replace(",", ".").replace("−", "-")
    try:
        decibels = float(bare)
    except ValueError:
        raise ValueError("a number of dB, such as 15") from None
    if not -60 <= decibels <= 60:
        raise ValueError("a stage has between -60 and 60 dB")
    return decibels


def frequency(answer: str) -> int | None:
    """Hertz of ``7.1M``, ``7100k`` or ``7,1 MHz``; None for what is no frequency."""
    found = _FREQUENCY.fullmatch(answer.strip())
    if found is None:
        return None
    times = {"k": 1000, "m": 1_000_000, "h": 1}[found[2][0].lower()]
    return round(float(found[1].replace(",", ".")) * times)


def arguments(answer: str) -> tuple[tuple[str, str], ...]:
    """What names a device, as ``driver=rtlsdr, serial=00000001``."""
    found = []
    for part in answer.split(","):
        key, sign, value = (text.strip() for text in part.partition("="))
        if not sign or not re.fullmatch(r"[A-Za-z0-9_.:-]+", key) or not value:
            raise ValueError("a device is named as SoapySDR does, such as driver=rtlsdr")
        found.append((key, value))
    return tuple(found)
