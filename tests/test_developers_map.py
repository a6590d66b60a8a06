"""The map for developers names what is there, and every room of the big packages is on it."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_place_that_the_page_names_is_there() -> None:
    named = set(re.findall(r"`((?:sweeper|drivers|configs|docs)/[\w./]+)`", PAGE))
    assert len(named) > 10
    assert {place for place in named if not (ROOT / place).exists()} == set()


def test_every_package_is_on_the_map() -> None:
    there = {
        f"{package}/{each.parent.name}"
        for package in ("sweeper", "drivers")
        for each in (ROOT / package).glob("*/__init__.py")
    }
    assert {place for place in there if f"`{place}`" not in PAGE} == set()


def test_every_room_is_on_the_map() -> None:
    rows = re.findall(r"^\| (`.*?`) \|", PAGE, flags=re.MULTILINE)
    package, rooms = "", {}
    for row in rows:
        for name in re.findall(r"`(?:… )?([\w/.]+)`", row):
            if "…" in row:
                rooms.setdefault(package, set()).add(name)
            else:
                package = name
    for package, named in rooms.items():
        there = {each.parent.name for each in (ROOT / package).glob("*/__init__.py")}
        assert named == there, package
    assert set(rooms) == {"sweeper/analysis", "sweeper/daemon", "sweeper/simulation"}
