"""The one place through which everything printed goes: what could steer a terminal or turn a line is spelled out.

Names, notes, identities of receivers and files are other people's text. A character of control (C0, C1, DEL), of
direction, of no width, or half of a surrogate pair is shown as JSON would spell it, so that JSON stays what it is.
"""

import re
from typing import Any, TextIO

_UNSEEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff\ufff9-\ufffb\ud800-\udfff]"
)

_COLOURS = re.compile("\x1b\\[[0-9;]{0,20}m")
"""Select graphic rendition, ECMA-48 section 8.3.117 (from memory)."""


def printable(text: str) -> str:
    """`text` with whatever a person would not see, but a terminal would obey, spelled out as ``\\u001b``."""
    return _UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


class Printable:
    """A text stream that writes nothing else; otherwise what the stream under it is."""

    def __init__(self, stream: TextIO) -> None:
        self.under = stream

    @property
    def rich_proxied_file(self) -> "Coloured":
        """Where Rich writes when this is its stream (as with its own `FileProxy`): the help and faults of a call."""
        return Coloured(self.under)

    def write(self, text: str) -> int:
        """Write, and say how many characters of `text` that was."""
        self.under.write(printable(text))
        return len(text)

    def writelines(self, lines: Any) -> None:
        """Write each."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.under, name)


class Coloured(Printable):
    """The same for who sets colours: these, and nothing else that a terminal would obey, go through."""

    def write(self, text: str) -> int:
        """Write, and say how many characters of `text` that was."""
        between = _COLOURS.split(text)
        colours = _COLOURS.findall(text)
        self.under.write(
            "".join(printable(part) + colour for part, colour in zip(between, [*colours, ""], strict=True))
        )
        return len(text)


def terminal_of(stream: TextIO) -> TextIO:
    """The stream itself, for who sets colours and lets other people's text through `printable` first."""
    return stream.under if isinstance(stream, Printable) else stream
