"""The capture program as a child that behaves badly, without a sound server: one that says what it says, and hangs."""

import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from drivers.errors import InUse, LinkLost, LinkTimeout
from drivers.samples import sound_inputs
from drivers.samples.sound import SoundSource, open_sound
from drivers.samples.sound_checks import holes, picked

pytestmark = pytest.mark.slow

SOURCES = """Source #0
\tState: RUNNING
\tName: alsa_input.usb-set
\tDescription: USB Audio CODEC Analog Stereo
\tSample Specification: s16le 1ch 8000Hz
\tMute: no
\tVolume: mono: 65536 / 100% / 0.00 dB
\tMonitor of Sink: n/a
\tActive Port: analog-input-linein
"""

CHILD = """
import random, struct, sys, time
def some(count, level=3000):
    data = struct.pack(f"<{count}h", *(random.randrange(-level, level) for _ in range(count)))
    sys.stdout.buffer.write(data)
    sys.stdout.flush()
def say(text):
    sys.stderr.write(text + "\\n")
    sys.stderr.flush()
def steady(seconds):
    for _ in range(int(seconds * 100)):
        some(80)
        rest(0.01)
def rest(seconds):
    due[0] += seconds
    time.sleep(max(due[0] - time.monotonic(), 0.0))
due = [time.monotonic()]
"""


