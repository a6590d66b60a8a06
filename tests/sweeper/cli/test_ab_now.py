"""Calls of `ab` that cannot mean anything are refused with what to do; nothing is opened."""

import pytest
from typer.testing import CliRunner

from sweeper.cli.app import app
from sweeper.errors import WrongInput


@pytest.mark.parametrize(
    ("call", "told"),
    [
        ("ab", "--sound NAME"),
        ("ab --sound rx --keep", "name the station"),
        ("ab --sound rx --hz 7100000", "name the station"),
        ("ab --sound rx --mode AM", "USB, 1 kHz below"),
        ("ab --sound rx\x01", "no input has such a name"),
        (f"ab --sound {'x' * 300}", "no input has such a name"),
        ("ab one.yaml two.yaml", "One station at a time"),
    ],
)
def test_a_wrong_call_says_what_is_missing(call: str, told: str) -> None:
    done = CliRunner().invoke(app, call.split())
    assert isinstance(done.exception, WrongInput) and told in str(done.exception)
