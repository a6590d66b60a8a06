"""Power from samples: on samples of known power, and through SoapySDR with a real driver module.

The module is Debian's soapysdr-module-redpitaya, whose device sits across the network; a server of the same wire
protocol stands in for the box (two TCP connections: frequency and rate as 32-bit words, samples as complex floats).
"""

import math
import socket
import struct
import sys
import threading
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from pydantic import ValidationError
from scipy.signal import welch

from drivers.errors import LinkLost, LinkTimeout, Refused, Unsupported
from drivers.protocols.band_power import is_clipped, pass_band_hz, power_in_band, samples_needed
from drivers.receivers.iq import DRIVER, IqReceiver, Options

RATE_HZ = 100_000


def noise(power: float, count: int, seed: int = 4) -> NDArray[np.complex64]:
    """Complex white noise with a given mean power."""
    draw = np.random.default_rng(seed).standard_normal((count, 2))
    return (math.sqrt(power / 2) * (draw[:, 0] + 1j * draw[:, 1])).astype(np.complex64)


def carrier(power: float, hz: float, count: int) -> NDArray[np.complex64]:
    return (math.sqrt(power) * np.exp(2j * np.pi * hz * np.arange(count) / RATE_HZ)).astype(np.complex64)


@pytest.mark.parametrize("bandwidth_hz", [500, 2400, 6000])
def test_white_noise_has_the_share_of_its_power_that_the_band_has_of_the_width(bandwidth_hz: int) -> None:
    count = 1_000_000
    found = power_in_band(noise(1e-4, count), RATE_HZ, 5000, 5000 + bandwidth_hz)
    # Dicke 1946: relative deviation 1/sqrt(B tau); four of them, with the window's loss of overlap
    tolerance = 4 * 1.2 / math.sqrt(bandwidth_hz * count / RATE_HZ)
    assert found == pytest.approx(1e-4 * bandwidth_hz / RATE_HZ, rel=tolerance)


@pytest.mark.parametrize("hz", [5300.0, 6000.0, 6137.7, 7100.0])
def test_a_carrier_in_the_band_has_its_power_wherever_it_falls_between_bins(hz: float) -> None:
    assert power_in_band(carrier(0.25, hz, 100_000), RATE_HZ, 5000, 7400) == pytest.approx(0.25, rel=0.005)


@pytest.mark.parametrize("hz", [-6000.0, 4000.0, 8500.0, 0.0])
def test_a_strong_carrier_outside_the_band_does_not_leak_in(hz: float) -> None:
    leaked = power_in_band(carrier(0.25, hz, 100_000), RATE_HZ, 5000, 7400)
    assert 10 * math.log10(leaked / 0.25) < -60


def test_band_power_agrees_with_the_sum_of_scipys_spectrum() -> None:
    samples = noise(0.01, 200_000)
    frequencies_hz, spectrum = welch(samples, RATE_HZ, nperseg=1024, return_onesided=False, scaling="density")
    inside = (frequencies_hz >= 5000) & (frequencies_hz < 15_000)
    reference = float(spectrum[inside].sum()) * RATE_HZ / 1024
    assert power_in_band(samples, RATE_HZ, 5000, 15_000) == pytest.approx(reference, rel=0.03)


def test_clipping_is_seen_from_the_samples() -> None:
    assert is_clipped(np.clip(2 * carrier(1.0, 100, 1000).real, -1, 1) + 0j)
    assert not is_clipped(carrier(0.9, 100, 1000))


def test_the_pass_band_lies_where_the_mode_puts_it() -> None:
    assert pass_band_hz("USB", 2400) == (0, 2400)
    assert pass_band_hz("LSB", 2400) == (-2400, 0)
    assert pass_band_hz("CW", 500) == (-250, 250)


def test_a_band_outside_the_sampled_width_is_refused() -> None:
    with pytest.raises(ValueError, match="sampled width"):
        power_in_band(noise(1, 1000), RATE_HZ, 49_000, 51_000)


def test_a_reading_takes_its_time() -> None:
    assert samples_needed(RATE_HZ, 2400, 0.5) == 50_000
    assert samples_needed(RATE_HZ, 100, 0.001) >= 2 * 24 * RATE_HZ / 100