@pytest.fixture
def child(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Makes `parec` a program of a few lines, and `pactl` one that lists one USB set."""

    def make(lines: str, options: dict[str, object] | None = None, **programs: str) -> SoundSource:
        server = {"parec": CHILD + lines, "pactl": f"print({SOURCES!r})"}
        for name, text in (programs or server).items():
            program = tmp_path / name
            program.write_text(f"#!{sys.executable} -S\n{text}")
            program.chmod(0o755)
        monkeypatch.setenv("PATH", str(tmp_path))
        opened.append(open_sound({"device": "usb audio", **(options or {})}))
        return opened[-1]

    opened: list[SoundSource] = []
    yield make
    for each in opened:
        each.close()


def test_samples_of_a_child_with_the_rate_and_latency_it_tells(child) -> None:
    heard = child('say("Time: 0.1 sec; Latency: 40000 usec.")\nwhile True: steady(1)')
    block = heard.take(0.2, time.monotonic())
    assert (len(block.samples), block.rate_hz, block.gaps, block.unplaced) == (1600, 8000.0, (0,), False)
    assert heard.latency_s == pytest.approx(0.09)
    assert heard.take(0.2, 0.0).gaps == ()


@pytest.mark.parametrize(
    ("lines", "kind", "words"),
    [
        ('say("Stream error: No such entity"); sys.exit(1)', LinkLost, "is gone"),
        ('steady(1); say("Stream moved to device other.monitor (1, not suspended)."); steady(9)', LinkLost, "is gone"),
        ('say("audio open error: Device or resource busy"); sys.exit(1)', InUse, "another program"),
        ("sys.exit(0)", LinkLost, "ended"),
        ("time.sleep(60)", LinkTimeout, "no samples come"),
    ],
)  # fmt: skip
def test_a_child_that_ends_or_hangs_is_told_in_a_sentence(child, lines, kind, words) -> None:
    heard = child(lines, {"timeout_s": 1.0})
    with pytest.raises(kind, match=words):
        for _ in range(40):
            heard.take(0.2, time.monotonic())


def test_samples_that_go_missing_are_told_though_nobody_says_so(child) -> None:
    """A third of a second is never sent; all that follows comes late for good."""
    heard = child("steady(1); rest(0.4); steady(30)")
    blocks = [heard.take(0.25, 0.0) for _ in range(12)]
    assert any(block.unplaced for block in blocks)
    assert not blocks[-1].unplaced


def test_samples_that_only_come_late_are_kept(child) -> None:
    """The program stood still for a moment and then sent all that it had."""
    heard = child("steady(1); rest(0.4); some(3200); steady(30)")
    assert not any(heard.take(0.25, 0.0).unplaced for _ in range(12))


@pytest.mark.quick
def test_a_capture_begins_anew_after_its_child_ended(child) -> None:
    heard = child("steady(1)")
    with pytest.raises(LinkLost):
        for _ in range(40):
            heard.take(0.2, time.monotonic())
    assert heard.take(0.2, time.monotonic()).gaps == (0,)


def test_a_reader_that_falls_far_behind_is_told_so(child) -> None:
    """Samples are kept for half a minute; here for half a second."""
    heard = child("while True: steady(1)", {"kept_s": 0.5})
    heard.take(0.1, 0.0)
    time.sleep(1.5)
    block = heard.take(0.1, 0.0)
    assert block.gaps == (0,)
    assert heard.take(0.1, 0.0).gaps == ()
    assert len(heard.take(1.5, 0.0).samples) == 12_000  # somebody who waits for more gets it all


ALSA = """
import sys
if "-L" in sys.argv:
    print("null\\n    Discard all samples")
    print("hw:CARD=CODEC,DEV=0\\n    USB Audio CODEC, USB Audio")
    sys.exit(0)
if "--dump-hw-params" in sys.argv:
    for line in ("FORMAT:  S16_LE S24_3LE", "CHANNELS: 1", "RATE: [8000 48000]"):
        sys.stderr.write(line + "\\n")
    sys.exit(0)
"""


def test_alsa_alone_is_captured_as_the_card_offers_it(child) -> None:
    """24 bits where it has them, packed in three bytes, at the usual rate within its range."""
    piece = "struct.pack('<i', 1 << 22)[:3] * 480"
    three = f"while True:\n    sys.stdout.buffer.write({piece})\n    rest(0.01)"
    heard = child("", {"device": "codec"}, arecord=CHILD + ALSA + three)
    assert heard.input.name == "hw:CARD=CODEC,DEV=0"
    block = heard.take(0.1, time.monotonic())
    assert heard.rate_hz == 48_000
    assert np.unique(block.samples).tolist() == [0.5]


def test_an_overrun_that_alsa_tells_voids_what_is_around_it(child) -> None:
    over = 'steady(1); say("overrun!!! (at least 12.3 ms long)"); steady(30)'
    programs = CHILD + ALSA.replace("S16_LE S24_3LE", "S16_LE").replace("[8000 48000]", "8000") + over
    heard = child("", {"device": "hw:CARD=CODEC,DEV=0"}, arecord=programs)
    assert any(heard.take(0.25, 0.0).unplaced for _ in range(12))


def test_a_card_that_another_program_holds(child) -> None:
    held = CHILD + 'say("arecord: main:830: audio open error: Device or resource busy"); sys.exit(1)'
    with pytest.raises(InUse, match="another program has hw:CARD=CODEC,DEV=0 to itself"):
        child("", {"device": "hw:CARD=CODEC,DEV=0"}, arecord=held)


MIXER = """
Simple mixer control 'Capture',0
  Mono: Capture 40 [62%] [12.00dB] [on]
Simple mixer control 'Mic Boost',0
  Mono: 2 [67%] [20.00dB]
Simple mixer control 'Auto Gain Control',0
  Mono: Playback [on]
Simple mixer control 'Noise Suppression',0
  Mono: Playback [off]
"""


def test_what_moves_a_cards_level_by_itself_is_named(child) -> None:
    heard = child("while True: steady(1)")
    assert heard.unknown() == ("the sound card's own gain, boost and automatic level",)  # no amixer
    assert [name.split(" (")[0] for name in sound_inputs.moving(MIXER)] == [
        "the sound card's Mic Boost",
        "the sound card's Auto Gain Control",
    ]


def test_a_microphone_calls_itself_one() -> None:
    line = sound_inputs.SoundInput("a", "a", "server", port="analog-input-linein")
    assert not line.is_microphone
    assert replace(line, port="analog-input-internal-mic").is_microphone


def test_closing_leaves_no_child_behind(child) -> None:
    children = Path(f"/proc/self/task/{threading.get_native_id()}/children")
    before = children.read_text()
    heard = child("while True: steady(1)")
    assert children.read_text() != before
    heard.close()
    heard.close()
    assert children.read_text() == before


def test_zeros_that_a_server_filled_in_are_holes() -> None:
    samples = np.ones(8000, np.float32)
    samples[1000:1100], samples[2000:2010] = 0.0, 0.0  # 12 ms, and 1 ms
    assert holes(samples, 8000.0).tolist() == [[1000, 1100]]


def test_one_signal_on_both_channels_is_one() -> None:
    dice = np.random.default_rng(7)
    one = dice.standard_normal(4000).astype(np.float32)
    assert picked(np.stack([one, 0.7 * one], axis=1), None) == 0
    assert "different" in str(picked(np.stack([one, one[::-1]], axis=1), None))
    assert picked(np.stack([0.001 * one, one], axis=1), None) == 1
