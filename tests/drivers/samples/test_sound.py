"""Sound through a real sound server: every sample is what was played, nothing from before, nothing ever played."""

import os
import shutil
import time
from collections.abc import Iterator

import numpy as np
import pytest

from drivers.errors import BadReply, LinkLost, Refused, RigError, Unsupported
from drivers.samples.sound import SoundSource, open_sound, sound_inputs
from drivers.waiting import StopOrder, bounded
from tests.drivers.samples.sound_server import PIECE, RATE_HZ, Player, noise, sound_server, told, wait_for

pytestmark = [
    pytest.mark.wires,
    pytest.mark.skipif(shutil.which("pulseaudio") is None, reason="PulseAudio is not installed"),
]


@pytest.fixture(scope="module", autouse=True)
def server() -> Iterator[None]:
    with sound_server("rx 48000 1", "two 48000 2", "slow 44100 1"):
        yield


@pytest.fixture
def opened() -> Iterator[list]:
    closed_later: list = []
    yield closed_later
    for each in closed_later:
        each.close()


def source(opened: list, device: str = "rx.monitor", **options: object) -> SoundSource:
    opened.append(open_sound({"device": device, **options}))
    return opened[-1]


def level_db(samples: np.ndarray) -> float:
    return float(10 * np.log10(np.mean(samples.astype(np.float64) ** 2)))


def test_inputs_of_the_server_are_listed_by_their_own_names() -> None:
    assert {(each.name, each.rate_hz, each.channels) for each in sound_inputs()} == {
        ("rx.monitor", 48_000, 1),
        ("two.monitor", 48_000, 2),
        ("slow.monitor", 44_100, 1),
    }


def test_what_comes_in_is_what_was_played(opened: list) -> None:
    """A tone and noise of known power: within 0.02 dB, a fifth of what is promised."""
    dice = np.random.default_rng(4)
    tone = (
        0.2 * np.sqrt(2) * np.sin(2 * np.pi * 1000 * np.arange(PIECE) / RATE_HZ)
    )  # whole periods in a piece
    opened.append(Player("rx", lambda piece: tone + 0.01 * dice.standard_normal(PIECE)))
    block = source(opened).take(4.0, time.monotonic())
    assert block.rate_hz == RATE_HZ
    assert len(block.samples) == 4 * RATE_HZ
    assert not block.unplaced
    assert block.clipped == 0.0
    assert level_db(block.samples) == pytest.approx(10 * np.log10(0.2**2 + 0.01**2), abs=0.02)


