"""A bystander on a Modbus wire tells one request from the next, however they arrive."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sweeper.simulation.boards.modbus_frames import Framing, allowed, cut, kind_of

# Requests of the worked examples in section 6 of the Modbus Application Protocol V1.1b3: read coils 20-38 (6.1), write
# coil 173 on (6.5), write ten coils from 20 on (6.11). The serial ones carry unit 1 and room for a CRC, which a
# bystander need not check.
PDUS = {
    "read": bytes.fromhex("01 00 13 00 13"),
    "write": bytes.fromhex("05 00 AC FF 00"),
    "write many": bytes.fromhex("0F 00 13 00 0A 02 CD 01"),
}


def framed(pdu: bytes, framing: Framing) -> bytes:
    if framing == "rtu":
        return b"\x01" + pdu + b"\x00\x00"
    return b"\x00\x01\x00\x00" + (len(pdu) + 1).to_bytes(2, "big") + b"\x01" + pdu


@pytest.mark.parametrize("framing", ["tcp", "rtu"])
def test_published_requests_are_known_for_what_they_are(framing: Framing) -> None:
    kinds = {name: kind_of(framing)(framed(pdu, framing)) for name, pdu in PDUS.items()}
    assert kinds == {"read": "read", "write": "write", "write many": "write"}
    assert all(allowed(framing)(framed(pdu, framing)) for pdu in PDUS.values())
    # 6.12: write registers; a relay board's driver has no business there.
    assert not allowed(framing)(framed(bytes.fromhex("10 00 01 00 02 04 00 0A 01 02"), framing))


@pytest.mark.parametrize("framing", ["tcp", "rtu"])
@given(st.lists(st.sampled_from(sorted(PDUS)), max_size=6), st.data())
def test_requests_come_whole_out_of_any_pieces(
    framing: Framing, names: list[str], data: st.DataObject
) -> None:
    sent = [framed(PDUS[name], framing) for name in names]
    stream, seen, kept = b"".join(sent), [], b""
    while stream:
        length = data.draw(st.integers(1, len(stream)))
        frames, kept = cut(kept + stream[:length], framing)
        seen += frames
        stream = stream[length:]
    assert seen == sent
    assert kept == b""
