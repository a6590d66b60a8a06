"""The folder that `demo` writes to: made anew each time, but nothing in it goes that the demo did not make."""

import hashlib
import json
import shutil
from pathlib import Path

from drivers.ordinary_files import content_of, text_of
from sweeper.errors import WrongInput

DATA = "saltmarsh.data"
MARK = "invented-readings"
FILES = ("saltmarsh.yaml", "report.html", "findings.json", "readings.parquet")
MOST_BYTES = 10_000
MOST_MADE = 1_000_000_000
STATION, LONGITUDE = "Saltmarsh", 8.1


def cleared(folder: Path) -> None:
    """Make the folder, and take away what an earlier demo left; `WrongInput` where something else is in its place."""
    from sweeper.store import replace_whole

    try:
        folder.mkdir(parents=True, exist_ok=True)
        there = [name for name in (*FILES, DATA) if (folder / name).exists()]
        made = _made(folder / DATA / MARK)
        for name in there:
            if name not in made:
                raise WrongInput(
                    f"{folder / name}: a demo did not make this, so it stays. Name another folder with --out."
                )
            if _state(folder / name) != made[name]:
                raise WrongInput(
                    f"{folder / name}: it has changed since the demo made it, so it stays. Name another folder with "
                    "--out, or delete it."
                )
        for name in there:
            if name == DATA:
                shutil.rmtree(folder / name)
            else:
                (folder / name).unlink()
        (folder / DATA).mkdir()
        replace_whole(folder / DATA / MARK, b"{}")
    except OSError as refused:
        raise WrongInput(
            f"{folder}: cannot be written to ({refused.strerror}). Name another folder with --out."
        ) from refused


def remember(folder: Path) -> None:
    """Keep what the demo made, so that the next one can tell it from what somebody changed."""
    from sweeper.store import replace_whole

    made = {name: _state(folder / name) for name in (*FILES, DATA)}
    replace_whole(folder / DATA / MARK, json.dumps(made, indent=1).encode())


def _made(mark: Path) -> dict[str, str]:
    """What the mark says that a demo made, by name; of one that was cut short, its data folder."""
    if not mark.is_file():
        return {}
    try:
        told = json.loads(text_of(mark, MOST_BYTES) or "{}")
    except ValueError:
        return {}
    made = {str(name): str(state) for name, state in told.items()} if isinstance(told, dict) else {}
    return made or {name: _state(mark.parents[1] / name) for name in (DATA, *FILES)}


def _state(what: Path) -> str:
    """What tells a file from a changed one, and a data folder from one into which somebody measured or noted."""
    if what.name == DATA:
        return _stored(what)
    if not what.is_file():
        return "no file"
    return hashlib.sha256(content_of(what, MOST_MADE)).hexdigest()


def _stored(data: Path) -> str:
    from sweeper.store import Store

    with Store(data, STATION, LONGITUDE, read_only=True) as store:
        return f"{len(store.passes())} passes, {len(store.notes())} notes"
