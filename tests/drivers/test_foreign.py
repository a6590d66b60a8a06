"""Libraries that never come back: the call fails within its deadline, and nothing piles up behind it."""

import threading
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import gpiod
import pytest

from drivers import foreign
from drivers.errors import CalledOff, LinkLost, LinkTimeout
from drivers.foreign import Foreign
from drivers.receivers import iq
from drivers.switches import gpio
from drivers.waiting import LOOK_S, Deadline, GivenUp, StopOrder, bounded, pause
from tests.drivers.switches.test_gpio import PATHS, Chip


@pytest.fixture
def mended() -> Iterator[threading.Event]:
    """What hangs in a test hangs until this is set."""
    event = threading.Event()
    yield event
    event.set()


def test_what_a_call_returns_or_raises_comes_through() -> None:
    calls = Foreign("box", "Unplug it.")
    assert calls.call("adding", 60.0, lambda: 1 + 1) == 2
    with pytest.raises(ZeroDivisionError):
        calls.call("dividing", 60.0, lambda: 1 / 0)
    with pytest.raises(TimeoutError, match="its own"):
        calls.call("waiting", 60.0, lambda: (_ for _ in ()).throw(TimeoutError("its own")))


def test_a_call_that_hangs_is_given_up_and_no_other_is_begun_until_it_is_back(
    mended: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(foreign, "COMING_BACK_S", 0.01)
    calls, begun, late = Foreign("box", "Unplug it."), [], []
    with pytest.raises(LinkTimeout, match=r"box: reading it does not come back\. Unplug it\."):
        calls.call("reading it", 0.1, lambda: mended.wait(60), late.append)
    for _ in range(2):
        with pytest.raises(LinkLost, match="reading it has not come back since"):
            calls.call("writing it", 60.0, lambda: begun.append(1))
    assert not begun
    monkeypatch.setattr(foreign, "COMING_BACK_S", 60.0)
    mended.set()
    assert calls.call("writing it", 60.0, lambda: "done") == "done"
    assert late == [True]


def test_a_call_that_comes_back_just_as_it_is_given_up_was_too_late(monkeypatch: pytest.MonkeyPatch) -> None:
    def given_up_at_the_end(call: Any, deadline: Deadline, discard: Any) -> Any:
        call()
        raise GivenUp("no answer in time")

    monkeypatch.setattr(foreign, "aside", given_up_at_the_end)
    calls = Foreign("box", "Unplug it.")
    with pytest.raises(LinkTimeout, match="reading it does not come back"):
        calls.call("reading it", 60.0, lambda: None)


def test_after_a_call_that_hangs_nobody_waits_longer_than_half_a_second(
    mended: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A call that waits for its own stop order looks for it ten times a second, and so has time to come back."""
    waited: list[float | None] = []

    class Patient(threading.Event):
        def wait(self, timeout: float | None = None) -> bool:
            waited.append(timeout)
            return super().wait(timeout)

    monkeypatch.setattr(threading, "Event", Patient)
    calls = Foreign("box", "Unplug it.")
    with pytest.raises(LinkTimeout):
        calls.call("reading it", 0.05, lambda: mended.wait(60))
    waited.clear()
    with pytest.raises(LinkLost):
        calls.call("writing it", 60.0, lambda: None)
    assert waited == [pytest.approx(0.5, abs=0.2)]
    assert waited[0] is not None and waited[0] >= 3 * LOOK_S


def test_a_stop_order_ends_the_wait_and_the_call_hears_of_it_too(mended: threading.Event) -> None:
    calls, stop, heard = Foreign("box", "Unplug it."), StopOrder(), threading.Event()

    def waits() -> None:
        stop.set()
        try:
            pause(60.0, "box")
        except CalledOff:
            heard.set()
            raise

    with bounded(stop=stop), pytest.raises(CalledOff):
        calls.call("reading it", 60.0, waits)
    assert heard.wait(60)


class Module:
    """SoapySDR as far as the driver calls it; the call named `hangs` does not come back before `until` is set."""

    SOAPY_SDR_RX, SOAPY_SDR_CF32 = 1, "CF32"

    def __init__(self, hangs: str, until: threading.Event) -> None:
        self.hangs, self.until = hangs, until

    def getAPIVersion(self) -> str:
        return "0"

    def Device(self, arguments: dict[str, str]) -> Any:
        return self._answer(
            "Device", SimpleNamespace(writeSetting=None, **{name: self._call(name) for name in ANSWERS})
        )

    def _call(self, name: str) -> Any:
        return lambda *given, **named: self._answer(name, ANSWERS[name])

    def _answer(self, name: str, answer: Any) -> Any:
        if name == self.hangs:
            self.until.wait(60)
        return answer


ANSWERS: dict[str, Any] = {
    "setSampleRate": None, "getSampleRate": 100_000.0, "setupStream": "stream", "activateStream": None,
    "setFrequency": None, "getFrequency": 7_025_000.0, "readStream": SimpleNamespace(ret=0), "hasGainMode": False,
    "listGains": (), "deactivateStream": None, "closeStream": None, "close": None,
    "getHardwareKey": "box", "getFrequencyRange": [],
}  # fmt: skip


@pytest.mark.parametrize("name", ["Device", *ANSWERS])
def test_a_receiver_whose_library_hangs_fails_in_time(
    name: str, mended: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(iq, "CALLS", Foreign("receiver", "Unplug it."))
    # long enough for calls that come back, on a busy machine too
    monkeypatch.setattr(iq, "OPEN_S", 0.25)
    monkeypatch.setattr(iq, "CALL_S", 0.25)
    monkeypatch.setattr(foreign, "COMING_BACK_S", 0.01)
    options = iq.Options(device={"driver": "box"}, timeout_s=0.05)
    with pytest.raises((LinkTimeout, LinkLost)):
        receiver = iq.IqReceiver(options, Module(name, mended))
        receiver.prepare()
        receiver.identify()
        receiver.frequency_range_hz()
        receiver.tune(7_000_000)
        receiver.frequency_hz()
        receiver.close()  # raises nothing, however long it takes
        receiver = iq.IqReceiver(options, Module(name, mended))
        receiver.read_power()  # where nothing hangs, no samples come
    if name not in ("readStream", "deactivateStream", "closeStream", "close"):
        with pytest.raises(LinkLost, match="has not come back"):
            iq.IqReceiver(options, Module("", mended))


@pytest.mark.parametrize("name", ["Chip", "request_lines", "get_values", "set_value", "release"])
def test_relays_whose_library_hangs_fail_in_time(
    name: str, mended: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gpio, "CALLS", Foreign("relays", "Unplug it."))
    chip = Chip()

    def hanging(call: Any) -> Any:
        def hangs(*given: Any, **named: Any) -> Any:
            mended.wait(60)
            return call(*given, **named)

        return hangs

    def taken(link: str, consumer: str, config: Any) -> Any:
        lines = chip.request_lines(config, consumer)
        if name in ("get_values", "set_value", "release"):
            setattr(lines, name, hanging(getattr(lines, name)))
        return lines

    opened: Any = lambda link: chip  # noqa: E731
    monkeypatch.setattr(gpiod, "Chip", hanging(opened) if name == "Chip" else opened)
    monkeypatch.setattr(gpiod, "request_lines", hanging(taken) if name == "request_lines" else taken)
    monkeypatch.setattr(gpio, "CALL_S", 0.25)
    monkeypatch.setattr(foreign, "COMING_BACK_S", 0.01)
    options = gpio.GpioOptions(link="/dev/gpiochip0", paths=PATHS, break_s=0)
    if name in ("Chip", "request_lines"):
        with pytest.raises(LinkTimeout, match="taking its lines does not come back"):
            gpio.open_switch(options)
        return
    switch = gpio.open_switch(options)
    if name == "release":
        switch.close()
        return
    with pytest.raises(LinkTimeout, match="does not come back"):
        switch.select("antenna-stage")
    switch.close()


def test_a_deadline_around_bounds_a_call_as_well(mended: threading.Event) -> None:
    with bounded(within_s=0.1), pytest.raises(LinkTimeout):
        Foreign("box", "Unplug it.").call("reading it", 60.0, lambda: mended.wait(60))
    assert Deadline(1.0, "box").remaining() > 0.0
