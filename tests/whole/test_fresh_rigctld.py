"""`check` as the first thing that a freshly started rigctld hears, whatever it was started for."""

from pathlib import Path

import pytest

from tests.whole.peers import relay_board, rigctld
from tests.whole.test_main_job import STATION, sweeper

pytestmark = [pytest.mark.wires, pytest.mark.clock]


@pytest.mark.parametrize(
    ("model", "arguments"), [(1, ()), (1, ("--vfo",)), (1, ("-P", "RIG")), (6, ()), (6, ("--vfo",))]
)
def test_check_is_the_first_client_and_passes(model: int, arguments: tuple[str, ...], tmp_path: Path) -> None:
    with rigctld(model, arguments=arguments) as port, relay_board() as board:
        file = tmp_path / "outpost.yaml"
        file.write_text(STATION.format(receiver_port=port, switch_port=board.port), encoding="utf-8")
        answer = sweeper("check", file)
    assert "hamlib error" not in answer.stdout + answer.stderr
    assert "relays at antenna-bypass, receiver" in answer.stdout, answer.stdout + answer.stderr
