"""What the documentation shows runs as it is shown."""

import re
from pathlib import Path

PAGE = Path(__file__).parents[3] / "docs" / "simulated-station.md"


def test_the_example_of_serving_runs() -> None:
    (example,) = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.DOTALL)
    seen: dict[str, object] = {}
    exec(compile(example, str(PAGE), "exec"), seen)
    assert seen["served"].forbidden == ()  # type: ignore[attr-defined]


def test_every_folder_and_file_that_the_page_names_is_there() -> None:
    folder = PAGE.parents[1] / "sweeper" / "simulation"
    rows = re.findall(r"^\| `(\w+)` \| (.*) \|$", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    rooms = {file.parent.name for file in folder.glob("*/__init__.py")} | {"serve"}
    assert {room for room, _ in rows} == rooms
    for room, told in rows:
        there = {file.stem for file in (folder / room).glob("*.py")}
        assert set(re.findall(r"`(\w+)`", told)) <= there, room
