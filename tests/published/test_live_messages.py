"""The live messages as docs/unattended.md shows them are the ones that the program speaks."""

import json
import re
from pathlib import Path

import pytest

from sweeper.daemon.live import messages

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "unattended.md").read_text(encoding="utf-8")
SHOWN = re.findall(r"```json (live|request|answer)\n(.*?)```", PAGE, re.DOTALL)
READERS = {"live": messages.read_live, "request": messages.read_request, "answer": messages.read_answer}


def test_every_kind_is_shown() -> None:
    kinds = [json.loads(body).get("kind", which) for which, body in SHOWN]
    assert kinds == ["visit", "pass", "state", "request", "answer"]


@pytest.mark.parametrize(("which", "body"), SHOWN)
def test_what_is_shown_is_complete_and_read_back_as_shown(which: str, body: str) -> None:
    message = READERS[which](body.encode())
    written = json.loads(message.model_dump_json(by_alias=True))
    shown = json.loads(body)
    assert set(shown) == set(written)
    assert READERS[which](json.dumps(written).encode()) == message
