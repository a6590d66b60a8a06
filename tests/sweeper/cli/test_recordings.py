"""`simulate --recording`: what it says to type next is there and fits the file."""

import json
import re
from pathlib import Path

import pytest
import soundfile
from typer.testing import CliRunner

from sweeper.cli.app import app


def simulate(*arguments):
    return CliRunner().invoke(app, ["simulate", *map(str, arguments)])


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ((), "--dial 9999000 --mode USB --marks"),
        (("--by-hand", "--every", "6"), "--dial 9999000 --mode USB --first bypass"),
        pytest.param(("--samples", "--format", "flac"), "_7150kHz_.flac --marks", marks=pytest.mark.slow),
    ],
)
def test_a_recording_comes_with_the_command_to_type_next(tmp_path, options, says):
    answer = simulate("--recording", tmp_path, "--minutes", "0.4", *options)
    assert answer.exit_code == 0, answer.stderr
    assert says in answer.stdout
    file = Path(re.search(r"ab --file (\S+)", answer.stdout)[1])
    assert soundfile.info(file).duration == pytest.approx(24.0)
    truth = json.loads((tmp_path / "recording-truth.json").read_text(encoding="utf-8"))
    assert truth["snr_change_db"] == pytest.approx(truth["gain_db"] - truth["noise_change_db"])


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((), "--recording DIR"),
        (("station.yaml", "--recording", "x"), "--recording DIR"),
        (("--recording", "x", "--minutes", "0.1"), "--minutes"),
        (("--recording", "x", "--minutes", "1", "--load"), "--minutes"),
    ],
)
def test_a_call_that_cannot_be_meant_is_refused(tmp_path, monkeypatch, arguments, told):
    monkeypatch.chdir(tmp_path)
    answer = simulate(*arguments)
    assert answer.exit_code != 0
    assert told in str(answer.exception) + answer.stderr
    assert not any(tmp_path.iterdir())