class NetworkBox:
    """What the driver module connects to. The test says what is on the air, as (power, hertz) of carriers."""

    def __init__(self) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.listener.settimeout(0.05)
        # as on the network cable: with the loopback's own 64 KiB segments the module, which reads nothing until a
        # whole chunk is there, and TCP, which sends nothing until a whole segment fits, wait for each other
        self.listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_MAXSEG, 1460)
        self.port: int = self.listener.getsockname()[1]
        self.centre_hz = 0
        self.rate_code = -1
        self.on_air: list[tuple[float, float]] = []
        self.noise = 1e-9
        self.silent = False
        self.bent: Callable[[NDArray[np.complex64]], NDArray[np.complex64]] = lambda samples: samples
        self.at_tuning: list[Callable[[], None]] = []
        self.gone = False
        self.labels: list[int] = []
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._accept)]
        self._threads[0].start()

    def close(self) -> None:
        self._stop.set()
        self._threads[0].join(5.0)  # after it no more are begun
        self.listener.close()
        for thread in self._threads[1:]:
            thread.join(5.0)

    def _accept(self) -> None:
        while not self._stop.is_set():
            try:
                connection, _ = self.listener.accept()
            except TimeoutError:
                continue
            word = b"" if self.gone else connection.recv(4, socket.MSG_WAITALL)
            if len(word) < 4:
                connection.close()
                continue
            (label,) = struct.unpack("<I", word)
            self.labels.append(label)
            serve = self._commands if label == 0 else self._samples
            self._threads.append(threading.Thread(target=serve, args=(connection,)))
            self._threads[-1].start()

    def _commands(self, connection: socket.socket) -> None:
        with connection:
            while len(word := connection.recv(4, socket.MSG_WAITALL)) == 4:
                (command,) = struct.unpack("<I", word)
                if command >> 28 == 1:
                    self.rate_code = command & 0xF
                else:
                    self.centre_hz = command
                    if self.at_tuning:
                        self.at_tuning.pop(0)()

    def _samples(self, connection: socket.socket) -> None:
        block, at = RATE_HZ // 100, 0
        with connection:
            while not (self._stop.is_set() or self.gone):
                if not self.silent:
                    when = (at + np.arange(block)) / RATE_HZ
                    at += block
                    samples = noise(self.noise, block, seed=at)
                    for power, hz in self.on_air:
                        if abs(hz - self.centre_hz) < RATE_HZ / 2:
                            samples = samples + math.sqrt(power) * np.exp(
                                2j * np.pi * (hz - self.centre_hz) * when
                            )
                    clipped = np.clip(samples.real, -1, 1) + 1j * np.clip(samples.imag, -1, 1)
                    try:
                        connection.sendall(self.bent(clipped.astype(np.complex64)).tobytes())
                    except OSError:
                        return
                self._stop.wait(0.01)  # samples come at their rate, as from a converter


@pytest.fixture
def soapy(monkeypatch: pytest.MonkeyPatch) -> None:
    """SoapySDR's Python module from the system, where a virtual environment does not see it."""
    monkeypatch.setattr(sys, "path", [*sys.path, "/usr/lib/python3/dist-packages"])
    try:
        import SoapySDR
    except ImportError:
        pytest.skip("SoapySDR is not installed (Debian: python3-soapysdr, soapysdr-module-redpitaya)")
    if not any("RedPitaya" in module for module in SoapySDR.listModules()):
        pytest.skip("the driver module is not installed (Debian: soapysdr-module-redpitaya)")


@pytest.fixture
def box() -> Iterator[NetworkBox]:
    served = NetworkBox()
    yield served
    served.close()


def opened(box: NetworkBox, **keys: Any) -> Any:
    device = {"driver": "redpitaya", "addr": "127.0.0.1", "port": box.port}
    patient = {"timeout_s": 10.0}  # samples are made in this process, which may be busy
    return DRIVER.open(
        Options.model_validate({"device": device, "sample_rate_hz": RATE_HZ, **patient, **keys})
    )


@pytest.mark.usefixtures("soapy")
def test_a_carrier_on_the_air_is_read_at_its_power(box: NetworkBox) -> None:
    receiver = opened(box, full_scale_dbm=-10.0)
    try:
        receiver.set_mode("USB", 2400)
        receiver.tune(7_038_500)
        assert receiver.tuning().hz == 7_038_500
        box.on_air = [(1e-4, 7_039_500.0), (1e-2, 7_050_000.0)]
        assert receiver.prepare() == ()
        assert receiver.read_power() == pytest.approx(-40.0 - 10.0, abs=0.1)
        box.on_air = [(1e-6, 7_039_500.0), (1e-2, 7_050_000.0)]
        assert receiver.read_power() == pytest.approx(-60.0 - 10.0, abs=0.2)
        assert not receiver.is_transmitting()
        assert set(box.labels) == {0, 1}  # 2 and 3 would be the connections of its transmitter
    finally:
        receiver.close()


