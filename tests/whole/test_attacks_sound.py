"""Sound systems and cards that lie, hang, flood or swear: told in a sentence, in time, in little memory.

The programs of the sound system are replaced by programs of a few lines. Nothing that they say reaches a terminal as
they said it, and none of them is left behind.
"""

import contextlib
import json
import math
import resource
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from drivers.errors import CalledOff, RigError
from drivers.samples.sound import SoundSource, open_sound
from drivers.samples.sound_inputs import SoundInput, moving_levels, sound_inputs
from drivers.waiting import StopOrder, bounded

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
"""Each of these would last for ever if its wait had no end."""
MOST_GROWN_KB = 60_000

SOURCES = """Source #0
\tState: RUNNING
\tName: alsa_input.usb-set
\tDescription: USB Audio CODEC Analog Stereo
\tSample Specification: s16le 1ch 8000Hz
\tMute: no
\tVolume: mono: 65536 / 100% / 0.00 dB
\tMonitor of Sink: n/a
\tActive Port: analog-input-linein
\tProperties:
\t\talsa.card = "1"
"""
WRITE = "import os, sys, time\nout = lambda data: os.write(1, data)\nerr = lambda data: os.write(2, data)\n"
STEADY = "import random\nwhile True:\n    out(random.randbytes(160)); time.sleep(0.01)\n"
ENDLESS = "while True: {}(b'x' * 65536)"
HELD = "import subprocess; subprocess.Popen([sys.executable, '-S', '-c', 'import time; time.sleep(600)'])"
FORKED = f"{HELD}; sys.exit(0)"


@pytest.fixture
def programs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., None]]:
    """Puts programs of a few lines in place of the sound system's; the rest of them is missing."""
    before = children()
    monkeypatch.setenv("PATH", str(tmp_path))

    def make(**lines: str) -> None:
        for name, text in lines.items():
            program = tmp_path / name
            program.write_text(f"#!{sys.executable} -S\n{WRITE}{text}", encoding="utf-8")
            program.chmod(0o755)

    yield make
    assert children() <= before, "a program was left behind"


def children() -> set[str]:
    return set(Path(f"/proc/self/task/{threading.get_native_id()}/children").read_text().split())


@contextlib.contextmanager
def in_little_memory() -> Iterator[None]:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    yield
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < MOST_GROWN_KB


def told(call: Callable[[], object]) -> str:
    """The sentence of the fault, short and fit for a terminal; empty where there was none."""
    try:
        call()
    except RigError as fault:
        sentence = str(fault)
        assert sentence.isprintable() and len(sentence) < 8000
        return sentence
    return ""


def listed(text: str) -> str:
    return f"out({text.encode('utf-8', 'surrogateescape')!r})"


NAMES = {
    "escape sequences": SOURCES.replace("CODEC", "\x1b[2J\x1b]0;title\x07\x9b31m"),
    "direction": SOURCES.replace("CODEC", "\u202etxet\u2066"),
    "no UTF-8": SOURCES.replace("CODEC", "\udcff\udcfe"),
    "NULs": SOURCES.replace("CODEC", "\0\0"),
    "a megabyte of name": SOURCES.replace("CODEC", "x" * 900_000),
    "an option": SOURCES.replace("alsa_input.usb-set", "--file=/dev/null"),
    "a command": SOURCES.replace("alsa_input.usb-set", "$(reboot);`reboot`"),
    "a blank name": SOURCES.replace("alsa_input.usb-set", " "),
    "no channels": SOURCES.replace("1ch", "0ch"),
    "a thousand channels": SOURCES.replace("1ch", "1000ch"),
    "channels of 5000 digits": SOURCES.replace("1ch", "9" * 5000 + "ch"),
    "no rate": SOURCES.replace("8000Hz", "0Hz"),
    "a rate of 5000 digits": SOURCES.replace("8000Hz", "9" * 5000 + "Hz"),
    "digits of another script": SOURCES.replace("8000Hz", "٨٠٠٠Hz"),
    "a level that is none": SOURCES.replace("0.00 dB", "-.-.-. dB " * 1000),
    "a card that is an option": SOURCES.replace('"1"', '"-D/dev/null"'),
    "thousands of inputs": "".join(SOURCES.replace("usb-set", f"usb-{nth}") for nth in range(3000)),
    "the same twice": SOURCES * 2,
    "torn in the middle": SOURCES[:90],
    "words of another language": "Quelle #0\n\tName : x\n",
    "nothing": "",
}


