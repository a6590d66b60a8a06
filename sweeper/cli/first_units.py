"""What the systemd units of a station must be allowed beyond serial ports on USB: drop-ins for the drivers in its file.

Device groups are those that the kernel lists in /proc/devices (systemd.resource-control(5), DeviceAllow=): a serial
driver registers the name of its ports without their number, GPIO chips `gpiochip`, USB devices without a driver
`usb_device`, sound `alsa` (Linux: drivers/gpio/gpiolib.c, drivers/usb/core/devio.c, sound/core/sound.c). No hidraw:
a keyboard is one, too.
"""

import ipaddress
import re
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from drivers.contracts import links_of
from sweeper.errors import WrongInput

if TYPE_CHECKING:
    from sweeper.station import Station

MEASURES = "sweeper"
UNITS = (MEASURES, "sweeper-rest")
MESSAGES = ("IPAddressAllow=any",)
"""Services for messages have names, not addresses, and those change."""
ALLOWED = frozenset({"ttyUSB", "ttyACM", "ttyS"})
"""Groups that the units allow as they are."""
GPIO = ("DeviceAllow=char-gpiochip rw", "SupplementaryGroups=gpio")
USB = (
    "DeviceAllow=char-usb_device rw",
    "SupplementaryGroups=plugdev",
    "RestrictAddressFamilies=AF_NETLINK",  # libusb hears of devices by it
)
SOUND = ("DeviceAllow=char-alsa r", "SupplementaryGroups=audio")
_INSTANCE = re.compile(r"[A-Za-z0-9_.:-]{1,100}")


def write_drop_ins(station: "Station", file: Path, folder: Path) -> tuple[Path, ...]:
    """Write the drop-ins of the station in `file` below `folder`, such as /etc/systemd/system; the files written.

    WrongInput where the units could not be told what they need.
    """
    instance = file.stem
    if not _INSTANCE.fullmatch(instance):
        raise WrongInput(f"{file}: a unit cannot be named after it. Use letters, digits, hyphens and dots.")
    from sweeper.store import replace_whole

    written = []
    for unit in UNITS:
        lines = drop_in(station)
        if station.notify is not None and unit == MEASURES:
            lines += MESSAGES
        if not lines:
            continue
        place = folder / f"{unit}@{instance}.service.d"
        place.mkdir(parents=True, exist_ok=True)
        conf = place / "devices.conf"
        content = (
            f"# Written by `sweeper new` from the drivers in {instance}.yaml. A group that this computer lacks keeps\n"
            "# the unit from starting: put the one in its place that `ls -l` shows for the device.\n"
            + "\n".join(["[Service]", *lines, ""])
        )
        replace_whole(conf, content.encode())
        written.append(conf)
    return tuple(written)


def drop_in(station: "Station") -> tuple[str, ...]:
    """The lines of a station's drop-in; none where the units will do as they are."""
    lines: list[str] = []
    for section in (station.receiver, station.switch):
        lines += _of_driver(section.driver, section.options)
        for link in links_of(section.options):
            lines += _of_device(link) if link.startswith("/") else _of_host(link)
    return tuple(dict.fromkeys(lines))


def _of_driver(driver: str, options: object) -> tuple[str, ...]:
    if driver not in ("soapy", "iq"):
        return ()
    device = getattr(options, "device", {})
    return {"audio": SOUND, "remote": ()}.get(str(device.get("driver", "")), USB)


def _of_device(link: str) -> tuple[str, ...]:
    name = Path(link).resolve().name  # what a name that stays leads to on this computer
    if name.startswith("hidraw"):
        raise WrongInput(f"{link}: the units open no hidraw device, since keyboards are such devices, too.")
    if name.startswith("gpiochip"):
        return GPIO
    group = re.fullmatch(r"(tty[A-Za-z]+)[0-9]+", name)
    if group is None:
        raise WrongInput(
            f"{link}: what kind of device that is cannot be seen. Plug it in, and say --systemd again."
        )
    return () if group[1] in ALLOWED else (f"DeviceAllow=char-{group[1]} rw",)


def _of_host(link: str) -> tuple[str, ...]:
    host = urlsplit(link).hostname or ""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        if host == "localhost":
            return ()
        raise WrongInput(
            f"{link}: units are told addresses, not names. Write the address of {host} into the station file."
        ) from None
    return () if address.is_loopback else (f"IPAddressAllow={address}",)
