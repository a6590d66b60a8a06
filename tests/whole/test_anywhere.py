"""What needs no rig runs where Python runs: without the modules, sockets and files that only Linux and its kin have."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.sweeper.ab.listening import Scene, audio

pytestmark = [pytest.mark.clock, pytest.mark.slow]

ELSEWHERE = """
import builtins, io, os, runpy, socket, sys
from importlib.abc import MetaPathFinder

class NotHere(MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name in {"fcntl", "termios", "pwd", "grp", "resource", "pty", "tty"}:
            raise ModuleNotFoundError(f"no module {name} on this system", name=name)

for name in ("fcntl", "termios", "pwd", "grp", "resource", "pty", "tty"):
    sys.modules.pop(name, None)
sys.meta_path.insert(0, NotHere())
del socket.AF_UNIX
for name in ("sched_setaffinity", "sched_getaffinity", "getuid", "geteuid", "fork", "openpty"):
    if hasattr(os, name):
        delattr(os, name)
opened = io.open
def open_elsewhere(file, *rest, **more):
    if str(file).startswith(("/proc", "/sys")):
        raise FileNotFoundError(2, "no such file on this system", file)
    return opened(file, *rest, **more)
builtins.open = io.open = open_elsewhere
from sweeper.cli import main
sys.argv = ["sweeper", *sys.argv[1:]]
main()
"""


def _elsewhere(folder: Path, *call: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", ELSEWHERE, *call],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=240,
        env=os.environ | {"NO_COLOR": "1", "COLUMNS": "80"},
    )


def test_a_recording_is_compared_anywhere(tmp_path: Path) -> None:
    values, _ = audio(Scene(seconds=60.0), 3)
    soundfile.write(tmp_path / "evening.wav", np.asarray(values), 8000)
    call = ("ab", "--file", "evening.wav", "--first", "bypass", "--mode", "USB")
    done = _elsewhere(tmp_path, *call, "--json", "--out", "page.html")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["format"] == "sweeper-ab-1"
    assert found["edges"] == 11
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "<svg" in page and "http" not in page.replace("http://www.w3.org", "").replace("http-equiv", "")
    told = _elsewhere(tmp_path, *call)
    assert told.returncode == 0 and "S/N change" in told.stdout
    assert max(map(len, told.stdout.splitlines())) <= 80
    wrong = _elsewhere(tmp_path, "ab", "--file", "none.wav", "--first", "bypass")
    assert (wrong.returncode, wrong.stdout) == (2, "")
    assert wrong.stderr.strip() == "none.wav: there is no such recording."
