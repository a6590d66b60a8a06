"""What a station says to a device through SoapySDR: allow-lists, what reads back, what is put back; and its stream.

The device is a stand-in for SoapySDR's Python class; tests/whole/test_soapy_remote.py has a real one.
"""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from pydantic import ValidationError

from drivers.errors import LinkLost, LinkTimeout, Refused
from drivers.protocols.soapy_keys import BIAS_TEE, FEEDS_OR_RESETS, SETTINGS
from drivers.receivers.iq import IqReceiver, Options
from drivers.samples.soapy import HAS_TIME, OVERFLOW, TIMEOUT, SoapySamples
from drivers.waiting import bounded

RATE_HZ = 250_000


class Stick:
    """A device: what it was told, and what it tells back."""

    def __init__(self, arguments: dict[str, str]) -> None:
        self.arguments, self.settings = arguments, {"biastee": "false", "direct_samp": "0"}
        self.gains: dict[str, float] = {"LNA": 0.0, "VGA": 0.0}
        self.deaf: set[str] = set()
        self.hz, self.told, self.streamed = 100e6, [], ()
        self.corrections: list[float] = []

    def writeSetting(self, key: str, value: str) -> None:
        self.told.append((key, value))
        if key not in self.deaf:
            self.settings[key] = value

    def readSetting(self, key: str) -> str:
        return self.settings.get(key, "")

    def listGains(self, _: int, __: int) -> tuple[str, ...]:
        return tuple(self.gains)

    def setGain(self, _: int, __: int, *named: Any) -> None:
        if len(named) == 2 and named[0] not in self.deaf:
            self.gains[named[0]] = named[1]
        elif len(named) == 1:
            self.gains["VGA"] = named[0]

    def getGain(self, _: int, __: int, name: str = "VGA") -> float:
        return self.gains[name]

    def hasGainMode(self, *_: int) -> bool:
        return False

    def getFrequencyRange(self, *_: int) -> list[Any]:
        return [SimpleNamespace(minimum=lambda: 24e6, maximum=lambda: 1764e6)]

    def setFrequency(self, _: int, __: int, *to: Any) -> None:
        if to[0] == "CORR":
            self.corrections.append(to[1])
        else:
            self.hz = to[0]

    def getFrequency(self, *_: int) -> float:
        return self.hz

    def getSampleRate(self, *_: int) -> float:
        return RATE_HZ

    def hasFrequencyCorrection(self, *_: int) -> bool:
        return False

    def listFrequencies(self, *_: int) -> tuple[str, ...]:
        return ("RF", "CORR")

    def setupStream(self, *words: Any) -> str:
        self.streamed = words
        return "stream"

    def __getattr__(self, name: str) -> Any:
        return lambda *_, **__: None


SOAPY = SimpleNamespace(SOAPY_SDR_RX=1, SOAPY_SDR_CF32="CF32", Device=Stick, getAPIVersion=lambda: "0.8")


def opened(**keys: Any) -> tuple[IqReceiver, Stick]:
    given = {"device": {"driver": "rtlsdr"}, "sample_rate_hz": RATE_HZ, "offset_hz": 0, **keys}
    receiver = IqReceiver(Options.model_validate(given), SOAPY)
    return receiver, receiver._device


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"settings": {"biastee": "true"}}, "not among the settings of rtlsdr"),
        ({"settings": {"testmode": "true"}}, "not among the settings of rtlsdr"),
        ({"device": {"driver": "airspyhf"}, "settings": {"bitpack": "true"}}, "may be set: none"),
        ({"device": {"driver": "lime"}, "settings": {"x": "1"}}, "no setting of lime is known"),
        ({"device": {"driver": "remote", "remote:driver": "sdrplay"}, "settings": {"biasT_ctrl": "true"}}, "not among"),
        ({"device": {"driver": "audio", "rig_port": "/dev/ttyUSB0"}}, "opens another"),
        ({"device": {"driver": "sdrplay", "extref_ctrl": "true"}}, "opens another"),
        ({"settings": {"direct_samp": "2\n"}}, "no plain word"),
        ({"stream": {"biastee": "1"}}, "supply voltage"),
        ({"device": {"driver": "hackrf"}, "bias_tee": True}, "no bias tee of hackrf is known"),
        ({"gains": {"LNA": 10}, "gain_db": 10}, "leave one of the two out"),
        ({"settings": {"direct_samp": "2"}, "converter_hz": 125_000_000}, "no converter is in the way"),
        ({"settings": {"direct_samp": "2"}, "range_hz": [500_000, 20_000_000]}, "folds down"),
    ],
)  # fmt: skip
def test_what_must_not_be_said_is_refused_when_the_file_is_read(keys: dict[str, Any], said: str) -> None:
    given = {"device": {"driver": "rtlsdr"}, "sample_rate_hz": RATE_HZ, **keys}
    with pytest.raises(ValidationError, match=said):
        Options.model_validate(given)


