"""Where the files of ``configs/`` are, in an installed package and in a source tree alike. It reads none of them."""

from functools import cache
from pathlib import Path

_INSTALLED = Path(__file__).parent / "configs"
_SOURCE_TREE = Path(__file__).parent.parent / "configs"


@cache
def folder() -> Path:
    """The folder that holds ``dialects``, ``meters`` and ``stations``."""
    return _INSTALLED if _INSTALLED.is_dir() else _SOURCE_TREE


def dialect_file(name: str) -> Path:
    """The file of the dialect `name`, which may also be a path of one's own; it need not exist."""
    return Path(name) if name.endswith((".yaml", ".yml")) else folder() / "dialects" / f"{name}.yaml"


def dialect_names() -> tuple[str, ...]:
    """The dialects that come with the program."""
    return tuple(sorted(file.stem for file in (folder() / "dialects").glob("*.yaml")))


def board_names() -> tuple[str, ...]:
    """The relay boards whose command tables come with the program."""
    return tuple(sorted(file.stem for file in (folder() / "dialects" / "boards").glob("*.yaml")))


def meter_file(name: str) -> Path:
    """The file of tables of meters; it need not exist."""
    return folder() / "meters" / f"{name}.yaml"


def station_file(name: str) -> Path:
    """The station file `name` to copy from; it need not exist."""
    return folder() / "stations" / f"{name}.yaml"