@pytest.mark.parametrize("name", NAMES)
def test_names_and_numbers_of_inputs_that_are_none(programs: Callable[..., None], name: str) -> None:
    programs(pactl=listed(NAMES[name]), parec=STEADY, amixer="sys.exit(0)")
    with in_little_memory():
        for one in sound_inputs():
            assert all(
                len(text) <= 200 and text.isprintable() for text in (one.name, one.description, one.port)
            )
            assert one.rate_hz is not None and 0 < one.rate_hz <= 1_000_000
        for one in sound_inputs()[:2]:
            told(lambda one=one: moving_levels(one))
        for device in ("", "usb", "alsa_input", "nothing like it"):
            opened: list[SoundSource] = []
            told(lambda device=device, opened=opened: opened.append(open_sound({"device": device})))
            for each in opened:
                each.close()


ANSWERS = {
    "never": "time.sleep(600)",
    "never, and holds on to the pipe": f"{HELD}; time.sleep(600)",
    "ends, and a child of it holds on to the pipe": FORKED,
    "drips": "while True: out(b'x'); time.sleep(0.2)",
    "has no end": ENDLESS.format("out"),
    "complains without end": ENDLESS.format("err"),
    "closes its mouth and stays": "os.close(1); os.close(2); time.sleep(600)",
    "ends by a signal": "os.kill(os.getpid(), 9)",
    "binary": "out(bytes(range(256)) * 1000)",
    "says no": "err(b'Connection refused\\n'); sys.exit(1)",
}


@pytest.mark.parametrize("how", ANSWERS)
@pytest.mark.parametrize("program", ["pactl", "arecord", "amixer"])
def test_a_program_that_answers_badly(programs: Callable[..., None], program: str, how: str) -> None:
    right = {
        "pactl": listed(SOURCES if program == "amixer" else ""),
        "amixer": "",
        "arecord": "",
        "parec": STEADY,
    }
    programs(**right | {program: ANSWERS[how]})
    with in_little_memory():
        told(sound_inputs)
        told(lambda: moving_levels(SoundInput("a", "a", "server", card="1")))
        if program == "arecord":
            assert told(lambda: open_sound({"device": "hw:0"}))


@pytest.mark.quick
@pytest.mark.parametrize("program", ["pactl", "arecord"])
def test_a_stop_order_ends_the_wait_for_a_program_that_never_answers(
    programs: Callable[..., None], program: str
) -> None:
    programs(**{"pactl": "", "arecord": ""} | {program: "time.sleep(600)"})
    stop = StopOrder()
    stop.set()
    with bounded(stop=stop), pytest.raises(CalledOff):
        open_sound({"device": "hw:0" if program == "arecord" else "usb"})


CAPTURES = {
    "never gives": "time.sleep(600)",
    "gives without end, faster than its rate": "while True: out(os.urandom(65536))",
    "gives zeros without end": "zeros = bytes(65536)\nwhile True: out(zeros)",
    "gives half a sample": "out(b'x'); time.sleep(600)",
    "swears without end": ENDLESS.format("err"),
    "swears without a line end": "while True: err(b'\\x1b[2J' * 10000)",
    "tells a latency of 5000 digits": "err(b'Latency: ' + b'9' * 5000 + b' usec\\n')\n" + STEADY,
    "tells a latency of an hour": "err(b'Latency: 999999999 usec\\n')\n" + STEADY,
    "tells a latency below nothing": "err(b'Latency: -99999999 usec\\n')\n" + STEADY,
    "tells overruns without end": "import random\nwhile True:\n    out(random.randbytes(160)); err(b'overrun\\n')",
    "dies of a signal": "os.kill(os.getpid(), 11)",
    "steers the terminal and dies": "err(b'\\x1b]0;owned\\x07\\xff\\xfe\\n'); sys.exit(1)",
    "leaves a child with the pipe": f"out(os.urandom(1600)); {FORKED}",
    "closes its output and stays": "os.close(1); time.sleep(600)",
}


