"""The bytes of rtl_tcp's public protocol: one byte and four, big-endian; 127.5 is zero."""

import numpy as np
import pytest

from drivers.errors import BadReply, Refused
from drivers.protocols.allowed import GATES
from drivers.protocols.samples_over_tcp import CODES, clipped_share, command, decoded, tuner_of


def test_commands_are_one_byte_and_four() -> None:
    assert command("frequency", 7_038_500).hex() == "01006b6624"
    assert command("rate", 2_048_000).hex() == "02001f4000"
    assert command("gain", -10).hex() == "04fffffff6"
    assert command("ppm", -52).hex() == "05ffffffcc"


def test_zero_lies_between_two_steps_and_full_scale_is_one() -> None:
    samples = decoded(np.array([0, 255, 127, 128], np.uint8))
    assert samples.tolist() == pytest.approx([-1 + 1j, complex(-0.5 / 127.5, 0.5 / 127.5)])
    assert clipped_share(np.array([0, 255, 127, 128], np.uint8)) == 0.5


def test_the_header_names_the_tuner() -> None:
    assert tuner_of(bytes.fromhex("52544c30 00000005 0000001d")) == "R820T"
    assert tuner_of(b"RTL0" + bytes(8)) == "tuner unknown"


@pytest.mark.parametrize("header", [b"", b"RTL0", b"HTTP/1.1 400", b"RTL1" + bytes(8), b"RTL0" + bytes(9)])
def test_anything_else_is_no_server_of_samples(header: bytes) -> None:
    with pytest.raises(BadReply):
        tuner_of(header)


def test_every_command_but_the_voltage_passes_the_gate() -> None:
    for name in CODES:
        if name != "bias tee":
            GATES["samples"](command(name, 1 if name != "rate" else 2_048_000))
    GATES["samples"](command("gain", -10))
    for number in (0, 1):
        with pytest.raises(Refused):
            GATES["samples"](command("bias tee", number))
        GATES["samples and bias tee"](command("bias tee", number))


@pytest.mark.parametrize("gate", ["samples", "samples and bias tee"])
def test_whatever_is_not_on_the_list_is_refused(gate: str) -> None:
    known = set(CODES.values())
    for code in range(256):
        if code not in known:
            with pytest.raises(Refused):
                GATES[gate](bytes([code, 0, 0, 0, 1]))
    for message in (b"", b"\x01", b"\x01\0\0\0", command("frequency", 1) * 2, command("frequency", 0)):
        with pytest.raises(Refused):
            GATES[gate](message)
    for message in (command("direct sampling", 3), command("bias tee", 2), command("gain", 9999)):
        with pytest.raises(Refused):
            GATES[gate](message)