def test_no_list_of_settings_holds_what_feeds_or_resets() -> None:
    assert not [key for allowed in SETTINGS.values() for key in allowed if FEEDS_OR_RESETS.search(key)]
    assert all(FEEDS_OR_RESETS.search(key) for key in BIAS_TEE.values())


def test_settings_gains_and_stream_are_told_and_read_back() -> None:
    receiver, stick = opened(
        settings={"direct_samp": "2", "iq_swap": "true"},
        gains={"LNA": 10},
        stream={"bufflen": "16384"},
        ppm=3,
    )
    assert stick.told == [("direct_samp", "2"), ("iq_swap", "true")]
    assert stick.streamed[-1] == {"bufflen": "16384"} and stick.corrections == [3]
    assert receiver.prepare() == ()
    assert stick.gains["LNA"] == 10
    assert ("biastee", "true") not in stick.told


def test_what_does_not_read_back_is_unknown() -> None:
    receiver, stick = opened(
        settings={"iq_swap": "true", "offset_tune": "true"}, gains={"LNA": 10, "VGA": 20}
    )
    stick.settings["iq_swap"] = ""
    stick.deaf = {"VGA"}
    assert receiver.prepare() == ("gain VGA", "setting iq_swap")
    assert opened()[0].prepare() == ("gain",), "nobody told it"
    with pytest.raises(Refused, match="It has LNA, VGA"):
        opened(gains={"IFGR": 40})[0].prepare()