def test_nothing_from_before_the_moment_asked_for_is_given(opened: list) -> None:
    """The level steps every second; a block after a step holds only what was played after it, to 0.1 s late."""
    dice = np.random.default_rng(5)
    every = RATE_HZ // PIECE
    player = Player(
        "rx", lambda piece: (0.01, 0.1)[piece // every % 2] * dice.standard_normal(PIECE), latency_ms=20
    )
    opened.append(player)
    heard = source(opened)
    heard.take(0.1, time.monotonic())
    for _ in range(4):
        step = (len(player.played) // every + 1) * every
        while len(player.played) <= step:
            time.sleep(0.002)
        at = player.played[step]
        block = heard.take(0.3, at + 0.05)  # the player's own delay
        heard_then = block.samples[block.samples != 0.0]  # a busy machine may make it stop for a moment
        wanted = 20 * np.log10((0.01, 0.1)[step // every % 2])
        assert level_db(heard_then) == pytest.approx(wanted, abs=0.4)
        assert block.captured[0] >= at
        assert block.captured[1] - block.captured[0] < 0.3 + 0.2


def test_blocks_taken_one_after_another_lose_nothing(opened: list) -> None:
    """A tone goes on in phase over a hundred blocks, though the reader pauses now and then."""
    tone = 0.3 * np.sin(2 * np.pi * 1000 * np.arange(PIECE) / RATE_HZ)
    opened.append(Player("rx", lambda piece: tone))
    heard = source(opened)
    parts = [heard.take(0.05, time.monotonic())]
    for nth in range(60):
        if nth % 20 == 0:
            time.sleep(0.5)
        parts.append(heard.take(0.05, 0.0))
        assert parts[-1].gaps == ()
    whole = np.concatenate([part.samples for part in parts])
    phase = np.exp(-2j * np.pi * 1000 * np.arange(len(whole)) / RATE_HZ)
    turned = np.angle((whole * phase).reshape(-1, 480).sum(1))
    assert np.ptp(np.unwrap(turned)) < 0.01


def test_nothing_is_played_while_an_input_is_captured(opened: list) -> None:
    heard = source(opened)
    wait_for(lambda: len(told("pactl", "list", "short", "source-outputs").splitlines()) == 1)
    assert told("pactl", "list", "short", "sink-inputs") == ""
    heard.close()
    wait_for(lambda: told("pactl", "list", "short", "source-outputs") == "")


def test_silence_is_told(opened: list) -> None:
    with pytest.raises(BadReply, match="silence"):
        source(opened).take(0.2, 0.0)


def test_no_such_input_lists_those_there_are(opened: list) -> None:
    with pytest.raises(Unsupported, match=r"There are:.*rx.monitor"):
        source(opened, "line of the receiver")


def test_a_wrong_rate_names_the_right_one(opened: list) -> None:
    with pytest.raises(Refused, match="rate_hz: 44100"):
        source(opened, "slow.monitor", rate_hz=48_000)


def test_an_input_of_another_rate_is_taken_at_its_own(opened: list) -> None:
    heard = source(opened, "slow.monitor")
    opened.append(Player("slow", noise(0.1)))  # the server resamples what is played, not what is captured
    block = _as_soon_as_it_sounds(heard)
    assert (block.rate_hz, len(block.samples)) == (44_100.0, 8_820)


def test_a_channel_that_is_not_there(opened: list) -> None:
    with pytest.raises(Refused, match="no channel 3: 2 come in"):
        source(opened, "two.monitor", channel=3)


def test_two_channels_that_differ_must_be_told_apart(opened: list) -> None:
    opened.append(Player("two", noise(channels=2), channels=2))
    with pytest.raises(Refused, match="channel: 1 in the station file, or --channel 1"):
        source(opened, "two.monitor").take(0.3, time.monotonic())
    assert len(source(opened, "two.monitor", channel=2).take(0.3, time.monotonic()).samples) == 14_400


def test_a_dead_channel_is_told_with_the_live_one(opened: list) -> None:
    dice = np.random.default_rng(6)

    def right_only(piece: int) -> np.ndarray:
        return np.stack([np.zeros(PIECE), 0.1 * dice.standard_normal(PIECE)], axis=1)

    opened.append(Player("two", right_only, channels=2))
    with pytest.raises(Refused, match=r"channel 1 is dead.*Name channel 2"):
        source(opened, "two.monitor", channel=1).take(0.3, time.monotonic())
    block = source(opened, "two.monitor").take(1.0, time.monotonic())
    assert level_db(block.samples) == pytest.approx(-20.0, abs=0.2)


def test_a_card_that_is_unplugged_is_gone_and_comes_back(opened: list) -> None:
    """The server moves the stream to another input, unasked; that one's samples are never taken for the card's."""
    number = told(
        "pactl", "load-module", "module-null-sink", "sink_name=usb", "rate=48000", "channels=1"
    ).strip()
    player = Player("usb", noise())
    opened.append(player)
    opened.append(Player("rx", noise(0.2)))
    heard = source(opened, "usb.monitor")
    heard.take(0.2, time.monotonic())
    told("pactl", "unload-module", number)
    with pytest.raises(LinkLost, match=r"usb.monitor is gone"):
        for _ in range(100):
            heard.take(0.2, time.monotonic())
    with pytest.raises(Unsupported, match=r"no input 'usb.monitor'"):
        heard.take(0.2, time.monotonic())
    number = told(
        "pactl", "load-module", "module-null-sink", "sink_name=usb", "rate=48000", "channels=1"
    ).strip()
    opened.append(Player("usb", noise()))
    again = _as_soon_as_it_sounds(heard)
    told("pactl", "unload-module", number)  # which would be listed among the inputs by what comes next
    assert again.gaps == (0,)
    assert level_db(again.samples) == pytest.approx(-26.0, abs=0.3)


def _as_soon_as_it_sounds(heard: SoundSource):
    give_up = time.monotonic() + 60
    while True:
        try:
            return heard.take(0.2, time.monotonic())
        except RigError:
            assert time.monotonic() < give_up
            time.sleep(0.05)


def test_a_hand_at_the_servers_level_is_named(opened: list) -> None:
    opened.append(Player("rx", noise()))
    heard = source(opened)
    assert heard.unknown() == ()
    told("pactl", "set-source-volume", "rx.monitor", "50%")
    try:
        assert "level" in heard.unknown()[0]
    finally:
        told("pactl", "set-source-volume", "rx.monitor", "100%")


def test_a_stop_order_ends_waiting_for_samples(opened: list) -> None:
    opened.append(Player("rx", noise()))
    heard, stop = source(opened), StopOrder()
    stop.set()
    began = time.monotonic()
    with pytest.raises(RigError, match="asked to stop"), bounded(stop=stop):
        heard.take(30.0, time.monotonic())
    assert time.monotonic() - began < 20.0


def test_alsa_alone_gives_the_same_samples(opened: list) -> None:
    """Through ALSA's own library; its plug-in for the sound server stands in for a card."""
    opened.append(Player("rx", noise(0.1)))
    os.environ["PULSE_SOURCE"] = "rx.monitor"
    try:
        heard = source(opened, "pulse", rate_hz=48_000, channel=1)
        block = heard.take(2.0, time.monotonic())
    finally:
        del os.environ["PULSE_SOURCE"]
    assert heard.input.by == "alsa"
    assert level_db(block.samples) == pytest.approx(-20.0, abs=0.1)
