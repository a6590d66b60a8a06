"""Modbus on bytes alone: the published examples, any cut of a reply, and whatever noise brings."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import BadReply, Refused
from drivers.protocols.modbus import Modbus, runs, silence_s


def rtu(unit: int = 1) -> Modbus:
    return Modbus("rtu", unit, "board")


def tcp() -> Modbus:
    return Modbus("tcp", 1, "board")


def with_crc(frame: bytes) -> bytes:
    """CRC-16 as the serial-line guide V1.02 describes it in section 6.2.2, bit by bit, low byte first."""
    crc = 0xFFFF
    for byte in frame:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0xA001 if crc & 1 else crc >> 1
    return frame + crc.to_bytes(2, "little")


class TestPublished:
    def test_read_coils_20_to_38(self):
        """Modbus Application Protocol V1.1b3, section 6.1: request 01 00 13 00 13, reply 01 03 CD 6B 05."""
        request, read = tcp().read_coils(19, 19)
        assert request.hex(" ") == "00 01 00 00 00 06 01 01 00 13 00 13"
        states = read(bytes.fromhex("00 01 00 00 00 06 01 01 03 CD 6B 05"))
        # the text beside the example: coils 27-20 are CD, 35-28 are 6B, 38-36 are 05, each low bit first
        expected = [byte >> bit & 1 == 1 for byte in (0xCD, 0x6B, 0x05) for bit in range(8)][:19]
        assert list(states) == expected

    def test_write_coil_173_on(self):
        """Modbus Application Protocol V1.1b3, section 6.5: request and reply 05 00 AC FF 00."""
        request, read = tcp().write_coil(172, True)
        assert request[7:].hex(" ") == "05 00 ac ff 00"
        assert read(request) is True

    def test_off_is_zero(self):
        """Section 6.5: FF 00 asks for on, 00 00 for off; nothing else is allowed."""
        assert tcp().write_coil(172, False)[0][7:].hex(" ") == "05 00 ac 00 00"

    def test_the_crc_of_the_serial_line_guide(self):
        """Modbus over Serial Line V1.02, section 6.2.2: address 02, function 07 end in 41 12 on the wire."""
        assert with_crc(bytes.fromhex("02 07")).hex(" ") == "02 07 41 12"

    def test_a_serial_frame_ends_in_that_crc(self):
        request, read = rtu(17).write_coil(172, True)
        assert request == with_crc(bytes.fromhex("11 05 00 AC FF 00"))
        assert read(request) is True

    def test_the_header_of_tcp(self):
        """Messaging on TCP/IP Implementation Guide V1.0b, section 3.1.3: transaction, protocol 0, length, unit."""
        modbus = tcp()
        modbus.read_coils(0, 1)
        assert modbus.read_coils(0, 1)[0][:7].hex(" ") == "00 02 00 00 00 06 01"

    @pytest.mark.parametrize(
        ("code", "says"), [(2, "no such coil"), (4, "failed"), (6, "busy"), (11, "gateway")]
    )
    def test_exceptions_are_told_in_words(self, code, says):
        """Modbus Application Protocol V1.1b3, section 7: function with the high bit set, then the code."""
        _, read = rtu().read_coils(0, 2)
        with pytest.raises(Refused, match=says):
            read(with_crc(bytes([1, 0x81, code])))

    def test_silence_between_frames(self):
        """Modbus over Serial Line V1.02, section 2.5.1.1: 3.5 characters; 1.750 ms above 19200 baud."""
        assert silence_s(9600) == pytest.approx(3.5 * 11 / 9600)
        assert silence_s(115200) == 0.00175


class TestLine:
    @pytest.mark.parametrize("modbus", [tcp(), rtu()], ids=["tcp", "rtu"])
    def test_a_reply_in_pieces_is_waited_for(self, modbus):
        request, read = modbus.write_coil(3, True)
        assert [read(request[:length]) for length in range(len(request))] == [None] * len(request)
        assert read(request) is True

    def test_a_garbled_serial_reply_is_never_taken(self):
        request, read = rtu().write_coil(3, True)
        for place in range(len(request)):
            for bit in range(8):
                broken = bytearray(request)
                broken[place] ^= 1 << bit
                try:
                    assert read(bytes(broken)) is None
                except (BadReply, Refused) as fault:
                    assert isinstance(fault, BadReply)

    def test_a_late_reply_to_an_earlier_request_is_passed_over(self):
        modbus = tcp()
        late, _ = modbus.write_coil(0, True)
        request, read = modbus.write_coil(1, False)
        assert read(late) is None
        assert read(late + request) is False

    def test_a_board_that_tells_how_the_coil_stands_instead_of_echoing_is_heard(self):
        _, read = rtu().write_coil(1, True)
        assert read(with_crc(bytes.fromhex("01 05 00 01 00 00"))) is False

    def test_the_answer_to_another_question_is_no_answer(self):
        modbus = rtu()
        other, _ = modbus.write_coil(0, True)
        _, read = modbus.write_coil(1, True)
        with pytest.raises(BadReply, match="another request"):
            read(other)

    def test_the_echo_of_an_adapter_is_no_reading(self):
        request, read = rtu().read_coils(0, 2)
        with pytest.raises(BadReply):
            read(request)

    @pytest.mark.parametrize("framing", ["tcp", "rtu"])
    def test_what_is_longer_than_any_frame_is_no_reply_and_fills_no_message(self, framing):
        """V1.1b3, section 4.1: 260 bytes over TCP, 256 on a serial line."""
        _, read = Modbus(framing, 1, "board").read_coils(0, 8)
        head = bytes.fromhex("00 01 00 00 ff ff 01 01") if framing == "tcp" else bytes.fromhex("01 01 ff")
        for length in (261, 130_000):
            with pytest.raises(BadReply) as told:
                read(head + bytes(length - len(head)))
            assert len(str(told.value)) < 500

    def test_an_answer_to_another_request_fills_no_message(self):
        _, read = tcp().read_coils(0, 8)
        with pytest.raises(BadReply, match="belongs to another") as told:
            read(bytes.fromhex("00 01 00 00 00 fd 01 01 fa") + bytes(250))
        assert len(str(told.value)) < 500

    def test_another_protocol_at_the_port_is_told_at_once(self):
        _, read = tcp().read_coils(0, 2)
        with pytest.raises(BadReply, match="no Modbus"):
            read(b"HTTP/1.1 400 Bad Request\r\n\r\n")

    @given(framing=st.sampled_from(["tcp", "rtu"]), noise=st.binary(max_size=300), writing=st.booleans())
    def test_noise_raises_nothing_but_its_own_errors(self, framing, noise, writing):
        modbus = Modbus(framing, 1, "board")
        _, read = modbus.write_coil(3, True) if writing else modbus.read_coils(0, 2)
        with contextlib.suppress(BadReply, Refused):
            read(noise)

    @given(
        framing=st.sampled_from(["tcp", "rtu"]),
        first=st.integers(0, 65000),
        states=st.lists(st.booleans(), min_size=1, max_size=400),
        unit=st.integers(1, 247),
    )
    def test_states_come_through_as_they_were_sent(self, framing, first, states, unit):
        modbus = Modbus(framing, unit, "board")
        request, read = modbus.read_coils(first, len(states))
        count = (len(states) + 7) // 8
        packed = sum(state << nth for nth, state in enumerate(states)).to_bytes(count, "little")
        body = bytes([unit, 1, count]) + packed
        reply = with_crc(body) if framing == "rtu" else request[:4] + len(body).to_bytes(2, "big") + body
        assert read(reply) == tuple(states)


@given(st.sets(st.integers(0, 3000), max_size=60))
def test_runs_cover_exactly_the_coils_in_use(coils):
    covered = [first + nth for first, count in runs(coils) for nth in range(count)]
    assert covered == sorted(coils)