@pytest.mark.parametrize("how", CAPTURES)
def test_a_capture_that_behaves_badly(programs: Callable[..., None], how: str) -> None:
    programs(pactl=listed(SOURCES), parec=CAPTURES[how])
    with in_little_memory():
        heard = open_sound({"device": "usb", "timeout_s": 0.5})
        try:
            sentences = [told(lambda: heard.take(0.3, time.monotonic())) for _ in range(3)]
        finally:
            heard.close()
    if "latency" not in how and "overruns" not in how:
        assert all(sentences), sentences


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e30, 1e4])
def test_samples_that_no_card_gives_are_no_sound(programs: Callable[..., None], value: float) -> None:
    """One of them in a second of good ones is enough."""
    bad = np.float32(value).tobytes()
    noise = (0.1 * np.random.default_rng(3).standard_normal(80)).astype(np.float32).tobytes()
    lines = f"piece = {noise!r}\nwhile True:\n    out(piece[:-4] + {bad!r}); time.sleep(0.01)\n"
    programs(pactl=listed(SOURCES.replace("s16le", "float32le")), parec=lines)
    heard = open_sound({"device": "usb", "timeout_s": 30.0})
    try:
        assert "no numbers that a converter gives" in told(lambda: heard.take(0.3, time.monotonic()))
    finally:
        heard.close()


OFFERS = {
    "no channels": "CHANNELS: 0\nRATE: 48000\nFORMAT: S16_LE",
    "channels of 5000 digits": f"CHANNELS: {'9' * 5000}\nRATE: 48000\nFORMAT: S16_LE",
    "no rate": "CHANNELS: 1\nRATE: 0\nFORMAT: S16_LE",
    "rates the wrong way round": "CHANNELS: 1\nRATE: [48000 1]\nFORMAT: S16_LE",
    "words for numbers": "CHANNELS: two\nRATE: fast\nFORMAT: S16_LE",
    "a format that steers": "CHANNELS: 1\nRATE: 48000\nFORMAT: \x1b[2J",
    "a busy word": "\x1b[2J busy \x9b",
    "any rate at all": "CHANNELS: [1 10000]\nRATE: [4000 4294967295]\nFORMAT: S16_LE",
}


@pytest.mark.parametrize("offer", OFFERS)
def test_cards_that_offer_what_none_has(programs: Callable[..., None], offer: str) -> None:
    programs(
        arecord=f"if '--dump-hw-params' in sys.argv: err({OFFERS[offer].encode()!r})\nelse:\n    time.sleep(600)"
    )
    with in_little_memory():
        opened: list[SoundSource] = []
        sentence = told(lambda: opened.append(open_sound({"device": "hw:0"})))
        for each in opened:
            assert 4_000 <= each.rate_hz <= 1_000_000
            each.close()
        assert bool(sentence) != bool(opened)


@pytest.mark.parametrize(
    "device",
    ["-x", "--file=x", "hw:$(reboot)", "hw:0\n", "hw:" + "9" * 150, "../../dev/null", "file:/tmp/x", "💣"],
)
def test_a_device_of_a_station_file_that_is_none(
    programs: Callable[..., None], tmp_path: Path, device: str
) -> None:
    """Nothing of it becomes an option or reaches a shell: the program is asked for what stands there, or not at all."""
    seen = tmp_path / "seen"
    note = f"open({str(seen)!r}, 'a').write(repr(sys.argv[1:]) + '\\n')"
    programs(pactl=note, arecord=note)
    with contextlib.suppress(ValueError):  # pydantic's own, where the station file would be refused
        assert told(lambda: open_sound({"device": device}))
    if seen.exists():
        for line in seen.read_text().splitlines():
            words = json.loads(line.replace("'", '"'))
            assert device not in words or (
                words[0] == "-D" and words[1] == device and device.startswith("hw:")
            )


def test_a_program_that_is_no_program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    for name, text in (("pactl", "\x7fELF"), ("arecord", "#!/nowhere/at/all\n")):
        program = tmp_path / name
        program.write_text(text)
        program.chmod(0o755)
        assert "cannot be started" in told(sound_inputs)
        program.unlink()
