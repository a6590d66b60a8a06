"""What a station file says of the rig's words and places: refused where it could be more than a word or a place."""

import os
from pathlib import Path

import pytest

from sweeper.station import StationFileError, load
from sweeper.station.moments import MomentError, parse_duration
from tests.sweeper.station.files import written


@pytest.mark.parametrize("mode", ["USB 0 T 1", "USB\\nT 1", "USB;TX", "", "U" * 21, "ÜSB", "\\\\set_ptt"])
def test_a_mode_is_one_word(tmp_path: Path, mode: str) -> None:
    with pytest.raises(StationFileError, match="one word"):
        load(written(tmp_path, ("mode: USB", f'mode: "{mode}"')))


@pytest.mark.parametrize(
    "board", ["tcp://127.0.0.1:4532", "tcp://localhost:4532", "tcp://[::1]:4532", "rfc2217://127.0.0.1:4532"]
)
def test_no_board_is_where_the_receiver_is(tmp_path: Path, board: str) -> None:
    with pytest.raises(StationFileError, match="where the receiver is"):
        load(written(tmp_path, ("tcp://127.0.0.1:5020", board)))


def test_a_part_of_a_joint_switch_is_not_where_the_receiver_is_either(tmp_path: Path) -> None:
    file = written(tmp_path)
    before, _, behind = file.read_text().partition("switch:\n")
    joint = """switch:
  driver: joint
  settle_s: 0.03
  parts:
    mast: {driver: modbus, link: "tcp://192.0.2.1:502"}
    shack: {driver: line, link: SHACK}
  paths:
    antenna-bypass: {mast: {0: off}, shack: {rts: off}}
    antenna-stage: {mast: {0: on}, shack: {rts: off}}
stage:"""
    master, slave = os.openpty()
    name = os.ttyname(slave)
    by_id = tmp_path / "receiver"
    by_id.symlink_to(name)
    text = before.replace("tcp://127.0.0.1:4532", name) + joint.replace("SHACK", str(by_id))
    file.write_text(text + behind[behind.index("\nstage:") + len("\nstage:") :])
    with pytest.raises(StationFileError, match="where the receiver is"):
        load(file)
    os.close(master)
    os.close(slave)


@pytest.mark.parametrize(
    "link", ["spy:///dev/null?file=/tmp/x", "loop://", "socket://127.0.0.1:1", "alt:///dev/null"]
)
def test_a_link_is_an_address_or_a_device(tmp_path: Path, link: str) -> None:
    for old in ("tcp://127.0.0.1:4532", "tcp://127.0.0.1:5020"):
        with pytest.raises(StationFileError, match="neither"):
            load(written(tmp_path, (old, link)))


@pytest.mark.parametrize(
    "text", ["999999999999999 h", "9" * 400 + " s", "9" * 18 + " min " + "9" * 18 + " h"]
)
def test_a_length_of_time_beyond_all_bounds_is_told(text: str) -> None:
    with pytest.raises(MomentError):
        parse_duration(text)
