"""What could be a receiver or a relay board on this computer: serial ports, servers on loopback, samples, sound.

Only looks: no byte is sent and no port is opened, so that nothing keys or moves by being looked for.
"""

import importlib.util
import socket
from contextlib import suppress
from pathlib import Path
from typing import Any

RECEIVER_PORT = 4532
"""Where rigctld listens unless told otherwise: its manual page."""
RECEIVER_PORTS = (RECEIVER_PORT, 4534, 4536, 4538)
"""Its manual page counts further servers by twos."""
RELAY_PORTS = (502, 5020)
"""Modbus TCP's registered port (IANA), and the unprivileged one that is common practice."""
ANSWER_S = 0.25
NO_RECEIVERS = ("audio", "null", "remote")
"""Modules of SoapySDR that are no receiver, or one that is somewhere else."""


def serial_ports() -> tuple[str, ...]:
    """Serial ports by a name that survives replugging, where there is one."""
    return tuple(port for port, _ in described_ports())


def described_ports() -> tuple[tuple[str, str], ...]:
    """Serial ports by that name, each with what is plugged in there, as the system tells it."""
    from serial.tools.list_ports import comports

    by_id = {str(link.resolve()): str(link) for link in Path("/dev/serial/by-id").glob("*")}
    # Ports of the main board that have nothing behind them report no hardware.
    return tuple(
        (by_id.get(port.device, port.device), "" if port.description in (None, "n/a") else port.description)
        for port in sorted(comports())
        if port.hwid != "n/a"
    )


def servers(ports: tuple[int, ...]) -> tuple[str, ...]:
    """Links of those ports on the loopback address where somebody listens."""
    return tuple(f"tcp://127.0.0.1:{port}" for port in ports if _listens(port))


def sample_devices() -> tuple[str, ...]:
    """Software-defined receivers by what SoapySDR calls them, where it is installed; each as ``driver=…, serial=…``."""
    if importlib.util.find_spec("SoapySDR") is None:
        return ()
    with suppress(Exception):  # whatever a module of SoapySDR may raise, others can still be named by hand
        import SoapySDR

        found = [_told(dict(each)) for each in SoapySDR.Device.enumerate()]
        return tuple(each for each in found if each)
    return ()


def sound_names() -> tuple[str, ...]:
    """Names of the sound inputs; none where no sound system is at hand."""
    from drivers.errors import RigError
    from drivers.samples.sound import sound_inputs

    with suppress(RigError, OSError):
        return tuple(each.name for each in sound_inputs())
    return ()


def _told(device: dict[str, Any]) -> str:
    if str(device.get("driver", "")) in NO_RECEIVERS:
        return ""
    return ", ".join(f"{key}={device[key]}" for key in ("driver", "serial") if device.get(key))


def _listens(port: int) -> bool:
    try:
        with socket.create_connection(("127.0.0.1", port), ANSWER_S):
            return True
    except OSError:
        return False
