"""Bytes that would key a transmitter, in every family that this program drives. Nothing for a relay board may hold any.

A relay board says what its maker chose, so there can be no list of what may be said to it; but its link may be typed
wrong, or lead to a receiver under another name. So whatever a station or board file would have sent to a board is
read here as a receiver would read it. Pure.

How each family reads: hamlib's network program takes words one by one, wherever in a line they stand, passes over
what it does not know, and knows bytes above 80 as commands (tried on rigctld 4.5.4: ``\\x05T 1``, ``{"a":T 1}`` and
``Content-Type: T 1`` each end in set_ptt); the semicolon family acts at each semicolon; the addressed family on what
stands between FE FE and FD; IEEE 488.2 at the end of a line.
"""

import re
from collections.abc import Iterable

_KEYS = {
    b"T": ("set_ptt", rb"\s*([+-]?[0-9]|(?i:VFO|curr|main|sub|mem|other|none|tx|rx))"),
    b"b": ("send_morse", rb"[ \t]*[!-~]"),
    b"w": ("send_cmd", rb"[^\n]*[;\\]"),
    b"W": ("send_cmd_rx", rb"\s*\S*[;\\]"),
    b"\\": ("a command by its long name", rb"[A-Za-z]"),
    b"\x89": ("send_dtmf", rb"\s*[0-9A-D*#]"),
    b"\x94": ("send_voice_mem", rb"\s*[+-]?[0-9]"),
}
"""hamlib's commands that make a transmitter send, and what has to follow for them to do so."""

_KEYS_IN_WORDS = [(ord(key), name, re.compile(follows)) for key, (name, follows) in _KEYS.items()]
_TAKES_A_WORD = frozenset(b"ABCDEFGHIJKLMNOPRSUVXYZghlpuy24*")
"""hamlib's commands whose argument is the rest of their word, whatever it is, so that no command can begin there."""
_OTHERWISE = re.compile(rb"(?<![A-Za-z])(G\s*TUNE|U\s*(TUNER|VOX|SBKIN|FBKIN)|L\s*RFPOWER)")
_VERBS = rb"TX|TQ|KY|MX|VX|PB|AC|BI|SW|MN|UL|ZZ"
"""Commands of the semicolon family, over all makers, that key, send, tune, or press a button that may."""
_SEMICOLON = re.compile(rb"(%s)[^;]*;" % _VERBS, re.IGNORECASE)
_VERB = re.compile(_VERBS, re.IGNORECASE)
_SCPI = re.compile(rb"OUTP|SOUR|PTT|TX", re.IGNORECASE)
_MODBUS = re.compile(
    rb"T[ \t\n\r\v\f]*[+-]?[0-9]|b[!-~]+\n|\\[a-z]{4}|;[A-Z]{2}[0-9]*;|\xfe\xfe.*\xfd", re.DOTALL
)


def in_words(data: bytes, after: Iterable[bytes] = (b"1", b"a")) -> str:
    """What hamlib's network program would key by, reading word by word; empty when nothing.

    Every word counts as one that a command may begin in, since what came before is not known. `after`: what may come
    next, where the bytes end before it is decided.
    """
    for word in re.finditer(rb"[^ \t\n\r\v\f]+", data):
        for at in range(word.start(), word.end()):
            for key, name, follows in _KEYS_IN_WORDS:
                if data[at] != key:
                    continue
                if any(follows.match(data[at + 1 :] + other) for other in after):
                    return name
            if data[at] in _TAKES_A_WORD:
                break
    return "tuner, VOX or power" if _OTHERWISE.search(data) else ""


def in_text(*pieces: str | bytes) -> str:
    """Why these pieces of a request must not be sent to whatever listens, in one clause; empty when nothing is wrong.

    For protocols that wrap what a station file says in lines of their own (HTTP, MQTT).
    """
    for piece in pieces:
        data = piece.encode("utf-8", "surrogateescape") if isinstance(piece, str) else piece
        if told := in_words(data):
            return f"a receiver behind hamlib would read {told} in {data[:40]!r}"
        if _SEMICOLON.search(data):
            return f"a receiver would read a command that keys it in {data[:40]!r}"
        if {0xFE, 0xFD} <= set(data):
            return "a receiver would read it as one of its frames"
    return ""


def in_names(*names: str) -> str:
    """The first word in `names` that means a transmitter; empty when there is none."""
    for name in names:
        for word in re.split(r"[^a-z0-9]+", name.lower()):
            if word in WORDS:
                return word
    return ""


WORDS = frozenset({"ptt", "mox", "vox", "tx", "txon", "transmit", "cwkey", "atu", "tune"})
"""Words that, in a topic, a path or a relay's name, say that something other than a relay box is being switched."""


def in_table(requests: Iterable[bytes], *, text: bool) -> str:
    """Why a board must not have this table of requests, whatever order they come in; empty when nothing is wrong.

    A receiver adds up what comes without an end, so the requests are looked at one by one, each with any of them
    behind it, and by the bytes that all of them bring along. `text`: they are lines.
    """
    every = tuple(requests)
    for request in every:
        if told := in_words(request, every):
            return f"a receiver behind hamlib would read {told} in {request!r}"
    brings = frozenset(b"".join(every))
    pairs = (*every, *(one[-1:] + other[:1] for one in every for other in every))
    if ord(";") in brings and (found := next((verb for pair in pairs if (verb := _VERB.search(pair))), None)):
        return f"{found[0].decode()} and a semicolon (3B): receivers take that for a command that keys them"
    if {0xFE, 0xFD} <= brings:
        return "FE and FD together: receivers take them for the ends of a frame"
    ends = bool(brings & frozenset(b"\r\n"))
    if text and ends and not all(re.fullmatch(rb"[^\r\n]+(\r|\n|\r\n)", request) for request in every):
        return "lines and pieces of lines: each request is one line with its end, or none has one"
    if text and ends and any(_SCPI.search(request) for request in every):
        return "a line that switches an instrument's output or transmitter"
    return ""


def in_frame(message: bytes) -> str:
    """What a frame of Modbus, which is answered before the next, holds that would key; empty when nothing."""
    found = _MODBUS.search(message)
    return repr(found[0]) if found else ""
