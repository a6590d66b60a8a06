"""hamlib knows the real receivers and accepts our simulated ones as them; so what they say of our drivers counts."""

import shutil
import subprocess

import pytest

from sweeper.clock import JumpingClock
from sweeper.simulation import Served, saltmarsh, serve
from tests.clocks import evening

pytestmark = pytest.mark.wires

# hamlib's own numbers for the models (rigctl -l).
SERIAL = {"ts480": 2028, "ts590s": 2031, "k3": 2029, "icr75": 3039, "ic7300": 3073, "icr8600": 3079}


def rigctl(model: int, served: Served, *commands: str) -> list[str]:
    """What hamlib's own client prints for some commands, line by line."""
    program = shutil.which("rigctl")
    if program is None:
        pytest.skip("rigctl is not installed (Debian: libhamlib-utils)")
    device = served.receiver_link.removeprefix("tcp://")
    run = subprocess.run(
        [program, "-m", str(model), "-r", device, *commands], capture_output=True, text=True, timeout=30
    )
    assert run.returncode == 0, run.stdout + run.stderr
    return run.stdout.split("\n")[:-1]


@pytest.mark.parametrize("receiver", [*SERIAL, "rigctl-net"])
def test_hamlib_tunes_sets_the_mode_and_reads_both_back(receiver: str) -> None:
    model = SERIAL.get(receiver, 2)
    with serve(saltmarsh(), evening(), receiver=receiver, ours=False) as served:
        assert rigctl(model, served, "F", "9650000", "f") == ["9650000"]
        assert served.receiver.hz == 9_650_000
        mode = rigctl(model, served, "M", "AM", "0", "m")[0]
        assert (mode, served.receiver.mode) == ("AM", "AM")
        served.receiver.turn_dial(14_200_000, "USB")
        assert rigctl(model, served, "f") == ["14200000"]
        assert rigctl(model, served, "m")[0] == "USB"


@pytest.mark.parametrize(
    ("receiver", "within_db"),
    # Half of the meter's widest step at these levels, and half a decibel since hamlib rounds.
    [
        ("ts480", 3.5),
        ("ts590s", 2.5),
        ("k3", 1.6),
        ("icr75", 0.8),
        ("ic7300", 0.8),
        ("icr8600", 0.8),
        ("rigctl-net", 0.5),
    ],
)
@pytest.mark.parametrize("hz", [215_000, 9_396_000])
def test_hamlib_reads_the_strength_that_stands_at_the_input(receiver: str, within_db: float, hz: int) -> None:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock, receiver=receiver, ours=False) as served:
        served.receiver.turn_dial(hz, "USB")
        clock.sleep(1.0)
        shown = int(rigctl(SERIAL.get(receiver, 2), served, "l", "STRENGTH")[0])
        assert shown == pytest.approx(served.receiver.level_db(), abs=within_db)


@pytest.mark.parametrize("receiver", ["ts480", "ts590s", "k3", "ic7300", "rigctl-net"])
def test_hamlib_sees_somebody_transmit(receiver: str) -> None:
    with serve(saltmarsh(), evening(), receiver=receiver, ours=False) as served:
        model = SERIAL.get(receiver, 2)
        assert rigctl(model, served, "t") == ["0"]
        served.receiver.transmitting = True
        assert rigctl(model, served, "t") == ["1"]


@pytest.mark.parametrize("receiver", ["ts480", "ts590s", "k3", "icr75", "ic7300", "icr8600", "rigctl-net"])
def test_a_simulated_receiver_never_transmits_and_remembers_who_tried(receiver: str) -> None:
    program = shutil.which("rigctl")
    if program is None:
        pytest.skip("rigctl is not installed (Debian: libhamlib-utils)")
    with serve(saltmarsh(), evening(), receiver=receiver, ours=False) as served:
        device = served.receiver_link.removeprefix("tcp://")
        model = str(SERIAL.get(receiver, 2))
        subprocess.run([program, "-m", model, "-r", device, "T", "1"], capture_output=True, timeout=30)
        assert not served.receiver.transmitting
        tried = any(
            word in command for command in served.forbidden for word in (b"TX", b"T 1", b"\x1c\x00\x01")
        )
        # hamlib itself knows that two of them have no transmitter, and does not even try.
        assert tried == (receiver not in ("icr75", "icr8600"))
