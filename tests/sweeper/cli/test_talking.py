"""Commands that talk to a daemon, without one."""

from pathlib import Path

import pytest

from drivers.config_files import station_file as example
from tests.whole.test_main_job import sweeper

pytestmark = pytest.mark.slow


@pytest.fixture
def station(tmp_path: Path) -> Path:
    file = tmp_path / "saltmarsh.yaml"
    text = example("saltmarsh").read_text(encoding="utf-8")
    file.write_text(text + "\nlive: {keys: keys, control: 'tcp://127.0.0.1:1'}\n", encoding="utf-8")
    return file


@pytest.mark.parametrize("name", ["server", "../server", "", "a b", "é"])
def test_a_clients_key_never_takes_the_daemons_place_nor_leaves_its_folder(station: Path, name: str) -> None:
    assert sweeper("keys", station).returncode == 0
    before = {file: file.read_bytes() for file in station.parent.rglob("*") if file.is_file()}
    refused = sweeper("keys", station, "--client", name)
    assert refused.returncode == 2
    assert "cannot name a client's key" in refused.stderr
    assert {file: file.read_bytes() for file in station.parent.rglob("*") if file.is_file()} == before


def test_keys_are_made_once_and_only_their_owner_can_read_the_secret_ones(station: Path) -> None:
    made = [Path(line) for line in sweeper("keys", station, "--client", "laptop").stdout.split()]
    assert {file.name for file in made} == {
        "server.key", "server.key_secret", "laptop.key", "laptop.key_secret",
    }  # fmt: skip
    assert all(file.stat().st_mode & 0o077 == 0 for file in made if file.suffix == ".key_secret")
    assert sweeper("keys", station, "--client", "laptop").stdout == ""