def test_a_rate_that_the_device_does_not_offer_is_told_with_the_one_it_took(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(Stick, "getSampleRate", lambda *_: 2_048_000.0)
    with pytest.raises(Refused, match=r"samples at 2048000 Hz instead of .* Write .* as it has it: 2048000"):
        opened()[0].prepare()
    monkeypatch.setattr(Stick, "listSampleRates", lambda *_: (1_024_000.0, 2_048_000.0), raising=False)
    with pytest.raises(Refused, match="as it has it: 1024000, 2048000"):
        opened()[0].prepare()


def test_a_gain_by_frequency_follows_the_dial() -> None:
    receiver, stick = opened(gain_db={0: 10, 5_000_000: 30}, range_hz=[100_000, 30_000_000])
    for hz, gain_db in ((1_000_000, 10), (7_000_000, 30), (2_000_000, 10)):
        receiver.tune(hz)
        assert stick.gains["VGA"] == gain_db


def test_the_station_knows_better_than_the_device_how_far_it_reaches() -> None:
    assert opened()[0].frequency_range_hz() == (24_000_000, 1_764_000_000)
    assert opened(range_hz=[500_000, 30_000_000])[0].frequency_range_hz() == (500_000, 30_000_000)
    above, stick = opened(converter_hz=125_000_000)
    assert above.frequency_range_hz() == (1, 1_639_000_000)
    above.tune(7_100_000)
    assert (stick.hz, above.frequency_hz()) == (132_100_000, 7_100_000)
    directly = opened(settings={"direct_samp": "2"})[0]
    assert directly.frequency_range_hz() == (1, 14_400_000)
    directly.tune(14_000_000)
    with pytest.raises(Refused, match="folds"):
        directly.tune(15_000_000)


def test_the_voltage_on_the_feed_line_is_put_back_as_it_was_found_and_goes_off_at_the_end() -> None:
    receiver, stick = opened(bias_tee=True)
    found = receiver.remember()
    receiver.prepare()
    assert stick.settings["biastee"] == "true"
    receiver.restore(found)
    assert stick.settings["biastee"] == "false"
    receiver.prepare()
    receiver.close()
    assert stick.settings["biastee"] == "false"
    other, stick = opened()
    assert other.remember() == {}
    other.close()
    assert stick.told == [], "whoever has not switched it leaves it alone"


def test_a_device_behind_a_server_has_a_link() -> None:
    remote = {"driver": "remote", "remote": "tcp://10.0.0.7:55132", "remote:driver": "rtlsdr"}
    assert Options(device=remote).links() == ("tcp://10.0.0.7:55132",)
    assert Options(device={"driver": "rtlsdr"}).links() == ()


class Clock:
    """Time passes while somebody sleeps."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


class Running:
    """A stream of numbers that count up, at a rate, by a clock. `lost`: samples that go missing before an index."""

    def __init__(self, clock: Clock, lost: dict[int, int] | None = None, told: bool = True) -> None:
        self.clock, self.given, self.lost, self.told = clock, 0, dict(lost or {}), told
        self.missed, self.dead = 0, False

    def readStream(self, _: str, into: list[NDArray[np.complex64]], most: int, timeoutUs: int) -> Any:
        if self.dead:
            return SimpleNamespace(ret=-3, flags=0, timeNs=0)
        here = int(self.clock.now_s * RATE_HZ) - self.given - self.missed
        if here <= 0:
            return SimpleNamespace(ret=TIMEOUT, flags=0, timeNs=0)
        count = min(most, here)
        for at, many in list(self.lost.items()):
            if self.given >= at:
                del self.lost[at]
                self.missed += many
                if not self.told:
                    return SimpleNamespace(ret=OVERFLOW, flags=0, timeNs=0)
            else:
                count = min(count, at - self.given)
        into[0][:count] = self.given + np.arange(count)
        time_ns = round((self.given + self.missed) / RATE_HZ * 1e9) + 1
        self.given += count
        return SimpleNamespace(ret=count, flags=HAS_TIME if self.told else 0, timeNs=time_ns)


def stream_of(running: Running, latency_s: float = 0.1) -> SoapySamples:
    return SoapySamples(running, "stream", RATE_HZ, latency_s, 2.0, 128)


def test_nothing_that_was_captured_earlier_is_given_and_each_sample_once() -> None:
    clock = Clock()
    with bounded(clock=clock):
        clock.sleep(3.0)
        block = stream_of(Running(clock)).take(50_000, 3.0)
    first = block.samples.real[0]
    assert 3.1 * RATE_HZ <= first <= 3.2 * RATE_HZ
    assert np.array_equal(block.samples.real, first + np.arange(50_000))
    assert block.gaps == () and block.step_noise == pytest.approx(2 / 12 / 128**2)


@pytest.mark.parametrize("told", [True, False], ids=["by time", "by overflow"])
def test_where_samples_are_missing_is_told(told: bool) -> None:
    clock, at = Clock(), 60_000
    with bounded(clock=clock):
        block = stream_of(Running(clock, {at: 5_000}, told)).take(100_000, 0.0)
    (gap,) = block.gaps
    assert block.samples.real[gap] == at


def test_a_stream_that_stops_or_breaks_is_told() -> None:
    clock = Clock()
    with bounded(clock=clock):
        running = Running(clock)
        running.given = 10**9
        with pytest.raises(LinkTimeout, match="no samples came"):
            stream_of(running).take(1000, 0.0)
        running.dead = True
        with pytest.raises(LinkLost, match="error -3"):
            stream_of(running).take(1000, clock.now_s)


def test_samples_at_the_ends_of_eight_bits_count_as_clipped() -> None:
    clock, running = Clock(), None
    with bounded(clock=clock):
        running = Running(clock)
        block = stream_of(running, 0.0).take(1000, 0.0)
    assert block.clipped == pytest.approx(0.5, abs=0.01), "every real part, no imaginary one"