@pytest.mark.usefixtures("soapy")
def test_noise_is_read_in_the_channels_bandwidth(box: NetworkBox) -> None:
    box.noise = 1e-3
    receiver = opened(box, averaging_s=0.5)
    try:
        receiver.tune(10_000_000)
        for bandwidth_hz in (2400, 6000):
            receiver.set_mode("AM", bandwidth_hz)
            expected_db = 10 * math.log10(1e-3 * bandwidth_hz / RATE_HZ)
            assert receiver.read_power() == pytest.approx(
                expected_db, abs=4 * 4.34 * 1.2 / math.sqrt(0.5 * bandwidth_hz)
            )
    finally:
        receiver.close()


@pytest.mark.usefixtures("soapy")
def test_a_reading_that_clipped_stands_at_the_top_of_the_meter(box: NetworkBox) -> None:
    box.on_air = [(4.0, 7_060_000.0)]
    receiver = opened(box)
    try:
        receiver.tune(7_038_500)
        assert receiver.read_power() >= 0.0
    finally:
        receiver.close()


@pytest.mark.usefixtures("soapy")
def test_a_box_that_falls_silent_is_a_timeout(box: NetworkBox) -> None:
    receiver = opened(box, timeout_s=0.2)
    try:
        box.silent = True
        with pytest.raises(LinkTimeout):
            for _ in range(20):
                receiver.read_power()
    finally:
        receiver.close()


@pytest.mark.usefixtures("soapy")
def test_a_device_that_is_not_there_is_told() -> None:
    with pytest.raises(LinkLost, match="nowhere"):
        DRIVER.open(Options(device={"driver": "nowhere"}))


@pytest.mark.usefixtures("soapy")
def test_a_pass_band_wider_than_the_samples_is_refused(box: NetworkBox) -> None:
    receiver = opened(box)
    try:
        with pytest.raises(Refused, match="sample_rate_hz"):
            receiver.set_mode("USB", 80_000)
    finally:
        receiver.close()


def test_without_soapysdr_the_mend_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "SoapySDR", None)
    with pytest.raises(Unsupported, match="python3-soapysdr"):
        DRIVER.open(Options(device={"driver": "rtlsdr"}))


def test_a_device_has_to_be_named() -> None:
    with pytest.raises(ValidationError):
        Options.model_validate({"device": {}})


@pytest.mark.parametrize(
    "device", [{"tx_gain": 10}, {"driver": "a\nb"}, {"": "x"}, {"a b": "x"}, {"driver": "é"}]
)
def test_only_plain_words_go_to_a_device_and_none_for_its_transmitter(device: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Options.model_validate({"device": device})


@pytest.mark.parametrize(
    "key", ["biastee", "bias_tx", "rf_bias", "remote:biasT_ctrl", "reset", "Phantom", "antenna_power"]
)
def test_no_voltage_goes_up_the_feed_line_by_a_station_file(key: str) -> None:
    with pytest.raises(ValidationError, match="feed line"):
        Options.model_validate({"device": {"driver": "rtlsdr", key: "1"}})


class Gone:
    """A device that was unplugged: every call but those that open it says so."""

    there = True

    def __init__(self, arguments: dict[str, str]) -> None:
        pass

    def __getattr__(self, name: str) -> Any:
        def call(*_: Any, **__: Any) -> Any:
            if not Gone.there:
                raise RuntimeError("no device")
            return float(RATE_HZ)

        return call


class Soapy:
    SOAPY_SDR_RX, SOAPY_SDR_CF32, Device = 1, "CF32", Gone

    @staticmethod
    def getAPIVersion() -> str:  # SoapySDR's name
        return "0.8"


@pytest.mark.parametrize(
    "call",
    [
        lambda receiver: receiver.identify(),
        lambda receiver: receiver.frequency_range_hz(),
        lambda receiver: receiver.tuning(),
        lambda receiver: receiver.tune(7_100_000),
        lambda receiver: receiver.frequency_hz(),
        lambda receiver: receiver.read_power(),
        lambda receiver: receiver.prepare(),
    ],
)
def test_a_device_that_is_gone_is_told_whatever_is_asked_of_it(
    call: Callable[[IqReceiver], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    receiver = IqReceiver(Options(device={"driver": "none"}, sample_rate_hz=RATE_HZ), Soapy)
    monkeypatch.setattr(Gone, "there", False)
    with pytest.raises((LinkLost, Refused)):
        call(receiver)
    receiver.close()
