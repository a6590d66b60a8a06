"""What a station's units are allowed beyond serial ports on USB, as systemd itself reads it."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from drivers.config_files import station_file
from sweeper.cli.app import app
from sweeper.cli.first_units import drop_in, write_drop_ins
from sweeper.errors import WrongInput
from sweeper.station import Station, load
from sweeper.station.running import Notify

UNITS = Path(__file__).resolve().parents[3] / "systemd"
SWEEPER = str(Path(sys.executable).with_name("sweeper"))


def station(folder: Path, receiver: str = "", switch: str = "", name: str = "shack") -> tuple[Station, Path]:
    """Saltmarsh with other links: what stands in the place of its receiver's and of its relay board's."""
    import re

    text = station_file("saltmarsh").read_text(encoding="utf-8")
    links = iter((receiver, switch))

    def other(found: "re.Match[str]") -> str:
        return f"{found[1]}{link}" if (link := next(links, "")) else found[0]

    file = folder / f"{name}.yaml"
    file.write_text(re.sub(r"(?m)^(  link: )(\S+)", other, text), encoding="utf-8")
    return load(file), file


@pytest.mark.parametrize(
    ("link", "lines"),
    [
        ("/dev/ttyUSB0", ()),
        ("/dev/ttyACM3", ()),
        ("/dev/ttyS0", ()),
        ("/dev/ttyAMA0", ("DeviceAllow=char-ttyAMA rw",)),
        ("/dev/ttymxc2", ("DeviceAllow=char-ttymxc rw",)),
        ("tcp://127.0.0.1:4532", ()),
        ("tcp://localhost:4532", ()),
        ("tcp://192.168.1.20:4532", ("IPAddressAllow=192.168.1.20",)),
        ("tcp://[fd00::20]:4532", ("IPAddressAllow=fd00::20",)),
    ],
)
def test_each_link_gets_what_it_needs_and_no_more(tmp_path: Path, link: str, lines: tuple[str, ...]) -> None:
    assert drop_in(station(tmp_path, link, "/dev/ttyUSB7")[0]) == lines


def test_a_name_that_stays_is_followed(tmp_path: Path) -> None:
    name = tmp_path / "radio"
    name.symlink_to("/dev/ttyAMA4")
    assert drop_in(station(tmp_path, str(name), "/dev/ttyUSB7")[0]) == ("DeviceAllow=char-ttyAMA rw",)


@pytest.mark.parametrize(
    ("link", "why"),
    [
        ("/dev/hidraw0", "keyboards"),
        ("/dev/radio-that-is-not-there", "Plug it in"),
        ("tcp://shack.example:4532", "Write the address"),
    ],
)
def test_what_units_cannot_be_told_is_said(tmp_path: Path, link: str, why: str) -> None:
    described, file = station(tmp_path, link, "/dev/ttyUSB7")
    with pytest.raises(WrongInput, match=why):
        write_drop_ins(described, file, tmp_path / "units")
    assert not (tmp_path / "units").exists()


def with_other_sections(described: Station, driver: str, **options: object) -> Station:
    """The same station with a receiver of another driver."""
    from types import SimpleNamespace

    receiver = described.receiver.model_copy(update={"driver": driver, "options": SimpleNamespace(**options)})
    return described.model_copy(update={"receiver": receiver})


@pytest.mark.parametrize(
    ("driver", "options", "group"),
    [
        ("iq", {"device": {"driver": "rtlsdr"}}, "char-usb_device rw"),
        ("soapy", {"device": {"driver": "rtlsdr"}}, "char-usb_device rw"),
        ("iq", {"device": {"driver": "audio"}}, "char-alsa r"),
        ("gpio", {"link": "/dev/gpiochip0"}, "char-gpiochip rw"),
        ("hamlib", {"link": "/dev/ttyAMA0"}, "char-ttyAMA rw"),
    ],
)
def test_systemd_reads_what_is_written(
    tmp_path: Path, driver: str, options: dict[str, object], group: str
) -> None:
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.skip("systemd-analyze is not installed (Debian: systemd)")
    units = tmp_path / "units"
    units.mkdir()
    for unit in UNITS.glob("*.service"):
        text = unit.read_text(encoding="utf-8").replace("/opt/sweeper/bin/sweeper", SWEEPER)
        (units / unit.name).write_text(text, encoding="utf-8")
    described, file = station(tmp_path, "/dev/ttyUSB1", "/dev/ttyUSB2")
    written = write_drop_ins(with_other_sections(described, driver, **options), file, units)
    assert [each.parent.name for each in written] == [
        "sweeper@shack.service.d",
        "sweeper-rest@shack.service.d",
    ]
    assert all(f"DeviceAllow={group}\n" in each.read_text(encoding="utf-8") for each in written)

    def complaints() -> str:
        environment = {
            **os.environ,
            "SYSTEMD_UNIT_PATH": f"{units}:",
            "SYSTEMD_COLORS": "0",
            "SYSTEMD_LOG_LEVEL": "info",
        }
        call = [analyze, "verify", "--man=no", "sweeper@shack.service", "sweeper-rest@shack.service"]
        done = subprocess.run(call, capture_output=True, text=True, check=False, env=environment)
        return "\n".join(line for line in done.stderr.splitlines() if str(units) in line or "shack" in line)

    assert complaints() == ""
    written[0].write_text(
        "[Service]\nDeviceAllow=hidraw of any kind\nDeviceAlow=char-alsa r\n", encoding="utf-8"
    )
    assert "devices.conf:3" in complaints()  # it does read them


def test_new_writes_them_for_a_file_that_is_there_and_leaves_it_as_it_is(tmp_path: Path) -> None:
    _, file = station(tmp_path, "/dev/ttyAMA0", "tcp://10.1.2.3:502")
    before = file.read_bytes()
    answer = CliRunner().invoke(app, ["new", str(file), "--systemd", str(tmp_path / "system")])
    assert answer.exit_code == 0, answer.output
    conf = tmp_path / "system" / "sweeper@shack.service.d" / "devices.conf"
    assert conf.read_text(encoding="utf-8").split("[Service]\n")[1] == (
        "DeviceAllow=char-ttyAMA rw\nIPAddressAllow=10.1.2.3\n"
    )
    assert file.read_bytes() == before


def test_a_file_after_which_no_unit_can_be_named_is_refused(tmp_path: Path) -> None:
    described, file = station(tmp_path, "/dev/ttyAMA0", name="%i shack")
    with pytest.raises(WrongInput, match="named after it"):
        write_drop_ins(described, file, tmp_path)


def test_messages_open_the_network_to_the_measuring_unit_alone(tmp_path: Path) -> None:
    described, file = station(tmp_path)
    told = described.model_copy(update={"notify": Notify(file="/etc/sweeper/notify.txt")})
    (written,) = write_drop_ins(told, file, tmp_path / "units")
    assert written.parent.name == "sweeper@shack.service.d"
    assert "IPAddressAllow=any" in written.read_text(encoding="utf-8")
