"""The simulated town and `find-source` in one process, on a clock that jumps; `python -m tests.whole.searched_station`.

Whoever runs it is the person: the file `off` in the folder holds the names of what is unplugged.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

import sweeper.clock
from sweeper.cli import main
from sweeper.clock import JumpingClock
from sweeper.simulation import saltmarsh, serve
from tests.whole.test_find_source import CHARGER, QUICK


class Unplugged(set[str]):
    """Names in a file, as they stand when somebody looks."""

    def __init__(self, file: Path) -> None:
        super().__init__()
        self._file = file

    def __contains__(self, name: object) -> bool:
        return name in self._names()

    def __iter__(self) -> Iterator[str]:
        return iter(self._names())

    def _names(self) -> list[str]:
        return self._file.read_text(encoding="utf-8").splitlines() if self._file.exists() else []


def search(folder: Path, asked: list[str]) -> None:
    """Run the command; the last line says where the relays lie and whether anything forbidden was sent."""
    world = saltmarsh(1, devices=(CHARGER,))
    world.unplugged = Unplugged(folder / "off")
    clock = JumpingClock(world.first_evening)
    with serve(world, clock, receiver="iq-tcp") as served:
        file = folder / "station.yaml"
        file.write_text(QUICK.format(receiver_link=served.receiver_link, switch_link=served.switch_link))
        setattr(sweeper.clock, "SystemClock", lambda: clock)  # noqa: B010
        sys.argv = ["sweeper", "find-source", str(file), "--data", str(folder / "data"), *asked]
        try:
            main()
        finally:
            print(f"RELAYS {served.board.path} FORBIDDEN {len(served.forbidden)}", flush=True)


if __name__ == "__main__":
    search(Path(sys.argv[1]), sys.argv[2:])
