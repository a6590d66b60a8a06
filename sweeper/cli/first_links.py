"""What could be a receiver or a relay board on this computer: serial ports, and servers that answer on loopback.

Only looks: no byte is sent, no port is opened, so that nothing keys or moves by being looked for.
"""

import socket
from pathlib import Path

RECEIVER_PORT = 4532
"""Where rigctld listens unless told otherwise: its manual page."""
RELAY_PORTS = (502, 5020)
"""Modbus TCP's registered port (IANA), and the unprivileged one that is common practice."""
ANSWER_S = 0.25


def serial_ports() -> tuple[str, ...]:
    """Serial ports by a name that survives replugging, where there is one."""
    from serial.tools.list_ports import comports

    by_id = {str(link.resolve()): str(link) for link in Path("/dev/serial/by-id").glob("*")}
    # Ports of the main board that have nothing behind them report no hardware.
    return tuple(by_id.get(port.device, port.device) for port in sorted(comports()) if port.hwid != "n/a")


def servers(ports: tuple[int, ...]) -> tuple[str, ...]:
    """Links of those ports on the loopback address where somebody listens."""
    return tuple(f"tcp://127.0.0.1:{port}" for port in ports if _listens(port))


def _listens(port: int) -> bool:
    try:
        with socket.create_connection(("127.0.0.1", port), ANSWER_S):
            return True
    except OSError:
        return False
